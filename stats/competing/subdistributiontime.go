package competing

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
)

// Proportionality is the test of whether ratios of subdistribution hazards stay the same over time.
type Proportionality struct {
	Terms  []covariates.Test // of each term, in the order of the columns
	Global covariates.Test
}

// Proportionality tests β_j against β_j + θ_j g(t), g being the share of all events of the cause that lie before t, by the
// score of θ at 0, term by term and for all terms at once:
//
//	U = Σ g(t) (z − z̄(t)) over events,   χ² = Uᵀ V⁻¹ U,   V = Σ_i ψ_i ψ_iᵀ,   ψ_i = η_i(g) − I_g I⁻¹ η_i
//
// η_i(g) being what a row adds to U and η_i what it adds to the score of the model, both with the part that comes from
// estimating how people are censored; rows of a cluster are summed, so that the test allows for clusters.
//
// Sources: Zhou, Fine & Laird, Stat. Med. 32 (2013) 3804–3811, for the test; Fine & Gray (1999) for the influences.
func (f *SubdistributionFit) Proportionality() (*Proportionality, error) {
	if f.Status != covariates.Converged {
		return nil, fmt.Errorf("the model has no estimates (%v): %s", f.Status, f.Reason)
	}
	m := f.model
	clusters, err := covariates.GroupRows(m.d.Cluster, len(m.risk))
	if err != nil {
		return nil, err
	}
	p, s1, growth := m.design.Size(), m.tables(), m.growth()
	grown := m.grown(growth)
	gradient, information := grown.slope(growth, s1)
	plain, along := m.paths(s1, f.options), grown.paths(s1, f.options)
	for j := range along {
		along[j].growth = growth
	}
	turn := f.turn(information, p)
	v := clusters.Outer(p, func(row int, out []float64) {
		score := make([]float64, p)
		m.scoreOf(row, plain, score)
		grown.scoreOf(row, along, out)
		for j := range out {
			for k, u := range score {
				out[j] -= float64(turn[j*p+k] * u)
			}
		}
	})
	return f.testTime(gradient, v), nil
}

// growth is g at every slot, less its mean over events, which the test does not depend on.
func (m *subdistribution) growth() []float64 {
	out, before, all, sum := make([]float64, len(m.time)), 0.0, 0.0, 0.0
	for _, w := range m.mass {
		all += w
	}
	for k, w := range m.mass {
		out[k] = before / all
		sum += float64(w * out[k])
		before += w
	}
	for k := range out {
		out[k] -= sum / all
	}
	return out
}

// grown returns the model with g dA in the place of dA.
func (m *subdistribution) grown(g []float64) *subdistribution {
	out := *m
	out.jump, out.cumulative = make([]float64, len(g)), make([]float64, len(g))
	out.groups = append([]censoringGroup(nil), m.groups...)
	running := 0.0
	for k := range g {
		out.jump[k] = g[k] * m.jump[k]
		running += out.jump[k]
		out.cumulative[k] = running
	}
	for at := range out.groups {
		c, sum := &out.groups[at], 0.0
		c.reach = make([]float64, len(g))
		for k := range c.reach {
			sum += float64(c.stay[k] * out.jump[k])
			c.reach[k] = sum
		}
		c.reachable = sum
	}
	return &out
}

// slope returns U and I_g of a grown model.
func (m *subdistribution) slope(g []float64, s1 [][]float64) (gradient, information []float64) {
	p := m.design.Size()
	information, gradient = m.design.Moments(func(from, to int, c, v []float64) {
		for i := from; i < to; i++ {
			c[i-from] = m.risk[i] * m.exposure(i)
			v[i-from] = -c[i-from]
			if m.kind(i) == ownEvent {
				v[i-from] += float64(m.weight(i) * g[m.slot[i]])
			}
		}
	})
	for i, x := range m.days(s1) {
		information[i] -= x
	}
	return gradient, information[:p*p]
}

// turn returns I_g I⁻¹.
func (f *SubdistributionFit) turn(information []float64, p int) []float64 {
	out := make([]float64, p*p)
	for j := range p {
		copy(out[j*p:(j+1)*p], f.ascent.Factor.Solve(information[j*p:(j+1)*p]))
	}
	return out
}

func (f *SubdistributionFit) testTime(u, v []float64) *Proportionality {
	out, size := &Proportionality{}, len(f.Names)
	var all []int
	for from := 0; from < size; {
		to := from + 1
		for to < size && f.Terms[to] == f.Terms[from] {
			to++
		}
		var at []int
		for j := from; j < to; j++ {
			at = append(at, j)
		}
		all = append(all, at...)
		out.Terms = append(out.Terms, partTest(f.Terms[from], u, v, size, at))
		from = to
	}
	out.Global = partTest("all terms", u, v, size, all)
	return out
}

func partTest(name string, u, v []float64, size int, at []int) covariates.Test {
	part, square := make([]float64, len(at)), make([]float64, len(at)*len(at))
	for a, j := range at {
		part[a] = u[j]
		for b, k := range at {
			square[a*len(at)+b] = v[j*size+k]
		}
	}
	t := covariates.ChiSquareTest(name, part, square)
	if math.IsNaN(t.ChiSquare) {
		t = covariates.Test{Name: name, Status: covariates.Singular, Reason: "all events lie on one day, so that no ratio can change"}
	}
	return t
}
