package describe

import (
	"math"

	"deltoid/stats/numeric"
)

// Moments is the number, mean and spread of a sample.
type Moments struct {
	N        int
	Mean     float64
	SD       float64 // standard deviation with n − 1
	Min, Max float64
	// Status is about N, Mean, Min and Max; Spread is about SD, which needs two numbers.
	Status, Spread Status
}

// MomentsOf returns the mean and the standard deviation of a sample, in its unit. The sum of squares is taken around the mean
// in a second pass, with the rounding of the mean taken out again, so that a large mean does not cost digits of a
// small spread.
//
// Source: Chan, Golub & LeVeque, Am. Stat. 37 (1983) 242–247, the corrected two-pass algorithm.
func MomentsOf(x []float64) Moments {
	m := Moments{N: len(x)}
	if m.N == 0 {
		m.Status, m.Spread = NoRows, NoRows
		return m
	}
	var sum numeric.Sum
	m.Min, m.Max = x[0], x[0]
	for _, v := range x {
		if !finite(v) {
			return Moments{N: m.N, Status: NotFinite, Spread: NotFinite}
		}
		m.Min, m.Max = min(m.Min, v), max(m.Max, v)
		sum.Add(v / float64(m.N))
	}
	m.Mean = min(max(sum.Value(), m.Min), m.Max)
	if m.N == 1 {
		m.Spread = OneRow
		return m
	}
	m.SD = m.spread(x)
	if !finite(m.SD) {
		m.SD, m.Spread = 0, NotFinite
	}
	return m
}

// spread is the second pass. Distances are scaled by the range, so that their squares stay in it.
func (m Moments) spread(x []float64) float64 {
	scale := m.Max - m.Min
	if scale == 0 {
		return 0
	}
	var squares, left numeric.Sum
	for _, v := range x {
		d := (v - m.Mean) / scale
		squares.Add(float64(d * d))
		left.Add(d)
	}
	rest := left.Value()
	variance := (squares.Value() - float64(rest*rest)/float64(m.N)) / float64(m.N-1)
	return scale * math.Sqrt(max(variance, 0))
}

// Variance is the square of the standard deviation.
func (m Moments) Variance() float64 { return m.SD * m.SD }

// squaredError is the variance of the mean.
func (m Moments) squaredError() float64 { return m.Variance() / float64(m.N) }
