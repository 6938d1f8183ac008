package survival

// ClusteredLogRank is LogRank for rows that belong together in clusters (Data.Cluster) or have
// weights. The score is the same; its covariance is that of the sums over clusters of what each
// row adds to it, so that two hips of one person, in one group or in two, are not taken for two
// people. Stratum is 0 to strata−1 for each row, nil for one stratum; a cluster may have rows in
// several.
//
//	ε_ij = ∫ w(t) (δ_gj − n_j/n) (dN_i − Y_i d/n)    of row i in group g on the score of group j
//	V_jl = Σ over clusters (Σ ε_ij) (Σ ε_il)
//
// The cost is linear in the rows and quadratic in the groups. There is no small-sample factor.
//
// Sources: Lin & Wei, J. Am. Stat. Assoc. 84 (1989) 1074–1078, for the sum over rows; Lee, Wei &
// Amato, Survival Analysis: State of the Art (1992) 237–247, for the sum over clusters.
func ClusteredLogRank(cause int, w Weighting, d Data, stratum []int32, strata int) (*Test, error) {
	if stratum == nil {
		stratum, strata = make([]int32, len(d.Exit)), 1
	}
	counts, err := CountStrata(d, stratum, strata)
	if err != nil {
		return nil, err
	}
	if err := counts[0].checkCause(cause); err != nil {
		return nil, err
	}
	d, _ = d.normal()
	k := d.Groups
	t := &Test{Weighting: w, Cause: cause, Strata: strata, N: make([]int64, k), Events: make([]int64, k)}
	sums := newScoreSums(k)
	paths := make([]scorePath, strata)
	for s, c := range counts {
		paths[s] = newScorePath(c, cause, w, sums)
		for g := range k {
			t.N[g] += c.N(g)
			t.Events[g] += c.Events(g, cause)
		}
	}
	variance, clusters := clusterCovariance(d, stratum, paths, k)
	t.Clusters = clusters
	t.finish(sums, variance)
	return t, nil
}

// scorePath is what a row at risk adds to the scores in one stratum, time by time.
type scorePath struct {
	cause  int
	layout layout
	weight []float64 // w(t) at each time
	share  []float64 // n_j/n, k numbers a time
	hazard []float64 // Σ w d/n up to and including each time
	drift  []float64 // Σ w (n_j/n) d/n, k numbers a time
}

// newScorePath goes along the times of a stratum and adds its scores to sums.
func newScorePath(c *Counts, cause int, w Weighting, sums *scoreSums) scorePath {
	table, k := c.Pooled().LifeTable(0), c.Groups()
	rows := len(table.Time)
	p := scorePath{
		cause: cause, layout: layout{times: table.Time}, weight: make([]float64, rows), hazard: make([]float64, rows+1),
		share: make([]float64, rows*k), drift: make([]float64, (rows+1)*k),
	}
	groups := make([]groupPath, k)
	for g := range groups {
		groups[g] = groupPath{table: c.LifeTable(g), mass: c.groups[g].massAt(table.Time)}
	}
	along := weigher{Weighting: w, s: 1, peto: 1}
	for row, t := range table.Time {
		n, d := table.Mass(row), table.MassEvents(row, cause)
		copy(p.drift[(row+1)*k:(row+2)*k], p.drift[row*k:])
		p.hazard[row+1] = p.hazard[row]
		if d == 0 || n == 0 {
			continue
		}
		weight := along.next(n, d)
		p.weight[row] = weight
		p.hazard[row+1] += float64(weight * d / n)
		for g := range groups {
			share, events := groups[g].mass[row]/n, groups[g].events(t, cause)
			p.share[row*k+g] = share
			p.drift[(row+1)*k+g] += float64(weight * share * d / n)
			sums.observed[g].Add(float64(weight * events))
			sums.expected[g].Add(float64(weight * d * share))
			sums.score[g].Add(float64(weight * (events - float64(d*share))))
		}
	}
	return p
}

// groupPath follows one group along ascending times.
type groupPath struct {
	table *LifeTable
	mass  []float64 // at risk, beside the times of all groups
	next  int
}

// events returns the events at time t.
func (g *groupPath) events(t float64, cause int) float64 {
	for g.next < len(g.table.Time) && g.table.Time[g.next] < t {
		g.next++
	}
	if g.next == len(g.table.Time) || g.table.Time[g.next] != t {
		return 0
	}
	return g.table.MassEvents(g.next, cause)
}

// clusterCovariance returns the covariance of the scores and the number of clusters.
func clusterCovariance(d Data, stratum []int32, paths []scorePath, k int) ([]float64, int) {
	number := newNumbering(d.Cluster)
	clusters := make([]int32, len(d.Exit))
	for i := range clusters {
		clusters[i] = number.of(i)
	}
	order := inOrder(clusters, number.size)
	v := make([]float64, k*k)
	sum := make([]float64, k)
	for at, i := range order {
		paths[stratum[i]].add(d, int(i), sum)
		if at+1 < len(order) && clusters[order[at+1]] == clusters[i] {
			continue
		}
		for j, x := range sum {
			for l, y := range sum[:j+1] {
				v[j*k+l] += float64(x * y)
			}
		}
		clear(sum)
	}
	for j := range k {
		for l := range j {
			v[l*k+j] = v[j*k+l]
		}
	}
	return v, number.size
}

// inOrder returns the rows sorted by cluster.
func inOrder(cluster []int32, clusters int) []int32 {
	next := make([]int32, clusters+1)
	for _, c := range cluster {
		next[c+1]++
	}
	for c := range clusters {
		next[c+1] += next[c]
	}
	out := make([]int32, len(cluster))
	for i, c := range cluster {
		out[next[c]] = int32(i)
		next[c]++
	}
	return out
}

// add adds to sum what row i adds to the scores.
func (p *scorePath) add(d Data, i int, sum []float64) {
	k, group, weight := len(sum), 0, 1.0
	if d.Group != nil {
		group = int(d.Group[i])
	}
	if d.Weight != nil {
		weight = d.Weight[i]
	}
	from := 0
	if d.Entry != nil && d.Entry[i] > 0 {
		from = int(p.layout.after(float64(d.Entry[i])))
	}
	row := int(p.layout.place(float64(d.Exit[i])))
	event := 0.0
	if isEvent(d.Cause[i], p.cause) {
		event = p.weight[row]
	}
	for j := range sum {
		sum[j] += float64(weight * (p.drift[(row+1)*k+j] - p.drift[from*k+j] - float64(event*p.share[row*k+j])))
	}
	sum[group] += float64(weight * (event - (p.hazard[row+1] - p.hazard[from])))
}
