package dist

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// nearlyNormal is the number of degrees of freedom from which Student's distribution is taken for the normal one: they
// then differ by less than the incomplete beta function loses.
const nearlyNormal = 1e7

// StudentTwoSided returns the probability that a variable with Student's distribution of df degrees of freedom, df > 0 and
// not necessarily whole, is at least as far from 0 as t: the two-sided p-value of a t statistic. It is NaN for t NaN or df
// not above 0.
//
// Source: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 26.7.1 with 26.5.27.
func StudentTwoSided(t, df float64) float64 {
	switch {
	case math.IsNaN(t) || !(df > 0):
		return math.NaN()
	case math.IsInf(t, 0):
		return 0
	case df >= nearlyNormal:
		return NormalTwoSided(t)
	}
	return mathext.RegIncBeta(df/2, 0.5, df/(df+float64(t*t)))
}

// StudentSpread returns the half-width, in standard errors, of a two-sided interval of the given level from Student's distribution with
// df degrees of freedom: 2.228139 for 0.95 and 10. It is NaN for a level outside 0 to 1 or df below 1.
func StudentSpread(level, df float64) float64 {
	if !(level > 0 && level < 1) || !(df >= 1) {
		return math.NaN()
	}
	tail, far := 1-level, 1.0
	for StudentTwoSided(far, df) > tail {
		far *= 2
	}
	return solve(tail, far, 0, func(t float64) float64 { return StudentTwoSided(t, df) })
}

// FUpper returns the probability that a variable with the F distribution of df1 and df2 degrees of freedom, above 0 and not necessarily
// whole, is at least f: the p-value of an F statistic. It is NaN for f NaN or degrees of freedom not above 0.
//
// Source: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 26.6.2.
func FUpper(f, df1, df2 float64) float64 {
	switch {
	case math.IsNaN(f) || !(df1 > 0) || !(df2 > 0):
		return math.NaN()
	case f <= 0:
		return 1
	case math.IsInf(f, 1):
		return 0
	}
	return mathext.RegIncBeta(df2/2, df1/2, df2/(df2+float64(df1*f)))
}
