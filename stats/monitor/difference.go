package monitor

import "math"

// RateDifference is the rate of one tally less that of another.
type RateDifference struct {
	First, Second Rate // with their own intervals, from which that of the difference is made
	Value         float64
	Lower, Upper  float64
	// Status is Estimated or NoExposure. Limits is about Lower and Upper: Status, or OneCluster.
	Status, Limits Status
}

// Difference compares two rates by their difference, the first less the second, for each per
// units of exposure. Its interval is put together from the exact (or mid-P) intervals of the two
// rates, by squaring and adding their arms:
//
//	lower = d − √((r₁−l₁)² + (u₂−r₂)²),   upper = d + √((u₁−r₁)² + (r₂−l₂)²)
//
// No exact interval exists that depends on the difference alone, as there is one for the ratio:
// the rates themselves always enter. This one needs no approximation by a normal distribution, is
// there without any event, and, made from exact intervals, was never found below its level when
// its true coverage was added up over all outcomes (difference_test.go).
//
// Source: Zou & Donner, Stat. Med. 27 (2008) 1693–1702; Li, Tang, Poon & Tang, Commun. Stat. Simul.
// Comput. 40 (2011) 1478–1493, for rates.
func Difference(first, second Tally, per, level float64, form Form) (RateDifference, error) {
	r1, err := first.Rate(per, level, form)
	if err != nil {
		return RateDifference{}, err
	}
	r2, err := second.Rate(per, level, form)
	if err != nil {
		return RateDifference{}, err
	}
	return differenceOf(r1, r2, 0), nil
}

// differenceOf puts the intervals of two rates with a correlation together:
//
//	lower = d − √(a² + b² − 2 ρ a b),   a and b the arms that point there
func differenceOf(r1, r2 Rate, correlation float64) RateDifference {
	d := RateDifference{First: r1, Second: r2}
	if r1.Status != Estimated || r2.Status != Estimated {
		d.Status, d.Limits = NoExposure, NoExposure
		return d
	}
	d.Value = r1.Value - r2.Value
	if d.Limits = max(r1.Limits, r2.Limits); d.Limits != Estimated {
		return d
	}
	arm := func(a, b float64) float64 {
		if correlation == 0 {
			return math.Hypot(a, b)
		}
		return math.Sqrt(max(0, float64(a*a)+float64(b*b)-float64(2*correlation*a*b)))
	}
	d.Lower = d.Value - arm(r1.Value-r1.Lower, r2.Upper-r2.Value)
	d.Upper = d.Value + arm(r1.Upper-r1.Value, r2.Value-r2.Lower)
	return d
}
