package describe

import (
	"math"

	"deltoid/stats/dist"
)

// Proportion is k of n with an interval.
type Proportion struct {
	K, N                int64
	Value, Lower, Upper float64
	Level               float64
	Status              Status
}

// newProportion checks the counts and the level.
func newProportion(k, n int64, level float64) Proportion {
	p := Proportion{K: k, N: n, Level: level}
	switch {
	case k < 0 || n < 0 || k > n:
		p.Status = NotCounts
	case n == 0:
		p.Status = NoRows
	default:
		p.Status = levelStatus(level)
	}
	if p.Status == Estimated {
		p.Value = float64(k) / float64(n)
	}
	return p
}

// Wilson returns a proportion with Wilson's score interval, without continuity correction:
//
//	(p + z²/2n ± z √(p(1−p)/n + z²/4n²)) / (1 + z²/n)
//
// The lower limit of 0 is exactly 0, and the upper limit of n exactly 1.
//
// Source: Wilson, J. Am. Stat. Assoc. 22 (1927) 209–212; method 3 of Newcombe, Stat. Med. 17 (1998) 857–872.
func Wilson(k, n int64, level float64) Proportion {
	p := newProportion(k, n, level)
	if p.Status != Estimated {
		return p
	}
	z, m, x := dist.NormalSpread(level), float64(n), float64(k)
	zz := float64(z * z)
	root := float64(z * math.Sqrt(zz/4+float64(x*(1-p.Value))))
	p.Lower = max(0, (x+zz/2-root)/(m+zz))
	p.Upper = min(1, (x+zz/2+root)/(m+zz))
	if k == 0 {
		p.Lower = 0
	}
	if k == n {
		p.Upper = 1
	}
	return p
}

// ExactProportion returns a proportion with the exact interval of Clopper and Pearson, which covers the truth at least as
// often as its level says, and mostly more often.
//
// Source: [dist.BinomialLimits].
func ExactProportion(k, n int64, level float64) Proportion {
	p := newProportion(k, n, level)
	if p.Status == Estimated {
		p.Lower, p.Upper = dist.BinomialLimits(k, n, level)
	}
	return p
}

// ProportionDifference is the first proportion minus the second, with an interval.
type ProportionDifference struct {
	A, B                Proportion // each with Wilson's interval
	Value, Lower, Upper float64
	Level               float64
	Status              Status
}

// Newcombe returns the difference of two independent proportions, a of m minus b of n, with the interval made of the Wilson limits of
// both, without continuity correction:
//
//	d − √((p₁−l₁)² + (u₂−p₂)²)  to  d + √((u₁−p₁)² + (p₂−l₂)²)
//
// Source: method 10 of Newcombe, Stat. Med. 17 (1998) 873–890.
func Newcombe(a, m, b, n int64, level float64) ProportionDifference {
	d := ProportionDifference{A: Wilson(a, m, level), B: Wilson(b, n, level), Level: level}
	d.Status = first(d.A.Status, d.B.Status)
	if d.Status != Estimated {
		return d
	}
	d.Value = d.A.Value - d.B.Value
	d.Lower = max(-1, d.Value-math.Hypot(d.A.Value-d.A.Lower, d.B.Upper-d.B.Value))
	d.Upper = min(1, d.Value+math.Hypot(d.A.Upper-d.A.Value, d.B.Value-d.B.Lower))
	return d
}
