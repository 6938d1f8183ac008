package describe

import (
	"math"

	"deltoid/stats/numeric"
)

// Standardised is a difference in units of spread. It does not depend on the number of rows, as a p-value does, so it says how
// unlike two groups are and not how many rows there are.
type Standardised struct {
	Value  float64
	Status Status
}

// StandardisedMeans returns the first mean minus the second in units of the pooled spread:
//
//	d = (x̄₁ − x̄₂) / √((s₁² + s₂²)/2)
//
// It is NoSpread when neither group varies, and OneRow when a group has one number. For weighted groups, hand in
// the weighted means with the unweighted standard deviations.
//
// Source: Austin, Stat. Med. 28 (2009) 3083–3107.
func StandardisedMeans(a, b Moments) Standardised {
	if s := first(a.Status, b.Status, a.Spread, b.Spread); s != Estimated {
		return Standardised{Status: s}
	}
	return inUnits(a.Mean-b.Mean, (a.Variance()+b.Variance())/2)
}

// StandardisedShares returns the first share minus the second in units of the pooled spread:
//
//	d = (p₁ − p₂) / √((p₁(1−p₁) + p₂(1−p₂))/2)
//
// It is NoSpread when each share is 0 or 1.
//
// Source: Austin, Stat. Med. 28 (2009) 3083–3107.
func StandardisedShares(a, m, b, n int64) Standardised {
	p, q := newProportion(a, m, 0.5), newProportion(b, n, 0.5)
	if s := first(p.Status, q.Status); s != Estimated {
		return Standardised{Status: s}
	}
	spread := (float64(p.Value*(1-p.Value)) + float64(q.Value*(1-q.Value))) / 2
	return inUnits(p.Value-q.Value, spread)
}

func inUnits(difference, variance float64) Standardised {
	if !(variance > 0) {
		return Standardised{Status: NoSpread}
	}
	return Standardised{Value: difference / math.Sqrt(variance)}
}

// StandardisedCategories returns how far apart two distributions over the same categories are, given as counts: with T the differences of the
// shares of all categories but one and S the mean of the two covariance matrices,
//
//	d = √(Tᵀ S⁻¹ T)
//
// which has no sign. The category left out makes no difference, and categories that are empty in both groups count for
// nothing. With two categories it is the absolute value of [StandardisedShares]. It is NoSpread when both groups lie in
// one and the same category, and NoOverlap when they share none, for then and only then S is singular.
//
// Source: Yang & Dalton, A unified approach to measuring the effect size between two groups, SAS Global Forum (2012) paper 335.
func StandardisedCategories(a, b []int64) Standardised {
	p, s := shares(a)
	q, t := shares(b)
	if s := first(s, t, sameLength(a, b)); s != Estimated {
		return Standardised{Status: s}
	}
	p, q, common := seen(p, q)
	switch {
	case !common:
		return Standardised{Status: NoOverlap}
	case len(p) == 1:
		return Standardised{Status: NoSpread}
	}
	k := len(p) - 1
	differences, covariance := make([]float64, k), make([]float64, k*k)
	for i := range k {
		differences[i] = p[i] - q[i]
		for j := range k {
			covariance[i*k+j] = -(float64(p[i]*p[j]) + float64(q[i]*q[j])) / 2
		}
		covariance[i*k+i] = (float64(p[i]*(1-p[i])) + float64(q[i]*(1-q[i]))) / 2
	}
	form, _ := numeric.QuadraticForm(differences, covariance)
	return Standardised{Value: math.Sqrt(form)}
}

func sameLength(a, b []int64) Status {
	if len(a) != len(b) {
		return NotCounts
	}
	return Estimated
}

// shares turns counts into shares of their total.
func shares(counts []int64) ([]float64, Status) {
	total := int64(0)
	for _, c := range counts {
		if c < 0 {
			return nil, NotCounts
		}
		total += c
	}
	if total == 0 {
		return nil, NoRows
	}
	p := make([]float64, len(counts))
	for i, c := range counts {
		p[i] = float64(c) / float64(total)
	}
	return p, Estimated
}

// seen keeps the categories that one of the groups has, and reports whether one category is in both. The most frequent comes last, where it is left
// out, so that what is left is as far from singular as it can be.
func seen(p, q []float64) (a, b []float64, common bool) {
	for i := range p {
		if p[i] > 0 || q[i] > 0 {
			a, b = append(a, p[i]), append(b, q[i])
			common = common || p[i] > 0 && q[i] > 0
		}
	}
	most := 0
	for i := range a {
		if a[i]+b[i] > a[most]+b[most] {
			most = i
		}
	}
	last := len(a) - 1
	a[most], a[last] = a[last], a[most]
	b[most], b[last] = b[last], b[most]
	return a, b, common
}

// Largest is the largest of the differences between any two of several groups.
type Largest struct {
	Value  float64 // absolute
	I, J   int     // the two groups, I < J
	Status Status
}

// LargestBetween returns the largest absolute standardised difference between any two of several groups: what is reported where
// there are more than two. pair gives that of groups i and j. Pairs without a number are passed over, unless none
// has one, or a pair has nothing in common: then that is what is said.
func LargestBetween(groups int, pair func(i, j int) Standardised) Largest {
	out := Largest{Status: NoRows}
	found := false
	for i := range groups {
		for j := i + 1; j < groups; j++ {
			d := pair(i, j)
			switch {
			case d.Status == NoOverlap:
				return Largest{I: i, J: j, Status: NoOverlap}
			case d.Status != Estimated && !found:
				out = Largest{I: i, J: j, Status: d.Status}
			case d.Status == Estimated && (!found || math.Abs(d.Value) > out.Value):
				found, out = true, Largest{Value: math.Abs(d.Value), I: i, J: j}
			}
		}
	}
	return out
}
