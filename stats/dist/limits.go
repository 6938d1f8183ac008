package dist

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// PoissonLimits returns the exact limits of the mean of a Poisson count of k events: the means
// at which k or more, and k or fewer, events have probability (1−level)/2. The lower limit of 0
// events is 0. Both are NaN for k < 0 or a level outside 0 to 1.
//
// Source: Garwood, Biometrika 28 (1936) 437–442.
func PoissonLimits(k int64, level float64) (lower, upper float64) {
	return RealPoissonLimits(float64(k), level)
}

// RealPoissonLimits is [PoissonLimits] of a number of events that need not be whole, such as one
// divided by a design effect. The tails are gamma distributions, as they are for whole numbers.
func RealPoissonLimits(k, level float64) (lower, upper float64) {
	if !(k >= 0) || math.IsInf(k, 1) || !(level > 0 && level < 1) {
		return math.NaN(), math.NaN()
	}
	tail := (1 - level) / 2
	if k > 0 {
		lower = solve(tail, 0, k, func(mean float64) float64 { return mathext.GammaIncReg(k, mean) })
	}
	far := k + 1
	for mathext.GammaIncRegComp(k+1, far) > tail {
		far *= 2
	}
	upper = solve(tail, far, k, func(mean float64) float64 { return mathext.GammaIncRegComp(k+1, mean) })
	return lower, upper
}

// BinomialLimits returns the exact limits of a probability of which k of n trials succeeded.
// The lower limit of 0 is 0 and the upper limit of n is 1. Both are NaN unless 0 ≤ k ≤ n, n > 0
// and the level lies between 0 and 1.
//
// Source: Clopper & Pearson, Biometrika 26 (1934) 404–413.
func BinomialLimits(k, n int64, level float64) (lower, upper float64) {
	return RealBinomialLimits(float64(k), float64(n), level)
}

// RealBinomialLimits is [BinomialLimits] of numbers that need not be whole. The tails are beta
// distributions, as they are for whole numbers.
//
// Source: Korn & Graubard, Survey Methodology 24 (1998) 193–201, for numbers divided by a design
// effect.
func RealBinomialLimits(k, n, level float64) (lower, upper float64) {
	if !isShare(k, n, level) {
		return math.NaN(), math.NaN()
	}
	tail := (1 - level) / 2
	upper = 1
	if k > 0 {
		lower = solve(tail, 0, k/n, func(p float64) float64 { return mathext.RegIncBeta(k, n-k+1, p) })
	}
	if k < n {
		// P(X ≤ k) at p is the same function seen from the other end.
		upper = 1 - solve(tail, 0, 1-k/n, func(q float64) float64 { return mathext.RegIncBeta(n-k, k+1, q) })
	}
	return lower, upper
}

func isShare(k, n, level float64) bool {
	return k >= 0 && n > 0 && k <= n && !math.IsInf(n, 1) && level > 0 && level < 1
}

// solve returns the x between small and large at which a monotone tail takes the value want:
// tail is below want at small and above it at large. Halving to the last digit takes some sixty
// steps whatever the shape, where inverses by series go wrong in the far tails.
func solve(want, small, large float64, tail func(float64) float64) float64 {
	for {
		middle := small + (large-small)/2
		if middle == small || middle == large {
			return large
		}
		if tail(middle) < want {
			small = middle
		} else {
			large = middle
		}
	}
}
