package survival

import (
	"fmt"
	"math"

	"deltoid/stats/dist"
)

// Minus returns the difference of two curves at one time, the receiver minus the other, with a plain
// interval. The covariance of the two values is 0 where their groups are independent, and that of
// Curve.Influence where they share clusters. Both must have one time and one level, or the error says
// so. There is an interval only where both points have one.
func (p Point) Minus(other Point, covariance float64) (Contrast, error) {
	if err := p.sameTime(other); err != nil {
		return Contrast{}, err
	}
	c := Contrast{Level: p.Level, Status: worse(valueState(p), valueState(other)), Limits: worse(p.Limits, other.Limits)}
	if c.Status != Estimated {
		return c, nil
	}
	return c.difference(p.Value-other.Value, p.SE, other.SE, covariance), nil
}

// valueState is Estimated wherever the point has a value to subtract from.
func valueState(p Point) Status {
	if p.Status == NoEvents {
		return Estimated
	}
	return p.Status
}

func (p Point) sameTime(other Point) error {
	if p.T != other.T || p.Level != other.Level {
		return fmt.Errorf("points at %v with level %v and at %v with level %v cannot be compared", p.T, p.Level, other.T, other.Level)
	}
	return nil
}

// PointTest is a test of whether two curves have one value at one time.
type PointTest struct {
	Scale     Scale
	ChiSquare float64 // 1 degree of freedom
	P         float64
	Status    Status
}

// Differs tests whether two curves differ at one time, on the scale given; the covariance is that of
// Minus. On LogLog its level holds better than on Plain where few events have happened.
//
//	χ² = (g(p₁) − g(p₂))² / (se₁² g′(p₁)² + se₂² g′(p₂)² − 2 cov g′(p₁) g′(p₂))
//
// Source: Klein et al., Stat. Med. 26 (2007) 4505–4519.
func (p Point) Differs(other Point, scale Scale, covariance float64) (PointTest, error) {
	if err := p.sameTime(other); err != nil {
		return PointTest{}, err
	}
	if err := CheckLevel(p.Level, scale); err != nil {
		return PointTest{}, err
	}
	t := PointTest{Scale: scale, Status: worse(p.Limits, other.Limits)}
	if t.Status != Estimated {
		return t, nil
	}
	g1, slope1 := scale.transform(p.Value)
	g2, slope2 := scale.transform(other.Value)
	se, ok := together(float64(p.SE*slope1), float64(other.SE*slope2), float64(covariance*slope1*slope2))
	if t.Status = ok; ok != Estimated {
		return t, nil
	}
	z := (g1 - g2) / se
	t.ChiSquare, t.P = z*z, dist.NormalTwoSided(z)
	return t, nil
}

// transform returns the function of the scale at p, and its slope.
func (s Scale) transform(p float64) (value, slope float64) {
	switch s {
	case Plain:
		return p, 1
	case Log:
		return math.Log(p), 1 / p
	case Logit:
		return math.Log(p / (1 - p)), 1 / float64(p*(1-p))
	case ArcsineRoot:
		return math.Asin(math.Sqrt(p)), 1 / (2 * math.Sqrt(p*(1-p)))
	}
	return math.Log(-math.Log(p)), 1 / float64(p*math.Log(p))
}
