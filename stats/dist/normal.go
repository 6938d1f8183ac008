package dist

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// NormalUpper returns the probability that a standard normal variable exceeds x.
func NormalUpper(x float64) float64 { return 0.5 * math.Erfc(x/math.Sqrt2) }

// NormalLower returns the probability that a standard normal variable stays at or below x.
func NormalLower(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

// NormalTwoSided returns the probability that a standard normal variable is at least as far
// from 0 as x: the two-sided p-value of a z statistic.
func NormalTwoSided(x float64) float64 { return math.Erfc(math.Abs(x) / math.Sqrt2) }

// NormalQuantile returns the x that a standard normal variable stays below with probability p,
// 0 < p < 1; it is −∞ at 0, +∞ at 1 and NaN outside. For p close to 1 ask for −NormalQuantile(q)
// with q = 1−p computed as such.
//
// A rational approximation is corrected by one step of Newton's method on the smaller tail.
func NormalQuantile(p float64) float64 {
	if !(p >= 0 && p <= 1) {
		return math.NaN()
	}
	if p > 0.5 {
		return -NormalQuantile(1 - p)
	}
	x := mathext.NormalQuantile(p)
	if p == 0 {
		return x
	}
	density := math.Exp(-x*x/2) / math.Sqrt(2*math.Pi)
	if density == 0 {
		return x
	}
	return x - (NormalLower(x)-p)/density
}

// NormalSpread returns the half-width, in standard errors, of a two-sided interval of the given
// level: 1.959964 for 0.95.
func NormalSpread(level float64) float64 { return -NormalQuantile((1 - level) / 2) }
