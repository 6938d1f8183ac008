package change

import (
	"math"

	"deltoid/stats/describe"
	"deltoid/stats/dist"
)

// LimitsOfAgreement says between which limits the differences of two measurements of the same rows lie.
type LimitsOfAgreement struct {
	N              int
	Bias           Estimate // mean difference, first minus second, with its t-interval
	SD             float64  // of the differences
	Lower, Upper   Estimate // bias ∓ z·SD, each with its interval
	Share          float64  // of differences between the limits: the level they are meant for
	WithMean       Estimate // correlation of difference and mean: a spread that grows with the score needs another scale
	Inside, Beyond int      // rows between the limits and outside of them
	State
}

// Agreement returns the limits that a share of the differences lie between, normally 0.95, with intervals of the
// given level: bias ∓ z·SD, of which the standard error is SD·√(1/n + z²/(2(n−1))), and Student's distribution with n − 1 degrees of freedom. The
// interval is approximate. Rows that miss a measurement (NaN) are left out and rows are taken to be independent.
//
// Sources: Bland & Altman, Lancet i (1986) 307–310, and Stat. Methods Med. Res. 8 (1999) 135–160, section 2.1.
func Agreement(first, second []float64, share, level float64) (LimitsOfAgreement, error) {
	if err := firstError(checkLength("second", len(second), len(first)), checkLevel(level), checkLevel(share)); err != nil {
		return LimitsOfAgreement{}, err
	}
	d, s := differences(first, second)
	l := LimitsOfAgreement{N: len(d.rows), Share: share, State: s}
	if !s.OK() {
		none := refused(l.N, level, s)
		l.Bias, l.Lower, l.Upper, l.WithMean = none, none, none, none
		return l, nil
	}
	n := float64(l.N)
	p := peopleOf(nil, l.N)
	l.SD, l.Bias = d.moments.SD, meanOf(d.values, p, level)
	z := dist.NormalSpread(share)
	se := l.SD * math.Sqrt(1/n+float64(z*z)/(2*(n-1)))
	limit := func(at float64) Estimate {
		half := float64(dist.StudentSpread(level, n-1) * se)
		return Estimate{Value: at, SE: se, Lower: at - half, Upper: at + half, Level: level, N: l.N}
	}
	l.Lower, l.Upper = limit(d.moments.Mean-float64(z*l.SD)), limit(d.moments.Mean+float64(z*l.SD))
	for _, v := range d.values {
		if v >= l.Lower.Value && v <= l.Upper.Value {
			l.Inside++
		} else {
			l.Beyond++
		}
	}
	l.WithMean = byRank(d.values, d.middle, p, level)
	return l, nil
}

// differing is the differences of two columns.
type differing struct {
	rows           []int32
	values, middle []float64
	moments        describe.Moments
}

func differences(first, second []float64) (differing, State) {
	var d differing
	d.rows = recorded(first, second)
	for _, i := range d.rows {
		d.values = append(d.values, first[i]-second[i])
		d.middle = append(d.middle, (first[i]+second[i])/2)
	}
	if len(d.rows) < 2 {
		return d, state(TooFew, "differences have a spread from 2 rows on; %d rows have both measurements", len(d.rows))
	}
	d.moments = describe.MomentsOf(d.values)
	if d.moments.Status != describe.Estimated {
		return d, state(OffScale, "a measurement is infinite")
	}
	return d, State{}
}
