package survival

import (
	"fmt"
	"math"

	"deltoid/stats/dist"
)

// Select returns the counts of some of the groups, in the order given.
func (c *Counts) Select(groups ...int) *Counts {
	out := &Counts{causes: c.causes}
	for _, g := range groups {
		out.groups = append(out.groups, c.groups[g])
	}
	return out
}

// CountByStratum counts the rows of each stratum, 0 to strata−1, on its own. A stratum has the
// groups and causes of d, whether or not they occur in it.
func CountByStratum(d Data, stratum []int32, strata int) ([]*Counts, error) {
	d, err := d.normal()
	if err != nil {
		return nil, err
	}
	if len(stratum) != len(d.Exit) {
		return nil, fmt.Errorf("stratum has %d rows, Exit has %d", len(stratum), len(d.Exit))
	}
	if strata < 1 || strata > maxGroups/d.Groups {
		return nil, fmt.Errorf("%d strata of %d groups, want at least 1 and together at most %d", strata, d.Groups, maxGroups)
	}
	if _, err := checkRows(d); err != nil {
		return nil, err
	}
	both := make([]int32, len(stratum))
	for i, s := range stratum {
		if s < 0 || int(s) >= strata {
			return nil, &RowError{i, "stratum", fmt.Sprint(s), fmt.Sprintf("0 to %d", strata-1)}
		}
		both[i] = s * int32(d.Groups)
		if d.Group != nil {
			both[i] += d.Group[i]
		}
	}
	groups := d.Groups
	d.Group, d.Groups = both, groups*strata
	all, err := Count(d)
	if err != nil {
		return nil, err
	}
	out := make([]*Counts, strata)
	for s := range out {
		out[s] = &Counts{causes: all.causes, groups: all.groups[s*groups : (s+1)*groups : (s+1)*groups]}
	}
	return out, nil
}

// Trend is a test for a difference that grows along with a score of the groups.
type Trend struct {
	Scores    []float64
	Z         float64 // above 0 where groups of higher score have more events than expected
	ChiSquare float64 // Z²
	P         float64 // two-sided
	Status    Status
}

// Trend tests for a trend along the scores, one for each group: Z = Σ s_j U_j / √(sᵀVs).
//
// Source: Tarone, Biometrika 62 (1975) 679–682.
func (t *Test) Trend(scores []float64) (Trend, error) {
	if len(scores) != len(t.N) {
		return Trend{}, fmt.Errorf("%d scores for %d groups", len(scores), len(t.N))
	}
	out := Trend{Scores: scores, Status: t.Status}
	if t.Status != Estimated {
		return out, nil
	}
	var sum, variance, scale float64
	k := len(scores)
	for j, s := range scores {
		sum += float64(s * t.Score[j])
		for l, r := range scores {
			variance += float64(s * r * t.Variance[j*k+l])
		}
		scale += float64(s * s * t.Variance[j*k+j])
	}
	// Equal scores leave only rounding.
	if !(variance > 1e-12*scale) {
		out.Status = NotComparable
		return out, nil
	}
	out.ChiSquare = sum * sum / variance
	out.Z = math.Copysign(math.Sqrt(out.ChiSquare), sum)
	out.P = dist.NormalTwoSided(out.Z)
	return out, nil
}

// Pair is the comparison of two groups out of several.
type Pair struct {
	First, Second int
	Test          *Test
	// Holm and BenjaminiHochberg are the p-value adjusted for the number of pairs that could be
	// compared. They are 0 where Test.Status is not Estimated.
	Holm, BenjaminiHochberg float64
}

// Pairwise compares every group with every other as LogRank does, each pair on its own rows.
func Pairwise(cause int, w Weighting, strata ...*Counts) ([]Pair, error) {
	if err := sameShape(strata); err != nil {
		return nil, err
	}
	var pairs []Pair
	for first := range strata[0].Groups() {
		for second := first + 1; second < strata[0].Groups(); second++ {
			test, err := LogRank(cause, w, selectAll(strata, first, second)...)
			if err != nil {
				return nil, err
			}
			pairs = append(pairs, Pair{First: first, Second: second, Test: test})
		}
	}
	adjust(pairs)
	return pairs, nil
}

func selectAll(strata []*Counts, groups ...int) []*Counts {
	out := make([]*Counts, len(strata))
	for i, c := range strata {
		out[i] = c.Select(groups...)
	}
	return out
}

func adjust(pairs []Pair) {
	var p []float64
	var at []int
	for i, pair := range pairs {
		if pair.Test.Status == Estimated {
			p, at = append(p, pair.Test.P), append(at, i)
		}
	}
	holm, bh := dist.Holm(p), dist.BenjaminiHochberg(p)
	for j, i := range at {
		pairs[i].Holm, pairs[i].BenjaminiHochberg = holm[j], bh[j]
	}
}
