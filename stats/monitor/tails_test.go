package monitor

import (
	"math"
	"testing"
)

// Tails of a ratio of 1.2 and 1.5, which the exported p-value (of no difference) does not reach.
// Those at 1.2 are from the R package exactci (poisson.exact), quoted in statsmodels,
// statsmodels/stats/tests/test_rates_poisson.py; those at 1.5 are printed by Gu, Ng, Tang & Schucany,
// Biom. J. 50 (2008) 283–298.
func TestTailsOfARatio(t *testing.T) {
	for _, c := range []struct {
		first, second        Tally
		ratio                float64
		form                 Form
		above, below, within float64 // below 0: not known
	}{
		{Tally{60, 51477.5}, Tally{30, 54308.7}, 1.2, MidP, 0.005094603529853279, 0.9949053964701466, 1e-12},
		{Tally{60, 51477.5}, Tally{30, 54308.7}, 1.2, Exact, 0.006651774552714537, 0.9964625674930079, 1e-12},
		{Tally{41, 28010}, Tally{15, 19017}, 1.5, Exact, 0.2913, -1, 5e-4},
		{Tally{41, 28010}, Tally{15, 19017}, 1.5, MidP, 0.2450, -1, 5e-4},
	} {
		r := RateRatio{First: c.first, Second: c.second, Form: c.form, Effect: 1}
		above, below := r.tails(c.ratio)
		if math.Abs(above-c.above) > c.within || c.below >= 0 && math.Abs(below-c.below) > c.within {
			t.Errorf("%v at %v: tails %v and %v, want %v and %v", c.form, c.ratio, above, below, c.above, c.below)
		}
	}
}
