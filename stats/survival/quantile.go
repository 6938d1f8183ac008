package survival

import "fmt"

// Quantile is the time by which a share P has had the event, such as the median for 0.5.
type Quantile struct {
	P            float64
	Time         float64
	Lower, Upper float64
	Level        float64
	Scale        Scale
	// AtRisk is the number at risk at Time: how many people the answer rests on.
	AtRisk int64
	// Each of the three times has a state of its own; in any but Estimated it is 0.
	Status, LowerStatus, UpperStatus Status
}

// Median returns the median with the usual interval: 95 %, complementary log-log.
func (k *Curve) Median() Quantile { return k.quantile(0.5, 0.95, LogLog) }

// Quantile returns the time at which a share p, above 0 and below 1, has had the event: the
// first time with S ≤ 1−p, or, where S equals 1−p over a stretch, the middle of the stretch.
// A stretch that lasts to the end of follow-up ends there. The limits are the times at which the
// limits of S cross 1−p by the same rule.
//
// Source: Brookmeyer & Crowley, Biometrics 38 (1982) 29–41.
func (k *Curve) Quantile(p, level float64, scale Scale) (Quantile, error) {
	if err := CheckLevel(level, scale); err != nil {
		return Quantile{}, err
	}
	if !(p > 0 && p < 1) {
		return Quantile{}, fmt.Errorf("quantile %v, want a share above 0 and below 1", p)
	}
	return k.quantile(p, level, scale), nil
}

func (k *Curve) quantile(p, level float64, scale Scale) Quantile {
	q := Quantile{P: p, Level: level, Scale: scale}
	if nothing := k.nothing(); nothing != Estimated {
		q.Status, q.LowerStatus, q.UpperStatus = nothing, nothing, nothing
		return q
	}
	lower, upper := k.limitCurves(level, scale)
	q.Time, q.Status = k.crossing(k.Survival, 1-p)
	if k.lacks != Estimated {
		q.LowerStatus, q.UpperStatus = k.lacks, k.lacks
	} else {
		q.Lower, q.LowerStatus = k.crossing(lower, 1-p)
		q.Upper, q.UpperStatus = k.crossing(upper, 1-p)
	}
	if q.Status == Estimated {
		q.AtRisk = k.counts.AtRisk(k.Group, q.Time)
	}
	return q
}

// nothing says why there is nothing to estimate at any time, or Estimated.
func (k *Curve) nothing() Status {
	switch {
	case k.N == 0:
		return NoRows
	case k.WeightAtRisk != nil && total64(k.counts.groups[k.Group].leftWeight) == 0:
		return NoWeight
	}
	return Estimated
}

// limitCurves returns the limits of S beside Time. Before the first event both are 1; from the
// time at which S reaches 0 they stay where they were, since the variance says nothing there.
func (k *Curve) limitCurves(level float64, scale Scale) (lower, upper []float64) {
	lower, upper = make([]float64, len(k.Time)), make([]float64, len(k.Time))
	lo, up := 1.0, 1.0
	for i, s := range k.Survival {
		if k.Events[i] > 0 && s > 0 && s < 1 {
			lo, up = scale.Limits(s, k.se(i), level)
		}
		lower[i], upper[i] = lo, up
	}
	return lower, upper
}

// crossing returns the time at which a falling step function first reaches a height.
func (k *Curve) crossing(curve []float64, height float64) (float64, Status) {
	for i, y := range curve {
		if y > height {
			continue
		}
		if y < height {
			return k.Time[i], Estimated
		}
		end := i
		for end < len(curve)-1 && curve[end] == height {
			end++
		}
		return k.Time[i] + (k.Time[end]-k.Time[i])/2, Estimated
	}
	return 0, NotReached
}
