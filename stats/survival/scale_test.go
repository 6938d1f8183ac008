package survival_test

import (
	"testing"

	"deltoid/stats/survival"
)

var scales = []survival.Scale{survival.LogLog, survival.Plain, survival.Log, survival.Logit, survival.ArcsineRoot}

func TestLevelMustBeALevel(t *testing.T) {
	curve := mustCount(t, survival.Data{Exit: []int32{1, 2}, Cause: []uint8{1, 0}}).ProductLimit(0, 1)
	for _, level := range []float64{0.05, 0.5, 0, 1, 95, -0.95} {
		if _, err := curve.Interval(1, level, survival.LogLog); err == nil {
			t.Errorf("level %v was accepted", level)
		}
		if _, err := curve.Quantile(0.5, level, survival.LogLog); err == nil {
			t.Errorf("level %v was accepted for a quantile", level)
		}
	}
	if _, err := curve.Interval(1, 0.95, survival.Scale(9)); err == nil {
		t.Error("a scale that does not exist was accepted")
	}
	if _, err := curve.Quantile(1, 0.95, survival.LogLog); err == nil {
		t.Error("a quantile of 1 was accepted")
	}
}

// Limits hold the estimate between them, stay within 0 and 1, and move apart as the level grows.
func TestWidthGrowsWithLevel(t *testing.T) {
	for _, scale := range scales {
		for _, p := range []float64{0.01, 0.3, 0.5, 0.97} {
			lastLower, lastUpper := p, p
			for _, level := range []float64{0.51, 0.8, 0.9, 0.95, 0.99, 0.999} {
				lower, upper := scale.Limits(p, 0.02, level)
				if lower < 0 || upper > 1 || lower > lastLower || upper < lastUpper || upper-lower <= lastUpper-lastLower && lower > 0 && upper < 1 {
					t.Errorf("%v, p %v, level %v: %v to %v after %v to %v", scale, p, level, lower, upper, lastLower, lastUpper)
				}
				lastLower, lastUpper = lower, upper
			}
		}
	}
}

// Two forms without a reference file, for p 0.6 and se 0.1, from the formulas in another
// language's arithmetic (z = 1.959963984540054):
//
//	logit: log 1.5 ± z·0.1/0.24, taken back by 1/(1+exp(−x))
//	arcsine: arcsin √0.6 ± z·0.1/(2√0.24), taken back by sin²
func TestScalesByHand(t *testing.T) {
	lower, upper := survival.Logit.Limits(0.6, 0.1, 0.95)
	near(t, "logit lower", lower, 0.39862764236831466, 1e-14)
	near(t, "logit upper", upper, 0.7724358467912159, 1e-14)
	lower, upper = survival.ArcsineRoot.Limits(0.6, 0.1, 0.95)
	near(t, "arcsine lower", lower, 0.4012936131306079, 1e-14)
	near(t, "arcsine upper", upper, 0.7829126680800975, 1e-14)
}

func TestComplementKeepsTheInterval(t *testing.T) {
	counts := mustCount(t, survival.Data{Exit: []int32{1, 2, 3, 4}, Cause: []uint8{1, 0, 1, 0}})
	p := counts.ProductLimit(0, 1).At(3)
	q := p.Complement()
	if q.Value != 1-p.Value || q.Lower != 1-p.Upper || q.Upper != 1-p.Lower || q.SE != p.SE || q.Status != p.Status {
		t.Errorf("complement of %+v is %+v", p, q)
	}
	if back := q.Complement(); back.Status != p.Status || back.Value < p.Value-1e-15 || back.Value > p.Value+1e-15 {
		t.Errorf("twice complemented: %+v", back)
	}
	beyond := counts.ProductLimit(0, 1).At(9).Complement()
	if beyond.Value != 0 || beyond.Status != survival.BeyondFollowUp {
		t.Errorf("complement of nothing is %+v", beyond)
	}
}
