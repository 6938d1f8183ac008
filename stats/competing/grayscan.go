package competing

import (
	"math"
	"runtime"

	"deltoid/stats/numeric"
	"deltoid/stats/survival"
)

// grayScan works out one stratum of Gray's test.
//
// The score of group i is a sum of independent pieces, one for each time s, group l and kind of
// event, each with a variance w and an influence on the score
//
//	g_i = Σ c(u) (δ_il − p_i(u))   over times u ≥ s,   p_i = y_i/y,  y_i = n_i/S_i,  y their sum
//
// with c(s) = (1−F)^rho y_l for an event of the cause and 0 for one of another, and later
// c(u) = q a_l(u), a_l = (1−F)^rho y_l dF/(1−F), where q is 1 − (1−F)/S_l after an event of the cause
// and (1−F)/S_l after one of another. V_ij = Σ w g_i g_j then is, off the diagonal, L_i·p_j + L_j·p_i
// summed over times, with
//
//	L_i(v) = Σ_{u<v} p_i(u) K(u, v) + p_i(v) K(v, v)/2 − M_i(v)
//	M_l(v) = Σ w c(v) Σ c    over the pieces of group l up to v
//	K(u, v) = Σ_l b_l(u) a_l(v),  b_l(u) = Σ w q c(u) over its pieces up to u, and K(v, v) = Σ w c(v)²
//
// Everything that touches two groups is a product of tables of times and groups, made a stretch of
// times at a time: of the times before the stretch L needs no more than R_li = Σ b_l p_i. The cost of
// a time is quadratic in the groups and, in a stretch, linear in its length; all of it is spent in
// numeric.AddProducts. Pieces sum to 0 over the groups, so the diagonal comes from the rest.
type grayScan struct {
	counts  *survival.Counts
	cause   int
	k       int
	groups  []grayGroup
	moments []grayMoment

	score   []float64
	v       []float64 // V, k × k
	broken  bool      // F reached 1 before an event of the cause
	workers int
	tables  grayTables
}

// grayMoment is a time at which somebody in any group has an event.
type grayMoment struct {
	t      float64
	d      float64 // events of the cause in all groups
	total  float64 // y
	after  float64 // F of all groups together just after
	height float64 // (1−F)^rho just before
	growth float64 // (1−F)^rho dF/(1−F)
}

// grayTables is what one stretch of times needs: by time and group, or turned round.
type grayTables struct {
	p, b, l numeric.Panels
	at, bt  numeric.Panels // a and b, by group and time
	k, r    numeric.Panels // K and R
	m, own  []float64      // M and K(v, v) of each group, n × k
	sum     []float64      // n × k
	pairs   []float64      // n × n
	reached []float64      // R, k × k
}

func newGrayScan(c *survival.Counts, cause int, rho float64) *grayScan {
	k := c.Groups()
	s := &grayScan{counts: c, cause: cause, k: k, groups: make([]grayGroup, k), score: make([]float64, k), v: make([]float64, k*k),
		workers: max(1, min(runtime.GOMAXPROCS(0), k/groupsPerWorker))}
	for g := range s.groups {
		s.groups[g].left = make([]int64, c.Causes()+1)
	}
	all := c.Pooled().LifeTable(0)
	for row, t := range all.Time {
		if all.MassEvents(row, 0) > 0 {
			s.moments = append(s.moments, grayMoment{t: t, d: all.MassLeft(row, cause)})
		}
	}
	if s.pool(rho); !s.broken {
		s.covariance()
	}
	return s
}

// groupsPerWorker is the fewest groups worth a goroutine of their own.
const groupsPerWorker = 32

func (s *grayScan) restart() {
	for i := range s.groups {
		g := &s.groups[i]
		g.walk, g.s, g.f = s.counts.Walk(i), 1, 0
	}
}

// pool goes along the times with all groups: the incidence of all, the scores, and how much a_l each
// group has in the end.
func (s *grayScan) pool(rho float64) {
	s.restart()
	f := 0.0
	for i := range s.moments {
		m := &s.moments[i]
		weighted := 0.0 // Σ y_l (1−F_l)
		for j := range s.groups {
			g := &s.groups[j]
			g.at(m.t, s.cause)
			m.total += g.y
			weighted += float64(g.y * (1 - g.f))
		}
		if m.d > 0 {
			jump := m.d / m.total
			m.height = height(f, rho)
			if s.broken = s.broken || math.Abs(1-f) < 1e-9; s.broken {
				return
			}
			m.growth = m.height * jump / (1 - f)
			f += jump
		}
		m.after = f
		for j := range s.groups {
			g := &s.groups[j]
			if m.d > 0 {
				s.score[j] += float64(m.height * (g.own - float64(m.d*(g.y*(1-g.f)/weighted))))
				g.end += float64(m.growth * g.y)
			}
			g.leave()
		}
	}
}

