package survival_test

import (
	"math"
	"testing"

	"deltoid/stats/random"
	"deltoid/stats/references"
	"deltoid/stats/survival"
)

func TestHazardAgainstReferences(t *testing.T) {
	type points struct {
		Time   references.Column
		Hazard references.Column `json:"cumhaz_na"`
		SE     references.Column `json:"se_cumhaz_na"`
	}
	for _, id := range []string{"km_leukemia6mp", "km_lung_sex", "km_pbc", "km_veteran_celltype", "km_edge_time_zero_ties", "km_channing_left_truncated"} {
		var c productLimitCase
		var want struct {
			Results struct {
				Groups []struct {
					AtEvents points `json:"event_times"`
				}
			}
		}
		references.Expected(t, id, &c)
		references.Expected(t, id, &want)
		counts := countBoth(t, c.data(t))
		for g, group := range want.Results.Groups {
			h := counts.ProductLimit(g, 1).Hazard()
			row := 0
			for i, at := range group.AtEvents.Time {
				for h.Time[row] < at {
					row++
				}
				near(t, id+" cumulative hazard", h.Cumulative[row], group.AtEvents.Hazard[i], 1e-12)
				near(t, id+" its standard error", math.Sqrt(h.Variance[row]), group.AtEvents.SE[i], 1e-12)
			}
		}
	}
}

// The kernels must have mass 1 and mean 0 over their window, whatever its width: a constant hazard
// then comes out constant, also at the edges. Here it is the hazard of so large a set that its
// noise is small: 200,000 subjects at 0.001 a day.
func TestSmoothHazardOfAConstant(t *testing.T) {
	const truth = 0.001
	r := random.Stream(31, "constant hazard", 0)
	d := survival.RealData{}
	for range 200_000 {
		event := r.ExpFloat64() / truth
		cause := uint8(1)
		if event > 1000 {
			event, cause = 1000, 0
		}
		d.Exit, d.Cause = append(d.Exit, event), append(d.Cause, cause)
	}
	counts, err := survival.CountReal(d)
	if err != nil {
		t.Fatal(err)
	}
	at := []float64{0, 10, 50, 99, 100, 500, 900, 950, 1000}
	rates, err := counts.ProductLimit(0, 1).SmoothHazard(100, at, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for _, rate := range rates {
		if rate.Status != survival.Estimated || math.Abs(rate.Value-truth) > 4*rate.SE || rate.SE > 0.05*truth {
			t.Errorf("at %v: %v (SE %v), want %v", rate.T, rate.Value, rate.SE, truth)
		}
		if !(rate.Lower < rate.Value && rate.Value < rate.Upper) {
			t.Errorf("at %v: limits %v to %v around %v", rate.T, rate.Lower, rate.Upper, rate.Value)
		}
	}
}

// One event among ten at risk on day 50 of 100, bandwidth 20: at 50 the kernel is 3/4, so the
// hazard is 0.75·0.1/20; at 60 it is 3/4·(1 − 0.25); at 80 the window is empty.
func TestSmoothHazardByHand(t *testing.T) {
	d := survival.Data{}
	for range 9 {
		d.Exit, d.Cause = append(d.Exit, 100), append(d.Cause, 0)
	}
	d.Exit, d.Cause = append(d.Exit, 50), append(d.Cause, 1)
	curve := mustCount(t, d).ProductLimit(0, 1)
	rates, err := curve.SmoothHazard(20, []float64{50, 60, 75, 101}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "at the event", rates[0].Value, 0.75*0.1/20, 1e-14)
	near(t, "its standard error", rates[0].SE, 0.75*0.1/20, 1e-14)
	near(t, "half a window away", rates[1].Value, 0.75*0.75*0.1/20, 1e-14)
	if rates[2].Value != 0 || rates[2].Limits != survival.NoEvents {
		t.Errorf("outside the window: %+v", rates[2])
	}
	if rates[3].Status != survival.BeyondFollowUp {
		t.Errorf("beyond follow-up: %+v", rates[3])
	}
	wide, err := curve.SmoothHazard(51, []float64{50}, 0.95)
	if err != nil || wide[0].Status != survival.BeyondFollowUp || wide[0].Value != 0 {
		t.Errorf("a window wider than follow-up: %+v, %v", wide, err)
	}
	for _, b := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := curve.SmoothHazard(b, []float64{1}, 0.95); err == nil {
			t.Errorf("bandwidth %v was accepted", b)
		}
	}
}
