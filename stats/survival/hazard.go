package survival

import (
	"fmt"
	"math"
	"sort"

	"deltoid/stats/dist"
	"deltoid/stats/numeric"
)

// Hazard is the cumulative hazard of the event of a curve, beside the times of the curve. For one
// of several causes it is the cause-specific hazard: the rate among those whom no other cause has
// taken away.
type Hazard struct {
	Time []float64
	// Cumulative is Σ d/n up to and including Time.
	Cumulative []float64
	// Variance is Σ d/n², for rows that are independent; nil for weighted rows.
	Variance []float64
}

// Hazard returns the cumulative hazard.
//
// Sources: Nelson, Technometrics 14 (1972) 945–966; Aalen, Ann. Stat. 6 (1978) 701–726.
func (k *Curve) Hazard() *Hazard {
	h := &Hazard{Time: k.Time, Cumulative: make([]float64, len(k.Time))}
	weighted := k.WeightAtRisk != nil
	if !weighted {
		h.Variance = make([]float64, len(k.Time))
	}
	var sum, variance numeric.Sum
	for i := range k.Time {
		if n, d := k.mass(i); d > 0 && n > 0 {
			sum.Add(d / n)
			variance.Add(d / n / n)
		}
		h.Cumulative[i] = sum.Value()
		if !weighted {
			h.Variance[i] = variance.Value()
		}
	}
	return h
}

// Rate is the hazard at one time: events for each subject and unit of time.
type Rate struct {
	T            float64
	Value        float64
	SE           float64
	Lower, Upper float64 // at Level, symmetric for the logarithm
	Level        float64
	// Status is about Value, Limits about the rest; as in Point.
	Status, Limits Status
}

// SmoothHazard returns the hazard at the times asked for, smoothed over a bandwidth on either
// side:
//
//	h(t) = Σ K((t − s)/b) d/n / b,   Var h(t) = Σ K² d/n² / b²
//
// over event times s within b of t. K is Epanechnikov's kernel, and near 0 and near the last exit
// the boundary kernel that belongs to it, so that the hazard is not pulled down where half of the
// window is empty. The bandwidth, in the unit of the times, must be above 0, or the error says so; it
// decides what can be seen, so say which was used. Where it is more than half of the follow-up of the
// group Status is BeyondFollowUp.
//
// Sources: Ramlau-Hansen, Ann. Stat. 11 (1983) 453–466; Müller & Wang, Biometrics 50 (1994) 61–76,
// table 1, for the kernels. The variance of a curve made by Robust is summed over clusters instead.
func (k *Curve) SmoothHazard(bandwidth float64, at []float64, level float64) ([]Rate, error) {
	if err := CheckLevel(level, Log); err != nil {
		return nil, err
	}
	if !(bandwidth > 0 && bandwidth <= math.MaxFloat64) {
		return nil, fmt.Errorf("bandwidth %v, want a number above 0", bandwidth)
	}
	last := k.counts.LastTime(k.Group)
	out := make([]Rate, len(at))
	for i, t := range at {
		out[i] = k.rate(t, bandwidth, last, level)
	}
	return out, nil
}

func (k *Curve) rate(t, b, last, level float64) Rate {
	r := Rate{T: t, Level: level}
	if r.Status = k.rateStatus(t, b, last); r.Status != Estimated {
		r.Limits = r.Status
		return r
	}
	q, side := 1.0, 1.0
	if t < b {
		q = t / b
	} else if last-t < b {
		q, side = (last-t)/b, -1
	}
	var sum, variance numeric.Sum
	from := sort.SearchFloat64s(k.Time, t-b)
	weights := make([]float64, 0, 16)
	for i := from; i < len(k.Time) && k.Time[i] <= t+b; i++ {
		w := boundaryKernel(q, side*(t-k.Time[i])/b) / b
		weights = append(weights, w)
		if n, d := k.mass(i); d > 0 && n > 0 {
			sum.Add(float64(w * d / n))
			variance.Add(float64(w*w) * (d / n / n))
		}
	}
	r.Value, r.SE = max(0, sum.Value()), math.Sqrt(variance.Value())
	if k.Form == Robust && k.lacks == Estimated {
		r.SE = k.robustRate(from, weights)
	}
	switch {
	case k.lacks != Estimated:
		r.Limits = k.lacks
	case r.SE == 0:
		r.Limits = NoEvents
	case r.Value == 0:
		r.Limits = AtBound
	}
	if r.Limits != Estimated {
		r.SE = 0
		return r
	}
	spread := math.Exp(dist.NormalSpread(level) * r.SE / r.Value)
	r.Lower, r.Upper = r.Value/spread, float64(r.Value*spread)
	return r
}

// rateStatus says whether there is a hazard to smooth.
func (k *Curve) rateStatus(t, bandwidth, last float64) Status {
	nothing := k.nothing()
	switch {
	case nothing != Estimated:
		return nothing
	case !(t >= 0 && t <= last && bandwidth <= last/2):
		return BeyondFollowUp
	case k.counts.AtRisk(k.Group, t) == 0:
		return NobodyAtRisk
	case k.counts.Weightless(k.Group, t):
		return NoWeight
	}
	return Estimated
}

// robustRate returns the standard error of Σ w d/n over rows of the curve, the first of which is
// from, summed over clusters: Σ over clusters (Σ over their rows Σ w (dN − Y d/n)/n)².
func (k *Curve) robustRate(from int, weights []float64) float64 {
	m, sum := NewMoves(len(k.Time)), 0.0
	for row := range k.Time {
		m.Joining[row][0] = sum
		event := 0.0
		if i := row - from; i >= 0 && i < len(weights) {
			if n, d := k.mass(row); n > 0 {
				sum += float64(weights[i] * d / n / n)
				event = weights[i] / n
			}
		}
		m.Leaving[Censored][row][0], m.Leaving[OtherEvent][row][0] = -sum, -sum
		m.Leaving[OwnEvent][row][0] = event - sum
	}
	return math.Sqrt(k.rows.squares(m, k.Cause))
}

// boundaryKernel is the kernel for a window that reaches from −1 to q, 0 ≤ q ≤ 1. At q = 1 it is
// Epanechnikov's, 3/4 (1 − z²).
func boundaryKernel(q, z float64) float64 {
	if z < -1 || z > q {
		return 0
	}
	scale := 12 / math.Pow(1+q, 4)
	return scale * (z + 1) * (float64(z*(1-float64(2*q))) + (float64(3*q*q)-float64(2*q)+1)/2)
}
