package competing_test

import (
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/survival"
)

// Cohorts with no censored row, only censored rows, one cause of several, and no rows at all.
func TestStates(t *testing.T) {
	type at struct {
		t              float64
		value          float64
		status, limits survival.Status
	}
	for _, c := range []struct {
		name  string
		exit  []int32
		cause []uint8
		want  []at // of cause 1
	}{
		{"nobody censored", []int32{1, 2, 3}, []uint8{1, 2, 1}, []at{
			{0, 0, survival.Estimated, survival.NoEvents},
			{1, 1.0 / 3, survival.Estimated, survival.Estimated},
			{9, 2.0 / 3, survival.Estimated, survival.Estimated}, // nobody is left free: it holds for good
		}},
		{"all censored", []int32{1, 2, 3}, []uint8{0, 0, 0}, []at{
			{2, 0, survival.NoEvents, survival.NoEvents},
			{4, 0, survival.BeyondFollowUp, survival.BeyondFollowUp},
		}},
		{"only the other cause", []int32{1, 2, 3}, []uint8{2, 0, 0}, []at{
			{3, 0, survival.NoEvents, survival.NoEvents},
		}},
		{"all have the event at once", []int32{2, 2}, []uint8{1, 1}, []at{
			{2, 1, survival.Estimated, survival.AtBound},
		}},
		{"no rows", []int32{}, []uint8{}, []at{
			{0, 0, survival.NoRows, survival.NoRows},
		}},
		{"event on day 0", []int32{0, 5}, []uint8{1, 0}, []at{
			{0, 0.5, survival.Estimated, survival.Estimated},
		}},
	} {
		curve := competing.Incidence(mustCount(t, survival.Data{Exit: c.exit, Cause: c.cause, Causes: 2}), 0, 1)
		for _, want := range c.want {
			p := curve.At(want.t)
			if p.Value != want.value || p.Status != want.status || p.Limits != want.limits {
				t.Errorf("%s at %v: %v %v/%v, want %v %v/%v", c.name, want.t, p.Value, p.Status, p.Limits, want.value, want.status, want.limits)
			}
			if p.Limits != survival.Estimated && (p.SE != 0 || p.Lower != 0 || p.Upper != 0) {
				t.Errorf("%s at %v: an interval is filled in without being estimated: %+v", c.name, want.t, p)
			}
		}
	}
}

func TestIntervalRefusesALevelThatIsNone(t *testing.T) {
	curve := competing.Incidence(mustCount(t, survival.Data{Exit: []int32{1, 2}, Cause: []uint8{1, 0}}), 0, 1)
	if _, err := curve.Interval(1, 0.05, survival.LogLog); err == nil {
		t.Error("level 0.05 was accepted")
	}
}
