package change_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/random"
)

// sets is how many data sets each of these simulations draws; a share of 0.95 is then known to 0.007, and the bounds leave four of those.
const sets = 1000

// The band holds the whole curve in 95 of 100 sets: of independent shoulders, and of patients whose second shoulder goes with the first.
func TestBandHoldsTheWholeCurve(t *testing.T) {
	for what, both := range map[string]bool{"one shoulder": false, "two shoulders": true} {
		held, pointwise := 0, 0
		for set := range uint64(sets) {
			s := uniforms(random.Stream(set, "band "+what, 0), 60, both)
			curve, err := change.ResponderCurve(s, change.Scale{Worst: 0, Best: 1}, change.OfChange, nil, 0.95)
			must(t, err)
			all, each := curveHeld(curve)
			held, pointwise = held+all, pointwise+each
		}
		if share := float64(held) / sets; share < 0.95-4*0.007 {
			t.Errorf("%s: the band holds the whole curve in %.3f of the sets", what, share)
		}
		if share := float64(pointwise) / sets; share > 0.9 {
			t.Errorf("%s: the limits at one threshold hold the whole curve in %.3f of the sets, so that this test would not see a band that is too narrow", what, share)
		}
	}
}

// uniforms draws improvements that are uniform between 0 and 1; with two shoulders the second is the first's, or another, by a coin.
func uniforms(r *rand.Rand, n int, both bool) change.Scores {
	s := change.Scores{Baseline: make([]float64, n), FollowUp: make([]float64, n)}
	for i := range n {
		s.FollowUp[i] = r.Float64()
		if both {
			if s.Patient = append(s.Patient, int32(i/2)); i%2 == 1 && r.IntN(2) == 0 {
				s.FollowUp[i] = s.FollowUp[i-1]
			}
		}
	}
	return s
}

// curveHeld looks at the true share 1 − x just at and just after each improvement, where the steps of the curve are.
func curveHeld(curve change.Responders) (all, each int) {
	all, each = 1, 1
	for k, p := range curve.Points {
		truth := 1 - p.At
		if truth < p.AllLower || truth > p.AllUpper {
			all = 0
		}
		if truth < p.Lower || truth > p.Upper {
			each = 0
		}
		if k+1 < len(curve.Points) {
			if after := curve.Points[k+1]; truth < after.AllLower || truth > after.AllUpper {
				all = 0
			}
		}
	}
	return all, each
}

// Shares and their differences where half of the patients have two shoulders that agree more often than not: the intervals by patient hold as often as
// they say, those of independent rows less often.
func TestClusteredSharesHold(t *testing.T) {
	var byPatient, asIndependent, difference int
	for set := range uint64(sets) {
		r := random.Stream(set, "clustered shares", 0)
		var responses []change.Response
		var patient []int32
		var group []bool
		for p := range int32(70) {
			// A share of 0.7 on average, of each patient's own.
			own := beta(r)
			for range 1 + p%2*2 {
				response := change.NotReached
				if r.Float64() < own {
					response = change.Reached
				}
				responses, patient, group = append(responses, response), append(patient, p), append(group, p%4 > 1)
			}
		}
		clustered, err := change.ShareOf(responses, patient, 0.95)
		must(t, err)
		plain, err := change.ShareOf(responses, nil, 0.95)
		must(t, err)
		d, err := change.ShareDifference(responses, group, patient, 0.95)
		must(t, err)
		byPatient += held(clustered.Complete, 0.7)
		asIndependent += held(plain.Complete, 0.7)
		difference += held(d, 0)
	}
	// With 70 patients a variance by patient is a little small: 0.94 is expected rather than 0.95.
	for what, n := range map[string]int{"share": byPatient, "difference": difference} {
		if got := float64(n) / sets; math.Abs(got-0.945) > 0.005+4*0.007 {
			t.Errorf("%s: intervals by patient hold in %.3f", what, got)
		}
	}
	if got := float64(asIndependent) / sets; got > 0.9 {
		t.Errorf("intervals of independent rows hold in %.3f: the sets do not show what clusters do", got)
	}
}

func held(e change.Estimate, truth float64) int {
	if e.Lower <= truth && truth <= e.Upper {
		return 1
	}
	return 0
}

// beta draws from Beta(1.4, 0.6) by Jöhnk's method.
func beta(r *rand.Rand) float64 {
	for {
		x, y := math.Pow(r.Float64(), 1/1.4), math.Pow(r.Float64(), 1/0.6)
		if s := x + y; s <= 1 && s > 0 {
			return x / s
		}
	}
}
