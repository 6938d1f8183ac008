package trials

import (
	"math"
	"testing"
)

func even(k int) []float64 {
	t := make([]float64, k)
	for i := range t {
		t[i] = float64(i+1) / float64(k)
	}
	return t
}

// Constants of Jennison & Turnbull, Group Sequential Methods (2000), tables 2.1 (Pocock) and 2.3
// (O'Brien-Fleming), two-sided; from memory.
func TestConstantsOfTheTables(t *testing.T) {
	for _, c := range []struct {
		shape Shape
		level float64
		want  []float64
	}{
		{Pocock, 0.05, []float64{1.960, 2.178, 2.289, 2.361, 2.413, 2.453, 2.485, 2.512, 2.535, 2.555}},
		{Pocock, 0.01, []float64{2.576, 2.772, 2.873, 2.939, 2.986, 3.023, 3.053, 3.078, 3.099, 3.117}},
		{Pocock, 0.10, []float64{1.645, 1.875, 1.992, 2.067, 2.122, 2.164, 2.197, 2.225, 2.249, 2.270}},
		{OBrienFleming, 0.05, []float64{1.960, 1.977, 2.004, 2.024, 2.040, 2.053, 2.063, 2.072, 2.080, 2.087}},
		{OBrienFleming, 0.01, []float64{2.576, 2.580, 2.595, 2.609, 2.621, 2.631, 2.640, 2.648, 2.654, 2.660}},
		{OBrienFleming, 0.10, []float64{1.645, 1.678, 1.710, 1.733, 1.751, 1.765, 1.776, 1.786, 1.794, 1.801}},
	} {
		for k, want := range c.want {
			b, err := NewBoundary(c.shape, even(k+1), c.level, 2)
			if err != nil {
				t.Fatal(err)
			}
			if got := b.Limit[k]; math.Abs(got-want) > 0.00051 {
				t.Errorf("%v, level %v, %d looks: %.4f, table %.3f", c.shape, c.level, k+1, got, want)
			}
		}
	}
}
