package numeric

import "math"

// Ratios is a running product of ratios, held to about twice the precision of a float64, so
// that Value is the exact product rounded once (short of a tie in the last place). A
// product that is exactly one half therefore compares equal to 0.5 however many factors made
// it; the rule for a median that falls on a flat stretch of a curve rests on this.
//
// Source: the compensated product of Ogita, Rump & Oishi, SIAM J. Sci. Comput. 26 (2005)
// 1955–1988, section 5, with the remainder of each division carried along.
type Ratios struct{ high, low float64 }

// One returns the empty product.
func One() Ratios { return Ratios{high: 1} }

// Times multiplies by num/den; den must not be 0.
func (r *Ratios) Times(num, den float64) {
	q := num / den
	lostInQ := math.FMA(-q, den, num) / den
	p := float64(r.high * q)
	lostInP := math.FMA(r.high, q, -p)
	low := lostInP + float64(r.high*lostInQ) + float64(r.low*q)
	// Renormalise, so that low stays below half a unit in the last place of high.
	r.high = p + low
	r.low = low - (r.high - p)
}

// Value returns the product.
func (r *Ratios) Value() float64 { return r.high + r.low }
