package describe

import (
	"cmp"
	"math"
	"slices"

	"deltoid/stats/dist"
)

// exactUpTo is the number of rows in each sample up to which a rank test without ties is exact. Beyond it the normal
// approximation is good to more digits than anyone reads.
const exactUpTo = 49

// ranking is numbers with their ranks.
type ranking struct {
	rank []float64 // beside the numbers; equal numbers share the mean of their ranks
	ties float64   // Σ (t³ − t) over groups of t equal numbers
}

// rankOf ranks numbers that are finite.
func rankOf(x []float64) ranking {
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(x[a], x[b]) })
	r := ranking{rank: make([]float64, len(x))}
	for from := 0; from < len(order); {
		to := from + 1
		for to < len(order) && x[order[to]] == x[order[from]] {
			to++
		}
		for _, i := range order[from:to] {
			r.rank[i] = float64(from+1+to) / 2
		}
		t := float64(to - from)
		r.ties += float64(t*t*t) - t
		from = to
	}
	return r
}

// samplesStatus asks for samples that are not empty and hold finite numbers.
func samplesStatus(samples ...[]float64) Status {
	for _, x := range samples {
		if len(x) == 0 {
			return NoRows
		}
		if slices.ContainsFunc(x, func(v float64) bool { return !finite(v) }) {
			return NotFinite
		}
	}
	return Estimated
}

// RankSum tests whether one of two independent samples tends to hold larger numbers than the other. Statistic is the
// number of pairs in which the first is larger, ties counted half. P is exact when no numbers are equal and neither
// sample holds more than 49; otherwise it comes from the normal approximation with the variance corrected for ties and a continuity
// correction of ½.
//
// Source: Wilcoxon, Biometrics Bull. 1 (1945) 80–83; Mann & Whitney, Ann. Math. Stat. 18 (1947) 50–60.
func RankSum(a, b []float64) Test {
	if s := samplesStatus(a, b); s != Estimated {
		return Test{Status: s}
	}
	r := rankOf(slices.Concat(a, b))
	sum := 0.0
	for i := range a {
		sum += r.rank[i]
	}
	m, n := float64(len(a)), float64(len(b))
	t := Test{Statistic: sum - m*(m+1)/2}
	if r.ties == 0 && max(len(a), len(b)) <= exactUpTo {
		t.P, t.Exact = twoSided(rankSumCounts(len(a), len(b)), t.Statistic), true
		return t
	}
	variance := m * n / 12 * ((m + n + 1) - r.ties/((m+n)*(m+n-1)))
	return t.normal(m*n/2, variance)
}

// normal gives a rank test its p-value by the normal approximation with continuity correction.
func (t Test) normal(mean, variance float64) Test {
	if !(variance > 0) {
		return Test{Status: NoSpread}
	}
	distance := max(0, math.Abs(t.Statistic-mean)-0.5)
	t.P = dist.NormalTwoSided(distance / math.Sqrt(variance))
	return t
}

// SignedRank tests whether differences within pairs lie around 0. Differences of 0 are left out first. Statistic is the sum of
// the ranks, by size, of the positive ones. P is exact when no sizes are equal, none was 0 and there are at most 49; otherwise
// it comes from the normal approximation with the variance corrected for ties and a continuity correction of ½.
//
// Source: Wilcoxon, Biometrics Bull. 1 (1945) 80–83.
func SignedRank(differences []float64) Test {
	if s := samplesStatus(differences); s != Estimated {
		return Test{Status: s}
	}
	var sizes []float64
	var positive []bool
	for _, d := range differences {
		if d != 0 {
			sizes, positive = append(sizes, math.Abs(d)), append(positive, d > 0)
		}
	}
	r := rankOf(sizes)
	t := Test{}
	for i, up := range positive {
		if up {
			t.Statistic += r.rank[i]
		}
	}
	n := float64(len(sizes))
	if r.ties == 0 && len(sizes) == len(differences) && len(sizes) <= exactUpTo {
		t.P, t.Exact = twoSided(signedRankCounts(len(sizes)), t.Statistic), true
		return t
	}
	return t.normal(n*(n+1)/4, n*(n+1)*(2*n+1)/24-r.ties/48)
}

// RankGroups tests whether any of several independent samples tends to hold larger numbers than the others. Statistic is H, corrected for
// ties, and P comes from the chi-square distribution.
//
// Source: Kruskal & Wallis, J. Am. Stat. Assoc. 47 (1952) 583–621.
func RankGroups(samples ...[]float64) Test {
	if s := samplesStatus(samples...); s != Estimated || len(samples) < 2 {
		return Test{Status: first(s, NoRows)}
	}
	r := rankOf(slices.Concat(samples...))
	n, from, sum := float64(len(r.rank)), 0, 0.0
	for _, x := range samples {
		group := 0.0
		for _, rank := range r.rank[from : from+len(x)] {
			group += rank
		}
		d := group/float64(len(x)) - (n+1)/2
		sum += float64(float64(len(x)) * float64(d*d))
		from += len(x)
	}
	rest := 1 - r.ties/(n*n*n-n)
	if !(rest > 0) {
		return Test{Status: NoSpread}
	}
	h := 12 * sum / (n * (n + 1)) / rest
	df := len(samples) - 1
	return Test{Statistic: h, DF: float64(df), P: dist.ChiSquareUpper(h, df)}
}
