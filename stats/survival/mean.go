package survival

import (
	"fmt"
	"math"

	"deltoid/stats/dist"
	"deltoid/stats/numeric"
)

// Mean is the mean time free of the event up to a horizon, in the unit of the times.
type Mean struct {
	Horizon      float64
	Value        float64
	SE           float64 // standard error of Value
	Lower, Upper float64 // at Level, on the plain scale
	Level        float64
	// Status is about Value, Limits about SE, Lower and Upper; as in Point.
	Status, Limits Status
}

// RestrictedMean returns the area under the curve from 0 to the horizon, which is the mean of
// the time free of the event, longer times counting as the horizon. The horizon must not lie
// beyond the last exit (unless the curve reached 0 before): Status says so if it does. The error
// is for a horizon that is not above 0 or a level that is none.
//
//	Var = Σ A(t)² d/(n(n−d))   over event times t ≤ horizon, A(t) the area from t to the horizon
//
// This is the variance of the estimate, not that of the times. The mean of a curve made by
// Robust has the variance that belongs to it, summed over clusters.
//
// Source: Irwin, J. Hyg. 47 (1949) 188–189; Kaplan & Meier (1958), section 6.
func (k *Curve) RestrictedMean(horizon, level float64) (Mean, error) {
	if err := CheckLevel(level, Plain); err != nil {
		return Mean{}, err
	}
	if !(horizon > 0) || math.IsInf(horizon, 1) {
		return Mean{}, fmt.Errorf("horizon %v of a restricted mean, want a time above 0", horizon)
	}
	m := Mean{Horizon: horizon, Level: level}
	m.Status = k.meanStatus(horizon)
	m.Limits = m.Status
	if m.Status != Estimated {
		return m, nil
	}
	m.Value, m.SE = k.area(horizon)
	if k.Form == Robust && k.lacks == Estimated {
		m.SE = k.robustArea(horizon)
	}
	switch {
	case k.lacks != Estimated:
		m.Limits, m.SE = k.lacks, 0
	case m.SE == 0:
		m.Limits = NoEvents
	default:
		half := float64(dist.NormalSpread(level) * m.SE)
		m.Lower, m.Upper = m.Value-half, m.Value+half
	}
	return m, nil
}

func (k *Curve) meanStatus(horizon float64) Status {
	nothing := k.nothing()
	switch {
	case nothing != Estimated:
		return nothing
	case horizon > k.counts.LastTime(k.Group) && k.Survival[len(k.Survival)-1] > 0:
		return BeyondFollowUp
	case k.counts.Weightless(k.Group, min(horizon, k.counts.LastTime(k.Group))) && k.Survival[len(k.Survival)-1] > 0:
		return NoWeight
	}
	return Estimated
}

// area returns the area under the curve up to the horizon and its standard error. It goes from
// the horizon backwards, so that the area to the right of each time is at hand.
func (k *Curve) area(horizon float64) (area, se float64) {
	var right, variance numeric.Sum
	end := horizon
	for i := k.step(horizon); i >= 0; i-- {
		right.Add(float64(k.Survival[i] * (end - k.Time[i])))
		end = k.Time[i]
		n, d := k.mass(i)
		if d > 0 && d < n {
			a := right.Value()
			variance.Add(float64(a*a) * (d / float64(n*(n-d))))
		}
	}
	right.Add(end) // S is 1 before the first exit
	return right.Value(), math.Sqrt(variance.Value())
}

// Contrast compares two estimates, the first with the second.
type Contrast struct {
	Value        float64 // first minus second, or first over second
	SE           float64 // of a difference; of the logarithm of a ratio
	Lower, Upper float64
	Level        float64
	P            float64 // two-sided, of no difference
	// Status is about Value, Limits about the rest; as in Point.
	Status, Limits Status
}

// Minus returns the difference of two restricted means, the receiver minus the other, with a
// plain interval. The covariance of the two is 0 where their groups are independent, and that of
// Curve.MeanInfluence where they share clusters. Both must have one horizon and one level, or the error
// says so.
func (m Mean) Minus(other Mean, covariance float64) (Contrast, error) {
	c, err := m.contrast(other)
	if err != nil || c.Status != Estimated {
		return c, err
	}
	return c.difference(m.Value-other.Value, m.SE, other.SE, covariance), nil
}

// Over returns the ratio of two restricted means, the receiver over the other, with an interval
// that is symmetric for its logarithm (delta method). Otherwise it is as Minus.
func (m Mean) Over(other Mean, covariance float64) (Contrast, error) {
	c, err := m.contrast(other)
	if err != nil || c.Status != Estimated {
		return c, err
	}
	switch {
	case other.Value == 0: // all had the event at the very start
		c.Status, c.Limits = NotComparable, NotComparable
		return c, nil
	case m.Value == 0:
		c.Limits = worse(c.Limits, AtBound)
	}
	c.Value = m.Value / other.Value
	if c.Limits == Estimated {
		c.SE, c.Limits = together(m.SE/m.Value, other.SE/other.Value, covariance/m.Value/other.Value)
	}
	if c.Limits == Estimated {
		half := float64(dist.NormalSpread(c.Level) * c.SE)
		c.Lower, c.Upper = float64(c.Value*math.Exp(-half)), float64(c.Value*math.Exp(half))
		c.P = dist.NormalTwoSided(math.Log(c.Value) / c.SE)
	}
	return c, nil
}

func (m Mean) contrast(other Mean) (Contrast, error) {
	if m.Horizon != other.Horizon || m.Level != other.Level {
		return Contrast{}, fmt.Errorf("means to %v at level %v and to %v at level %v cannot be compared",
			m.Horizon, m.Level, other.Horizon, other.Level)
	}
	return Contrast{Level: m.Level, Status: worse(m.Status, other.Status), Limits: worse(m.Limits, other.Limits)}, nil
}

// worse returns the first state that is not Estimated, if any.
func worse(a, b Status) Status {
	if a != Estimated {
		return a
	}
	return b
}

// together returns the standard error of a difference of two estimates. Where all that moves the one
// moves the other too there is none.
func together(se1, se2, covariance float64) (se float64, limits Status) {
	apart := float64(se1*se1) + float64(se2*se2)
	variance := apart - 2*covariance
	if !(variance > 1e-12*apart) {
		return 0, NotComparable
	}
	return math.Sqrt(variance), Estimated
}

func (c Contrast) difference(value, se1, se2, covariance float64) Contrast {
	c.Value = value
	if c.Limits != Estimated {
		return c
	}
	if c.SE, c.Limits = together(se1, se2, covariance); c.Limits != Estimated {
		return c
	}
	half := float64(dist.NormalSpread(c.Level) * c.SE)
	c.Lower, c.Upper = value-half, value+half
	c.P = dist.NormalTwoSided(value / c.SE)
	return c
}
