package dist

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// PoissonMidP returns the mid-P limits of the mean of a Poisson count of k events: as
// [PoissonLimits], but a count equal to k itself enters each tail with half of its probability.
// They are shorter than the exact ones and reach their level on average over the means instead
// of at every one. The lower limit of 0 events is 0. Both are NaN for k < 0 or a level outside 0
// to 1.
//
// Source: Lancaster, J. Am. Stat. Assoc. 56 (1961) 223–234; Cohen & Yang, Stat. Med. 13 (1994)
// 2189–2203.
func PoissonMidP(k int64, level float64) (lower, upper float64) {
	return RealPoissonMidP(float64(k), level)
}

// RealPoissonMidP is [PoissonMidP] of a number of events that need not be whole; see
// [RealPoissonLimits].
func RealPoissonMidP(k, level float64) (lower, upper float64) {
	if !(k >= 0) || math.IsInf(k, 1) || !(level > 0 && level < 1) {
		return math.NaN(), math.NaN()
	}
	tail := (1 - level) / 2
	if k > 0 {
		lower = solve(tail, 0, k, func(mean float64) float64 { return poissonMidUpper(k, mean) })
	}
	far := k + 1
	for poissonMidLower(k, far) > tail {
		far *= 2
	}
	upper = solve(tail, far, k, func(mean float64) float64 { return poissonMidLower(k, mean) })
	return lower, upper
}

// poissonMidUpper is P(X > k) + ½ P(X = k), as the mean of P(X ≥ k) and P(X > k).
func poissonMidUpper(k, mean float64) float64 {
	return (mathext.GammaIncReg(k, mean) + mathext.GammaIncReg(k+1, mean)) / 2
}

// poissonMidLower is P(X < k) + ½ P(X = k).
func poissonMidLower(k, mean float64) float64 {
	below := 0.0
	if k > 0 {
		below = mathext.GammaIncRegComp(k, mean)
	}
	return (below + mathext.GammaIncRegComp(k+1, mean)) / 2
}

// BinomialMidP returns the mid-P limits of a probability of which k of n trials succeeded; see
// [PoissonMidP]. The lower limit of 0 is 0 and the upper limit of n is 1. Both are NaN unless
// 0 ≤ k ≤ n, n > 0 and the level lies between 0 and 1.
//
// Source: Berry & Armitage, The Statistician 44 (1995) 417–423.
func BinomialMidP(k, n int64, level float64) (lower, upper float64) {
	return RealBinomialMidP(float64(k), float64(n), level)
}

// RealBinomialMidP is [BinomialMidP] of numbers that need not be whole; see [RealBinomialLimits].
func RealBinomialMidP(k, n, level float64) (lower, upper float64) {
	if !isShare(k, n, level) {
		return math.NaN(), math.NaN()
	}
	tail, share := (1-level)/2, k/n
	upper = 1
	if k > 0 {
		lower = solve(tail, 0, share, func(p float64) float64 { return binomialMidUpper(k, n, p) })
	}
	if k < n {
		upper = 1 - solve(tail, 0, 1-share, func(q float64) float64 { return binomialMidUpper(n-k, n, q) })
	}
	return lower, upper
}

// BinomialUpper returns the probability of k successes or more in n trials, each with
// probability p; with midP, k itself counts for half. It needs 0 ≤ p ≤ 1 and 0 ≤ k ≤ n.
func BinomialUpper(k, n int64, p float64, midP bool) float64 {
	return RealBinomialUpper(float64(k), float64(n), p, midP)
}

// RealBinomialUpper is [BinomialUpper] of numbers that need not be whole.
func RealBinomialUpper(k, n, p float64, midP bool) float64 {
	if midP {
		return binomialMidUpper(k, n, p)
	}
	return binomialUpper(k, n, p)
}

func binomialUpper(k, n, p float64) float64 {
	switch {
	case k <= 0:
		return 1
	case k >= n+1:
		return 0
	}
	return mathext.RegIncBeta(k, n-k+1, p)
}

// binomialMidUpper is P(X > k) + ½ P(X = k), as the mean of P(X ≥ k) and P(X > k).
func binomialMidUpper(k, n, p float64) float64 {
	return (binomialUpper(k, n, p) + binomialUpper(k+1, n, p)) / 2
}
