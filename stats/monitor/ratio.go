package monitor

import "deltoid/stats/dist"

// RateRatio is the rate of one tally over that of another.
type RateRatio struct {
	First, Second Tally
	Value         float64
	Lower, Upper  float64 // at Level, by Form
	Level         float64
	Form          Form
	Effect        float64 // as in Rate
	// P is the two-sided p-value of no difference: twice the smaller tail, and 1 at most, so that
	// it falls below 1 − Level exactly when the interval leaves out 1. A p-value that adds up all
	// outcomes no more probable than the one seen is another one; it can contradict the interval.
	P float64
	// Status is Estimated, NoExposure, NoEvents or NoReference. In the last there is no Value and
	// no Upper, while Lower and P are there; in NoExposure and NoEvents there is nothing. Limits is
	// about Lower, Upper and P: Status, or OneCluster or NotComparable where they cannot be had from
	// clusters.
	Status, Limits Status
}

// Ratio compares two rates by their ratio. Given the number of events in both together, those of
// the first are binomial, with a probability that depends on the ratio and the exposures only:
//
//	p = ρ E₁ / (ρ E₁ + E₂)
//
// so the exact (or mid-P) limits of p are those of the ratio, whatever the rates themselves are.
// The error is for a tally or a level that cannot be.
//
// Source: Przyborowski & Wilenski, Biometrika 31 (1940) 313–323; Breslow & Day, Statistical
// Methods in Cancer Research II (1987), section 3.4.
func Ratio(first, second Tally, level float64, form Form) (RateRatio, error) {
	return ratioOf(first, second, level, form, design{effect: 1})
}

// ratioOf is Ratio with events divided by a design effect.
func ratioOf(first, second Tally, level float64, form Form, x design) (RateRatio, error) {
	r := RateRatio{First: first, Second: second, Level: level, Form: form, Effect: x.effect, Limits: x.status}
	if err := checkPair(first, second, level, form); err != nil {
		return RateRatio{}, err
	}
	scale := second.Exposure / first.Exposure
	switch {
	case !(scale > 1/largest && scale < largest):
		r.Status = NoExposure
	case first.Events+second.Events == 0:
		r.Status = NoEvents
	default:
		r.fill(scale)
	}
	if r.Status != Estimated && (r.Status != NoReference || r.Limits == Estimated) {
		r.Limits = r.Status
	}
	return r, nil
}

func checkPair(first, second Tally, level float64, form Form) error {
	for _, t := range []Tally{first, second} {
		if err := t.check(); err != nil {
			return err
		}
	}
	return CheckLevel(level, form)
}

// fill works out the ratio where there are events and exposures; scale is E₂/E₁.
func (r *RateRatio) fill(scale float64) {
	if r.Second.Events == 0 {
		r.Status = NoReference
	} else {
		r.Value = float64(r.First.Events) / float64(r.Second.Events) * scale
	}
	if r.Limits != Estimated {
		return
	}
	// The upper end comes from the other side, where it is a small probability with all digits.
	k, rest := r.effective()
	lower, _ := binomialLimits(k, k+rest, r.Level, r.Form)
	r.Lower = lower / (1 - lower) * scale
	r.P = r.pValue(1)
	if r.Status == Estimated {
		other, _ := binomialLimits(rest, k+rest, r.Level, r.Form)
		r.Upper = (1 - other) / other * scale
	}
}

// effective returns the events of both, less what clusters repeat.
func (r *RateRatio) effective() (first, second float64) {
	return float64(r.First.Events) / r.Effect, float64(r.Second.Events) / r.Effect
}

func binomialLimits(k, n, level float64, form Form) (lower, upper float64) {
	if form == MidP {
		return dist.RealBinomialMidP(k, n, level)
	}
	return dist.RealBinomialLimits(k, n, level)
}

// pValue returns the two-sided p-value of a ratio.
func (r *RateRatio) pValue(ratio float64) float64 {
	above, below := r.tails(ratio)
	return min(1, 2*min(above, below))
}

// tails returns how probable as many events in the first tally or more, and as many or fewer,
// are if the rates have the given ratio.
func (r *RateRatio) tails(ratio float64) (above, below float64) {
	k, rest := r.effective()
	first, second := float64(ratio*r.First.Exposure), r.Second.Exposure
	midP := r.Form == MidP
	return dist.RealBinomialUpper(k, k+rest, first/(first+second), midP), dist.RealBinomialUpper(rest, k+rest, second/(first+second), midP)
}
