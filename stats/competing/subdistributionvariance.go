package competing

import "deltoid/stats/covariates"

// addVariance sums the influences of rows over clusters:
//
//	η_i = ∫ (z_i − z̄) w_i dM_i         what the row adds to the score
//	ψ_i = ∫ q/π dM^c_i                  what its part in the estimate of G does to the score
//	q(u) = Σ over other events with T < u of ∫_{s≥u} (z − z̄) w r dA
//
// in the notation of the inventors, π being who is at risk of being censored. With
// C = Σ G dA and D = Σ G z̄ dA the inner integral is r/G(T−) (z (C(end)−C(u)) − (D(end)−D(u))), so
// that q needs only forward sums of r/G and rz/G.
//
// Where censorings and events share a time the integrals have to say on which side of it they
// stop. AtOnce does as the inventors' program. EventsFirst goes by what the weights G(s−)/G(T−) say,
// T ≤ u < s, with π less those censored, which makes the influence of a row the exact derivative of
// the estimate in the weight of the row.
func (f *SubdistributionFit) addVariance() error {
	m := f.model
	clusters, err := covariates.GroupRows(m.d.Cluster, len(m.risk))
	if err != nil {
		return err
	}
	if m.d.Cluster != nil {
		f.Clusters = clusters.Count
	}
	paths := m.paths(m.tables(), f.options)
	f.TakeRobust(m.design, f.ascent, clusters.Outer(len(paths), func(row int, out []float64) { m.scoreOf(row, paths, out) }))
	return nil
}

// paths makes what rows share, for every column.
func (m *subdistribution) paths(s1 [][]float64, o SubdistributionOptions) []influencePath {
	out := make([]influencePath, len(s1))
	covariates.InParallel(len(s1), func(_, j int) { out[j] = m.path(m.column(j), s1[j], o) })
	return out
}

// scoreOf writes the influence of a row on the score of every column.
func (m *subdistribution) scoreOf(row int, paths []influencePath, out []float64) {
	exposure := m.exposure(row)
	for j := range paths {
		out[j] = m.influence(row, exposure, &paths[j], m.design.At(row, j))
	}
}

// influencePath is what rows share, for one column.
type influencePath struct {
	mean  []float64      // z̄ at each slot
	drift []float64      // ∫ z̄ dA
	group []censoringSum // by group
	ties  CensoringTies
	// growth is what an event of each slot counts for; nil is 1.
	growth []float64
}

type censoringSum struct {
	reach     []float64 // D = Σ G z̄ dA
	reachable float64
	atEvent   []float64 // q/π; nil where G is taken as known
	sum       []float64 // Σ q/π² dN^c up to each slot
}

// column returns the values of a column, by row.
func (m *subdistribution) column(j int) func(row int) float64 {
	return func(row int) float64 { return m.design.At(row, j) }
}

// path makes what rows share, for values z of the rows whose sums over those at risk are s1.
func (m *subdistribution) path(z func(row int) float64, s1 []float64, o SubdistributionOptions) influencePath {
	n := len(m.time)
	p := influencePath{mean: make([]float64, n), drift: make([]float64, n), group: make([]censoringSum, len(m.groups)), ties: o.Ties}
	running := 0.0
	for k := range n {
		if m.mass[k] > 0 {
			p.mean[k] = s1[k] / m.s0[k]
		}
		running += float64(p.mean[k] * m.jump[k])
		p.drift[k] = running
	}
	for g := range m.groups {
		c, s := &m.groups[g], censoringSum{reach: make([]float64, n)}
		for k := range n {
			s.reachable += float64(c.stay[k] * p.mean[k] * m.jump[k])
			s.reach[k] = s.reachable
		}
		if !o.KnownCensoring {
			m.censoring(z, g, &p, &s)
		}
		p.group[g] = s
	}
	return p
}

// censoring fills in q/π and its sum.
func (m *subdistribution) censoring(z func(row int) float64, g int, p *influencePath, s *censoringSum) {
	n, c := len(m.time), &m.groups[g]
	r0, r1 := make([]float64, n), make([]float64, n)
	for i, k := range m.slot {
		if m.group(i) == g && m.kind(i) == otherEvent {
			r := m.risk[i] / c.stay[k]
			r0[k] += r
			r1[k] += float64(r * z(i))
		}
	}
	s.atEvent, s.sum = make([]float64, n), make([]float64, n)
	var sum0, sum1, total float64
	for k := range n {
		if p.ties == EventsFirst {
			sum0, sum1 = sum0+r0[k], sum1+r1[k]
		}
		if c.censored[k] > 0 {
			s.atEvent[k] = p.shift(k, c, s, sum0, sum1)
			total += float64(s.atEvent[k] * (c.censored[k] / c.atRisk[k]))
		}
		s.sum[k] = total
		if p.ties == AtOnce {
			sum0, sum1 = sum0+r0[k], sum1+r1[k]
		}
	}
}

// shift is q/π at a slot, from the forward sums of r/G and rz/G.
func (p *influencePath) shift(k int, c *censoringGroup, s *censoringSum, sum0, sum1 float64) float64 {
	ahead, drift, left := c.reachable-c.reach[k], s.reachable-s.reach[k], c.atRisk[k]-c.censored[k]
	if p.ties == AtOnce {
		left = c.atRisk[k]
		if k > 0 {
			ahead, drift = c.reachable-c.reach[k-1], s.reachable-s.reach[k-1]
		} else {
			ahead, drift = c.reachable, s.reachable
		}
	}
	if !(left > 1e-12*c.atRisk[k]) {
		return 0 // nobody is left whose weight could change
	}
	return (float64(sum1*ahead) - float64(sum0*drift)) / left
}

// influence is the influence of a row on the score of a column, times the weight of the row.
func (m *subdistribution) influence(i int, exposure float64, p *influencePath, z float64) float64 {
	k, kind := int(m.slot[i]), m.kind(i)
	w, s := m.weight(i), &p.group[m.group(i)]
	drift := p.drift[k]
	if kind == otherEvent {
		drift += (s.reachable - s.reach[k]) / m.groups[m.group(i)].stay[k]
	}
	out := -float64(m.risk[i] * (float64(z*exposure) - drift))
	if kind == ownEvent {
		own := w * (z - p.mean[k])
		if p.growth != nil {
			own *= p.growth[k]
		}
		out += own
	}
	if s.sum == nil {
		return out
	}
	until := k
	if kind != censored && p.ties == EventsFirst {
		until-- // gone before anyone is censored at that time
	}
	if until >= 0 {
		out -= float64(w * s.sum[until])
	}
	if kind == censored {
		out += float64(w * s.atEvent[k])
	}
	return out
}
