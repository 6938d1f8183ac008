package change

import (
	"math"
	"slices"

	"deltoid/stats/describe"
)

// Sides compares the improvements of two sides of the same patients.
type Sides struct {
	N          int // patients with both
	Incomplete int
	// T is the paired t-test of first minus second.
	T describe.MeanTest
	// SignedRank leaves differences of 0 out. Exact says that P is the exact one, given the ties there are.
	SignedRank describe.Test
	Zeros      int
	// Correlation of the two sides.
	Correlation Estimate
	// VarianceOfContrast is that of the mean difference within patients, VarianceUnpaired what it would be between as many patients on each
	// side, Ratio the first over the second. One patient's sides share what is the patient's own; it falls out of their difference, so that
	// the ratio is 1 minus about the correlation, below 1 where that is positive.
	VarianceOfContrast, VarianceUnpaired, Ratio float64
	State
}

// exactRanksUpTo is the number of differences up to which the signed-rank test is exact, as in describe.
const exactRanksUpTo = 49

// WithinPatients compares first[i] with second[i], the improvements of the two sides of patient i, NaN where one is not known.
//
// Sources: Student, Biometrika 6 (1908) 1–25; Wilcoxon, Biometrics Bull. 1 (1945) 80–83. With ties the exact distribution is that
// of all signs of the ranks that were observed (Lehmann, Nonparametrics, 1975, section 3.1); above 49 differences see describe.SignedRank.
func WithinPatients(first, second []float64, level float64) (Sides, error) {
	if err := firstError(checkLength("second", len(second), len(first)), checkLevel(level)); err != nil {
		return Sides{}, err
	}
	d, trouble := differences(first, second)
	s := Sides{N: len(d.rows), Incomplete: len(first) - len(d.rows), State: trouble}
	if !s.OK() {
		s.Correlation, s.T.Status, s.SignedRank.Status = refused(s.N, level, trouble), describe.NoRows, describe.NoRows
		return s, nil
	}
	s.T = describe.Paired(d.moments, level)
	s.SignedRank, s.Zeros = signedRank(d.values)
	a, b := pick(first, d.rows), pick(second, d.rows)
	s.Correlation = byProduct(a, b, peopleOf(nil, s.N), level)
	n := float64(s.N)
	s.VarianceOfContrast = d.moments.Variance() / n
	s.VarianceUnpaired = (describe.MomentsOf(a).Variance() + describe.MomentsOf(b).Variance()) / n
	if s.VarianceUnpaired > 0 {
		s.Ratio = s.VarianceOfContrast / s.VarianceUnpaired
	}
	return s, nil
}

// signedRank is describe.SignedRank with an exact probability also where there are ties or zeros.
func signedRank(differences []float64) (t describe.Test, zeros int) {
	t = describe.SignedRank(differences)
	var sizes []float64
	for _, d := range differences {
		if d != 0 {
			sizes = append(sizes, math.Abs(d))
		}
	}
	zeros = len(differences) - len(sizes)
	if t.Status == describe.Estimated && !t.Exact && len(sizes) <= exactRanksUpTo {
		t.P, t.Exact = signsOfRanks(midranks(sizes), t.Statistic), true
	}
	return t, zeros
}

// signsOfRanks is the two-sided probability of a sum of positive ranks, twice the smaller tail, over all signs. Ranks are halves at the finest, so
// that twice a rank is a whole number.
func signsOfRanks(rank []float64, statistic float64) float64 {
	total := 0
	for _, r := range rank {
		total += int(2 * r)
	}
	chance := make([]float64, total+1)
	chance[0] = 1
	for _, r := range rank {
		twice := int(2 * r)
		for at := total; at >= 0; at-- {
			chance[at] /= 2
			if at >= twice {
				chance[at] += chance[at-twice] / 2
			}
		}
	}
	tail := 0.0
	for _, c := range slices.Clone(chance[:min(int(2*statistic), total-int(2*statistic))+1]) {
		tail += c
	}
	return min(1, 2*tail)
}
