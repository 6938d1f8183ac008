package describe

import (
	"math"
	"slices"
)

// Definition is one of the nine definitions of a sample quantile, by its number in the source.
//
// Source: Hyndman & Fan, Am. Stat. 50 (1996) 361–365.
type Definition uint8

// The nine definitions. The first three are steps: a quantile is a number of the sample, or for AveragedSteps the mean of two. The
// others draw a line from number to number and differ in where each number stands.
const (
	Steps          Definition = iota + 1 // 1: inverse of the share at or below
	AveragedSteps                        // 2: as 1, the mean of both where the share is met exactly
	NearestEven                          // 3: the number nearest to n·p, of two equally near the even one
	LinearShare                          // 4: number k stands at k/n
	MidShare                             // 5: at (k − ½)/n
	MeanShare                            // 6: at k/(n + 1)
	Linear                               // 7: at (k − 1)/(n − 1); the default of the report
	MedianUnbiased                       // 8: at (k − ⅓)/(n + ⅓)
	NormalUnbiased                       // 9: at (k − ⅜)/(n + ¼)
)

// Sorted is a sample in rising order.
type Sorted struct {
	x      []float64
	status Status
}

// Sort returns a sample in order. The sample stays as it was.
func Sort(sample []float64) Sorted {
	s := Sorted{x: slices.Clone(sample)}
	slices.Sort(s.x)
	switch n := len(s.x); {
	case n == 0:
		s.status = NoRows
	// NaN is sorted to the front.
	case !finite(s.x[0]) || !finite(s.x[n-1]):
		s.status = NotFinite
	}
	return s
}

// Median returns the textbook's median: the middle number, or the mean of the two in the middle.
func (s Sorted) Median() (float64, Status) {
	if s.status != Estimated {
		return 0, s.status
	}
	n := len(s.x)
	return between(s.x[(n-1)/2], s.x[n/2], 0.5), Estimated
}

// Quantile returns the number that a share p of the sample lies below, 0 ≤ p ≤ 1, by one of the nine definitions; any other gives
// NotFinite, as a p outside 0 to 1 does. Definitions 2 and 5 to 9 give the textbook's median for p = ½; 1, 3 and 4 do not
// where the number of rows is even, which is why [Sorted.Median] exists.
func (s Sorted) Quantile(p float64, d Definition) (float64, Status) {
	switch {
	case s.status != Estimated:
		return 0, s.status
	case !(p >= 0 && p <= 1) || d < Steps || d > NormalUnbiased:
		return 0, NotFinite
	}
	place, share := d.place(float64(len(s.x)), p)
	return between(s.at(place), s.at(place+1), share), Estimated
}

// place returns the number of the last one at or before the quantile, counted from 1, and how far the quantile lies
// on the way to the next: the j and γ of the source.
func (d Definition) place(n, p float64) (j int, share float64) {
	// Noise of the last digits must not decide on which side of a whole number n·p + m lies.
	const noise = 4 * 0x1p-52
	exact := float64(n*p) + d.shift(p)
	whole := math.Floor(exact + noise*max(1, n))
	share = exact - whole
	if math.Abs(share) < noise*max(1, n) {
		share = 0
	}
	switch d {
	case Steps:
		share = math.Ceil(share)
	case AveragedSteps:
		share = (1 + math.Ceil(share)) / 2
	case NearestEven:
		if share != 0 || math.Mod(whole, 2) != 0 {
			share = 1
		}
	}
	return int(whole), share
}

// shift is the m of the source.
func (d Definition) shift(p float64) float64 {
	switch d {
	case NearestEven:
		return -0.5
	case MidShare:
		return 0.5
	case MeanShare:
		return p
	case Linear:
		return 1 - p
	case MedianUnbiased:
		return (p + 1) / 3
	case NormalUnbiased:
		return p/4 + 0.375
	}
	return 0
}

// at returns the number at a place counted from 1; the ends hold beyond themselves.
func (s Sorted) at(place int) float64 { return s.x[min(max(place, 1), len(s.x))-1] }

// between returns a number on the way from a to b, never outside the two.
func between(a, b, share float64) float64 {
	if share <= 0 || a == b {
		return a
	}
	if share >= 1 {
		return b
	}
	return min(max(a+float64(share*(b-a)), a), b)
}
