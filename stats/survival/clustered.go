package survival

import "deltoid/stats/numeric"

// ClusteredLogRank is LogRank for rows that belong together in clusters (Data.Cluster) or have
// weights. The score is the same; its covariance is that of the sums over clusters of what each
// row adds to it, so that two hips of one person, in one group or in two, are not taken for two
// people. Stratum is 0 to strata−1 for each row, nil for one stratum; a cluster may have rows in
// several.
//
//	ε_ij = ∫ w(t) (δ_gj − n_j/n) (dN_i − Y_i d/n)    of row i in group g on the score of group j
//	V_jl = Σ over clusters (Σ ε_ij) (Σ ε_il)
//
// There is no small-sample factor, and the statistic cannot exceed the number of clusters; of one
// cluster it would always be 1, so Status is OneCluster. The cost is linear in the rows, in the groups for every row that
// shares its cluster, entered late or has a weight, and quadratic in the groups for every time at
// which there are events.
//
// Sources: Lin & Wei, J. Am. Stat. Assoc. 84 (1989) 1074–1078, for the sum over rows; Lee, Wei &
// Amato, Survival Analysis: State of the Art (1992) 237–247, for the sum over clusters.
func ClusteredLogRank(cause int, w Weighting, d Data, stratum []int32, strata int) (*Test, error) {
	d, err := d.normal()
	if err != nil {
		return nil, err
	}
	_, last := span(d.Exit)
	l := &Layout{d: d, ticks: int(last) + 1}
	l.orderByCluster() // before the counts, so that both do not need their memory at once
	counts, err := countClustered(d, stratum, strata)
	if err != nil {
		return nil, err
	}
	if err := counts[0].checkCause(cause); err != nil {
		return nil, err
	}
	k := d.Groups
	t := &Test{Weighting: w, Cause: cause, Strata: len(counts), N: make([]int64, k), Events: make([]int64, k)}
	sums := newScoreSums(k)
	times := make([]*eventTimes, len(counts))
	for s, c := range counts {
		times[s] = c.eventTimes(cause, w)
		sums.addScores(c, cause, times[s])
		for g := range k {
			t.N[g] += c.N(g)
			t.Events[g] += c.Events(g, cause)
		}
	}
	scan := newClusterScan(cause, counts, times, l, stratum)
	t.Clusters = scan.clusters
	t.finish(sums, scan.covariance(sums.comparable))
	if t.Status == Estimated && scan.clusters == 1 {
		t.Status, t.ChiSquare, t.DF, t.P = OneCluster, 0, 0, 0
	}
	return t, nil
}

func countClustered(d Data, stratum []int32, strata int) ([]*Counts, error) {
	if stratum != nil {
		return CountByStratum(d, stratum, strata)
	}
	c, err := Count(d)
	return []*Counts{c}, err
}

// addScores adds the scores of one stratum without their covariance.
func (s *scoreSums) addScores(c *Counts, cause int, times *eventTimes) {
	along := times.walkers(c, cause)
	for from := 0; from < len(times.time); from += numeric.Stretch {
		to := min(from+numeric.Stretch, len(times.time))
		for g := range along {
			s.walk(g, &along[g], times, from, to, nil)
		}
	}
}
