package dist_test

import (
	"math"
	"testing"

	"deltoid/stats/dist"
)

// The fifteen p-values of Benjamini & Hochberg (1995), adjusted values recomputed with R's
// p.adjust to the digits shown; their method rejects four at 0.05, Holm's three, as printed.
func TestBenjaminiHochbergsOwnExample(t *testing.T) {
	p := []float64{.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528, .7590, 1}
	holm, bh := dist.Holm(p), dist.BenjaminiHochberg(p)
	for i, want := range []float64{.0015, .0056, .0247, .1140, .2211, .2780, .2780, .2780, .3213, 1} {
		if math.Abs(holm[i]-want) > 5.1e-5 {
			t.Errorf("Holm %d: %v, printed %v", i, holm[i], want)
		}
	}
	for i, want := range []float64{.0015, .0030, .0095, .035625, .0603, .063857, .063857, .0645, .0765, .486} {
		if math.Abs(bh[i]-want) > 5.1e-7 {
			t.Errorf("Benjamini–Hochberg %d: %v, printed %v", i, bh[i], want)
		}
	}
}

// Out of order, from the tests of statsmodels (stats/tests/test_multi.py), items 7, 8, 9 and 10.
func TestAdjustedOutOfOrder(t *testing.T) {
	p := []float64{.838541367553, .642193923795, .680845947633, .967833824309, .71626938238, .177096952723,
		5.23656777208e-05, .0202732688798, .00028140506198, .0149877310796}
	holm, bh := dist.Holm(p), dist.BenjaminiHochberg(p)
	for i, want := range map[int][2]float64{
		6: {.0005236567772, .0005236567772}, 8: {.0025326455578, .0014070253099},
		9: {.1199018486368, .0499591035987}, 7: {.1419128821586, .0506831721995},
	} {
		if math.Abs(holm[i]-want[0]) > 1e-12 || math.Abs(bh[i]-want[1]) > 1e-12 {
			t.Errorf("item %d: %v and %v, printed %v", i+1, holm[i], bh[i], want)
		}
	}
	if len(dist.Holm(nil)) != 0 || len(dist.BenjaminiHochberg(nil)) != 0 {
		t.Error("no p-values give some")
	}
}
