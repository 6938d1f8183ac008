package survival_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"testing"

	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// clusteredRows makes rows in three groups, about half of them clusters of their own and the others
// in clusters that cross groups.
func clusteredRows(r *rand.Rand) survival.Data {
	d := columns(randomRows(r, 3, 2), 3, 2)
	for i := range d.Exit {
		cluster := int32(i)
		if r.IntN(2) == 0 {
			cluster = int32(1000 + r.IntN(1+len(d.Exit)/6))
		}
		d.Cluster = append(d.Cluster, cluster)
	}
	return d
}

func ones(n int) []float64 { return slices.Repeat([]float64{1}, n) }

func mustLayOut(t testing.TB, d survival.Data) *survival.Layout {
	t.Helper()
	l, err := survival.LayOut(d)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func robustFrom(t testing.TB, c *survival.Curve, rows *survival.Rows) *survival.Curve {
	t.Helper()
	out, err := c.RobustFrom(rows)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Rows of weight 1 are counted where they can be and laid out one by one where they have to be; with
// weights given they are all laid out one by one, which is the way that the twin of numerical
// derivatives goes. Both must agree for every group, all together, and the mean.
func TestCountedRowsAreAsRowsOneByOne(t *testing.T) {
	for seed := range uint64(1000) {
		d := clusteredRows(random.Stream(seed, "counted and one by one", 0))
		weighted := d
		weighted.Weight = ones(len(d.Exit))
		counts, weightedCounts := mustCount(t, d), mustCount(t, weighted)
		layout, oneByOne := mustLayOut(t, d), mustLayOut(t, weighted)
		for g := range 4 {
			c, w, rows, each := counts, weightedCounts, layout.Pooled(), oneByOne.Pooled()
			if g < 3 {
				c, w, rows, each = c.Select(g), w.Select(g), layout.Group(g), oneByOne.Group(g)
			} else {
				c, w = c.Pooled(), w.Pooled()
			}
			for cause := range 3 {
				got, want := robustFrom(t, c.ProductLimit(0, cause), rows), robustFrom(t, w.ProductLimit(0, cause), each)
				for i := range want.Variance {
					if math.Abs(got.Variance[i]-want.Variance[i]) > 1e-12*(1+want.Variance[i]) {
						t.Fatalf("seed %d, group %d at %v: %v, one by one %v", seed, g, got.Time[i], got.Variance[i], want.Variance[i])
					}
				}
				if horizon := c.LastTime(0) / 2; horizon > 0 {
					near(t, "mean", meanOver(t, got, horizon).SE, meanOver(t, want, horizon).SE, 1e-10)
				}
			}
		}
	}
}

func meanOver(t *testing.T, c *survival.Curve, horizon float64) survival.Mean {
	t.Helper()
	m, err := c.RestrictedMean(horizon, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Whatever the clusters are called, in whatever order the rows come, whether times are whole or
// real, and by the front door or from a layout: one variance.
func TestLayoutDoesNotSeeNamesOrOrder(t *testing.T) {
	for seed := range uint64(200) {
		r := random.Stream(seed, "names and order", 0)
		d := clusteredRows(r)
		want, err := mustCount(t, d).ProductLimit(1, 1).Robust(d)
		if err != nil {
			t.Fatal(err)
		}
		same := func(what string, got *survival.Curve, err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
			for i := range want.Variance {
				near(t, what, got.Variance[i], want.Variance[i], 1e-11)
			}
		}
		same("from a layout", robustFrom(t, mustCount(t, d).ProductLimit(1, 1), mustLayOut(t, d).Group(1)), nil)
		other := survival.Data{Groups: 3, Causes: 2, Entry: []int32{}}
		for _, i := range r.Perm(len(d.Exit)) {
			other.Entry, other.Exit, other.Cause = append(other.Entry, d.Entry[i]), append(other.Exit, d.Exit[i]), append(other.Cause, d.Cause[i])
			other.Group, other.Cluster = append(other.Group, d.Group[i]), append(other.Cluster, math.MaxInt32-31*d.Cluster[i])
		}
		got, err := mustCount(t, other).ProductLimit(1, 1).Robust(other)
		same("other names in other order", got, err)
		real := survival.RealData{Cause: d.Cause, Group: d.Group, Cluster: d.Cluster, Groups: 3, Causes: 2}
		for i := range d.Exit {
			real.Entry, real.Exit = append(real.Entry, float64(d.Entry[i])/3), append(real.Exit, float64(d.Exit[i])/3)
		}
		counts, err := survival.CountReal(real)
		if err != nil {
			t.Fatal(err)
		}
		got, err = counts.ProductLimit(1, 1).RobustReal(real)
		same("real times", got, err)
	}
}

func TestLayoutOfOtherRowsIsRefused(t *testing.T) {
	d := survival.Data{Exit: []int32{1, 2, 3}, Cause: []uint8{1, 0, 1}, Group: []int32{0, 1, 1}, Groups: 2}
	curve := mustCount(t, d).ProductLimit(1, 1)
	late, weighted := d, d
	late.Entry, weighted.Weight = []int32{0, 1, 0}, ones(3)
	for what, rows := range map[string]*survival.Rows{
		"another group": mustLayOut(t, d).Group(0), "all rows": mustLayOut(t, d).Pooled(),
		"a late entry": mustLayOut(t, late).Group(1), "weights": mustLayOut(t, weighted).Group(1),
	} {
		if _, err := curve.RobustFrom(rows); err == nil {
			t.Errorf("%s: taken for the rows of the curve", what)
		}
	}
	alone := survival.Data{Exit: d.Exit, Cause: d.Cause}
	if _, err := curve.Robust(alone); err == nil {
		t.Error("rows of one group were taken for those of two")
	}
	if _, err := survival.LayOut(survival.Data{Exit: []int32{-1}, Cause: []uint8{0}}); err == nil {
		t.Error("a bad row was laid out")
	}
	if n := mustLayOut(t, survival.Data{}).Clusters(); n != 0 {
		t.Errorf("%d clusters of no rows", n)
	}
	empty := mustLayOut(t, survival.Data{Groups: 2}).Group(1)
	if c := robustFrom(t, mustCount(t, survival.Data{Groups: 2}).ProductLimit(1, 1), empty); len(c.Variance) != 0 {
		t.Errorf("a variance without rows: %v", c.Variance)
	}
}

func TestLayoutDoesNotSeeProcessors(t *testing.T) {
	const n = 150_000
	r := rand.New(rand.NewPCG(5, 6))
	d := survival.Data{Groups: 3}
	for range n {
		d.Exit, d.Cause = append(d.Exit, int32(r.IntN(3000))), append(d.Cause, uint8(r.IntN(2)))
		d.Group, d.Cluster = append(d.Group, int32(r.IntN(3))), append(d.Cluster, int32(r.IntN(n)))
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	var want []float64
	for _, processors := range []int{1, 2, 7} {
		runtime.GOMAXPROCS(processors)
		got := robustFrom(t, mustCount(t, d).Pooled().ProductLimit(0, 1), mustLayOut(t, d).Pooled()).Variance
		if want != nil && !reflect.DeepEqual(got, want) {
			t.Errorf("another variance with %d processors", processors)
		}
		want = got
	}
}