// height is (1−F)^rho. Where groups differ much F, a mean of what those there see, can pass 1; a power
// that then is no number is taken as 0.
func height(f, rho float64) float64 {
	x := math.Pow(1-f, rho)
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// covariance works out V.
func (s *grayScan) covariance() {
	n := min(numeric.Stretch, len(s.moments))
	if s.k < 2 || n == 0 {
		return
	}
	s.tables = grayTables{
		p: numeric.NewPanels(s.k, n), b: numeric.NewPanels(s.k, n), l: numeric.NewPanels(s.k, n),
		at: numeric.NewPanels(n, s.k), bt: numeric.NewPanels(n, s.k), k: numeric.NewPanels(n, n), r: numeric.NewPanels(s.k, s.k),
		m: make([]float64, n*s.k), own: make([]float64, n*s.k), sum: make([]float64, n*s.k), pairs: make([]float64, n*n),
		reached: make([]float64, s.k*s.k),
	}
	s.restart()
	for from := 0; from < len(s.moments); from += n {
		s.stretch(s.moments[from:min(from+n, len(s.moments))])
	}
	for i := range s.k {
		for j := range i {
			x := s.v[i*s.k+j] + s.v[j*s.k+i]
			s.v[i*s.k+j], s.v[j*s.k+i] = x, x
		}
	}
	for i := range s.k {
		row := s.v[i*s.k : (i+1)*s.k]
		row[i] = 0
		for j, x := range row {
			if j != i {
				row[i] -= x
			}
		}
	}
}

// stretch takes some of the times.
func (s *grayScan) stretch(moments []grayMoment) {
	x, n := &s.tables, len(moments)
	numeric.InParallel(s.k, s.workers, func(_, first, last int) {
		for l := first; l < last; l++ {
			for i := range moments {
				s.groups[l].visit(i, l, &moments[i], s.cause, x)
			}
		}
	})
	blocks := func(columns int, work func(q int)) {
		numeric.InParallel(s.workers, s.workers, func(worker, _, _ int) {
			for q := worker; 4*q < columns; q += s.workers {
				work(q)
			}
		})
	}
	clear(x.pairs)
	clear(x.sum)
	blocks(n, func(q int) {
		numeric.AddProducts(x.pairs[:n*n], n, 4*q, min(4*q+4, n), x.at.Panel(q, s.k), x.bt)
		x.before(q, n)
		numeric.AddProducts(x.sum[:n*s.k], s.k, 4*q, s.k, x.at.Panel(q, s.k), x.r)
		numeric.AddProducts(x.sum[:n*s.k], s.k, 4*q, s.k, x.k.Panel(q, min(4*q+4, n)), x.p)
		x.settle(q, n, s.k)
	})
	blocks(s.k, func(q int) {
		numeric.AddProducts(s.v, s.k, 4*q, s.k, x.l.Panel(q, n), x.p)
		numeric.AddProducts(x.reached, s.k, 4*q, s.k, x.b.Panel(q, n), x.p)
		for l := 4 * q; l < min(4*q+4, s.k); l++ {
			for i, r := range x.reached[l*s.k : (l+1)*s.k] {
				x.r.Set(l, i, r)
			}
		}
	})
}

// before lays out K(u, v) for four times v and the earlier ones u.
func (x *grayTables) before(q, n int) {
	for v := 4 * q; v < min(4*q+4, n); v++ {
		for u := range min(4*q+4, n) {
			k := 0.0
			if u < v {
				k = x.pairs[v*n+u]
			}
			x.k.Set(u, v, k)
		}
	}
}

// settle makes L at four times.
func (x *grayTables) settle(q, n, k int) {
	for v := 4 * q; v < min(4*q+4, n); v++ {
		own := 0.0
		for _, c := range x.own[v*k : (v+1)*k] {
			own += c
		}
		for i := range k {
			x.l.Set(v, i, x.sum[v*k+i]+float64(x.p.At(v, i)*own/2)-x.m[v*k+i])
		}
	}
}

// addTo adds the stratum to the test.
func (s *grayScan) addTo(t *Test) {
	for i, x := range s.score {
		t.Score[i] += x
	}
	for i, x := range s.v {
		t.Variance[i] += x
	}
}
