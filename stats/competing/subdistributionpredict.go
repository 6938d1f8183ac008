package competing

import (
	"fmt"
	"math"
	"sort"

	"deltoid/stats/covariates"
	"deltoid/stats/survival"
)

// Incidence returns the cumulative incidence at each of the times that the model predicts for each of the people with the given
// values of the columns, with an interval of the given level on the given scale. AtRisk and Events of a point are those of all
// rows. Beyond the last exit there is no prediction.
//
// With H = A(t) e^{βx} the influence of a row on log H is
//
//	(x − ∫z̄ dA/A)ᵀ I⁻¹ η_i + a_i/A,   a_i = ∫_0^t w_i dM_i/S0 + ∫ q_t/π dM^c_i
//
// where q_t is the q of the variance with 1/S0 up to t in the place of z − z̄; rows of a cluster are summed. It thus knows, as
// the variance of the coefficients does, that the weights of those with another event are estimated.
//
// Source: Fine & Gray, J. Am. Stat. Assoc. 94 (1999) 496–509, section 5.
func (f *SubdistributionFit) Incidence(people [][]float64, times []float64, level float64, scale survival.Scale) ([][]survival.Point, error) {
	if err := survival.CheckLevel(level, scale); err != nil {
		return nil, err
	}
	if f.Status != covariates.Converged {
		return nil, fmt.Errorf("the model has no estimates (%v): %s", f.Status, f.Reason)
	}
	for _, values := range people {
		if len(values) != len(f.Names) {
			return nil, fmt.Errorf("%d values for %d columns", len(values), len(f.Names))
		}
	}
	joint, paths, err := f.joint(times)
	if err != nil {
		return nil, err
	}
	out, seen := make([][]survival.Point, len(people)), f.model.watch()
	for i, values := range people {
		for at, t := range times {
			p := f.predicted(values, t, joint, paths, at)
			p.T, p.Level, p.Scale = t, level, scale
			out[i] = append(out[i], seen.judge(p, f.model))
		}
	}
	return out, nil
}

// slotAt returns the last slot at or before t, −1 for none.
func (m *subdistribution) slotAt(t float64) int {
	return sort.Search(len(m.time), func(k int) bool { return m.time[k] > t }) - 1
}

// joint returns Σ over clusters of the products of influences on the score of every column and on A at each time.
func (f *SubdistributionFit) joint(times []float64) ([]float64, []influencePath, error) {
	m := f.model
	clusters, err := covariates.GroupRows(m.d.Cluster, len(m.risk))
	if err != nil {
		return nil, nil, err
	}
	paths := m.paths(m.tables(), f.options)
	p := len(paths)
	hazards := make([]influencePath, len(times))
	covariates.InParallel(len(times), func(_, at int) { hazards[at] = m.hazardPath(m.slotAt(times[at]), f.options) })
	return clusters.Outer(p+len(times), func(row int, out []float64) {
		m.scoreOf(row, paths, out[:p])
		exposure := m.exposure(row)
		for at := range hazards {
			out[p+at] = m.influence(row, exposure, &hazards[at], 0)
		}
	}), paths, nil
}

// hazardPath is the path of A up to a slot: that of a column of 0 whose mean is −1/S0 up to there and 0 after.
func (m *subdistribution) hazardPath(until int, o SubdistributionOptions) influencePath {
	s1 := make([]float64, len(m.time))
	for k := 0; k <= until; k++ {
		s1[k] = -1
	}
	return m.path(func(int) float64 { return 0 }, s1, o)
}

// predicted holds value and standard error of one prediction.
func (f *SubdistributionFit) predicted(values []float64, t float64, joint []float64, paths []influencePath, at int) (out survival.Point) {
	m, k := f.model, f.model.slotAt(t)
	if k < 0 || m.cumulative[k] == 0 {
		return out
	}
	a, p := m.cumulative[k], len(paths)
	eta, g := 0.0, make([]float64, p)
	for j, x := range m.design.Centred(values) {
		eta += float64(x * f.Coefficient[j])
		g[j] = float64(x*m.design.Scale(j)) - paths[j].drift[k]/a
	}
	weights := append(f.ascent.Factor.Solve(g), make([]float64, len(joint))...)
	size := p
	for size*size < len(joint) {
		size++
	}
	weights = weights[:size]
	clear(weights[p:])
	weights[p+at] = 1 / a
	square := 0.0
	for i, u := range weights {
		for j, v := range weights {
			square += float64(u * joint[i*size+j] * v)
		}
	}
	h := a * math.Exp(eta)
	out.Value = -math.Expm1(-h)
	out.SE = math.Exp(-h) * h * math.Sqrt(max(0, square))
	return out
}

// watched is how many rows leave, and how many events there are, up to each slot.
type watched struct{ left, events []int64 }

func (m *subdistribution) watch() watched {
	w := watched{make([]int64, len(m.time)+1), make([]int64, len(m.time)+1)}
	for i, k := range m.slot {
		if m.weight(i) == 0 {
			continue
		}
		w.left[k+1]++
		if m.kind(i) == ownEvent {
			w.events[k+1]++
		}
	}
	for k := range m.time {
		w.left[k+1] += w.left[k]
		w.events[k+1] += w.events[k]
	}
	return w
}

// judge says who is at risk at the time of a point and how many events there were so far, and whether it may be read.
func (w watched) judge(p survival.Point, m *subdistribution) survival.Point {
	k := m.slotAt(p.T) + 1
	before := k
	if k > 0 && m.time[k-1] == p.T {
		before--
	}
	n := w.left[len(m.time)]
	p.AtRisk, p.Events = n-w.left[before], w.events[k]
	return p.Judge(survival.FollowUp{N: n, Events: m.own, Last: m.time[len(m.time)-1]})
}
