package trials

import "math"

// falling returns where a function that falls from above 0 to below 0 between low and high is 0,
// from above: the function is not above 0 there. Regula falsi by the Illinois rule, each step kept
// inside the bracket; it takes some ten evaluations where bisection takes fifty.
//
// Source: Dowell & Jarratt, BIT 11 (1971) 168–174.
func falling(low, high float64, f func(x float64) float64) float64 {
	atLow, atHigh := f(low), f(high)
	side := 0
	for range 200 {
		if high-low <= 1e-13*max(1, math.Abs(high)) {
			break
		}
		x := low + (high-low)*atLow/(atLow-atHigh)
		if !(x > low && x < high) {
			x = low + (high-low)/2
		}
		at := f(x)
		switch {
		case at > 0:
			if low, atLow = x, at; side == 1 {
				atHigh /= 2
			}
			side = 1
		case at < 0:
			if high, atHigh = x, at; side == -1 {
				atLow /= 2
			}
			side = -1
		default:
			return x
		}
	}
	return high
}
