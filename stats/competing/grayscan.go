package competing

import (
	"math"

	"deltoid/stats/survival"
)

// grayScan carries one stratum of Gray's test along the times.
//
// The score of group i is a sum of independent pieces, one for each time s, group k and kind of
// event, each with a variance w and an influence on the score
//
//	g_i = a_ik(s) + q_k (C_ik(end) − C_ik(s))   for an event of the cause, q = 1 − (1−F)/S_k
//	g_i =           q_k (C_ik(end) − C_ik(s))   for one of another cause,  q = (1−F)/S_k
//	a_ik = (1−F)^rho y_i (δ_ik − y_k/y)         y_k = n_k/S_k, y their sum
//	C_ik = Σ a_ik dF/(1−F)
//
// and V_ij = Σ w g_i g_j. As in the scan of the incidence, influences are moved instead of summed
// anew: when C grows by J, every g grows by J q, so V, the matrix Σ w q g and the vector Σ w q²
// are all that has to be kept. J is a diagonal and one outer product, which keeps the cost of a
// time quadratic in the groups.
type grayScan struct {
	cause  int
	rho    float64
	times  *survival.LifeTable // of all groups together
	groups []grayGroup
	f      float64 // incidence of all groups together, before the time at hand

	score []float64
	v     []float64 // Σ w g_i g_j, k × k
	wqg   []float64 // Σ w q_k g_i at [i*k+k′], k × k
	wqq   []float64 // Σ w q_k²

	y, column []float64
}

func newGrayScan(c *survival.Counts, cause int, rho float64) *grayScan {
	k := c.Groups()
	s := &grayScan{
		cause: cause, rho: rho, times: c.Pooled().LifeTable(0), groups: make([]grayGroup, k),
		score: make([]float64, k), v: make([]float64, k*k), wqg: make([]float64, k*k), wqq: make([]float64, k),
		y: make([]float64, k), column: make([]float64, k),
	}
	for g := range s.groups {
		s.groups[g] = grayGroup{table: c.LifeTable(g), s: 1}
	}
	return s
}

func (s *grayScan) run() {
	for row, t := range s.times.Time {
		if s.times.MassEvents(row, 0) > 0 {
			s.take(t, s.times.MassLeft(row, s.cause))
		}
	}
}

// take moves everything past one time with d events of the cause in all groups.
func (s *grayScan) take(t, d float64) {
	total, weighted := 0.0, 0.0 // y, and Σ y_k (1−F_k)
	for i := range s.groups {
		g := &s.groups[i]
		g.at(t, s.cause)
		s.y[i] = 0
		if g.n > 0 {
			s.y[i] = g.n / g.s
		}
		total += s.y[i]
		weighted += float64(s.y[i] * (1 - g.f))
	}
	jump := d / total
	after := s.f + jump
	if d > 0 {
		height := math.Pow(1-s.f, s.rho)
		for i, g := range s.groups {
			s.score[i] += float64(height * (g.own - float64(d*(s.y[i]*(1-g.f)/weighted))))
		}
		s.move(height*jump/(1-s.f), total)
		s.ownPieces(height, total, d, after)
	}
	s.otherPieces(after)
	for i := range s.groups {
		s.groups[i].leave()
	}
	s.f = after
}

// move lets C grow by J = h (diag y − y yᵀ/total).
func (s *grayScan) move(h, total float64) {
	k := len(s.groups)
	// V grows by J·Bᵀ + B·Jᵀ + J·diag(wqq)·Jᵀ with B = wqg, which is J·Mᵀ + M·Jᵀ with
	// M = B + J·diag(wqq)/2; then B grows by J·diag(wqq).
	s.growInfluence(h, total, 0.5)
	// J·Mᵀ at (i, j) is h y_i (M_ji − m_j), m_j = Σ y_l M_jl / total.
	for j := range k {
		m := 0.0
		for l, y := range s.y {
			m += float64(y * s.wqg[j*k+l])
		}
		s.column[j] = m / total
	}
	for i := range k {
		for j := range k {
			s.v[i*k+j] += float64(h*s.y[i]*(s.wqg[j*k+i]-s.column[j])) + float64(h*s.y[j]*(s.wqg[i*k+j]-s.column[i]))
		}
	}
	s.growInfluence(h, total, 0.5)
}

// growInfluence adds share·J·diag(wqq) to wqg.
func (s *grayScan) growInfluence(h, total, share float64) {
	k := len(s.groups)
	for i, y := range s.y {
		for l := range k {
			s.wqg[i*k+l] -= float64(share * h * y * s.y[l] / total * s.wqq[l])
		}
		s.wqg[i*k+i] += float64(share * h * y * s.wqq[i])
	}
}

// ownPieces adds the pieces of events of the cause, spread over the groups as if all had one
// incidence.
func (s *grayScan) ownPieces(height, total, d, after float64) {
	k := len(s.groups)
	for l := range s.groups {
		g := &s.groups[l]
		if g.n == 0 {
			continue
		}
		w := g.s * (d / (total * g.n)) * tieCorrection(d, total*g.s)
		q := 1.0
		if g.after > 0 {
			q = 1 - (1-after)/g.after
		}
		for i, y := range s.y {
			s.column[i] = -float64(height * y * (s.y[l] / total))
		}
		s.column[l] += float64(height * s.y[l])
		for i, a := range s.column {
			for j, b := range s.column {
				s.v[i*k+j] += float64(w * a * b)
			}
			s.wqg[i*k+l] += float64(w * q * a)
		}
		s.wqq[l] += float64(w * q * q)
	}
}

// otherPieces adds the pieces of events of other causes; they have no influence of their own yet.
func (s *grayScan) otherPieces(after float64) {
	for l := range s.groups {
		g := &s.groups[l]
		if g.other == 0 || g.after == 0 {
			continue
		}
		w := float64(g.s*g.s) * (g.other / float64(g.n*g.n)) * tieCorrection(g.other, g.n)
		q := (1 - after) / g.after
		s.wqq[l] += float64(w * q * q)
	}
}

// tieCorrection is (n−d)/(n−1), the factor by which a hypergeometric variance falls short of a
// binomial one; 1 for a single event.
func tieCorrection(d, n float64) float64 {
	if d <= 1 || n <= 1 {
		return 1
	}
	return max(0, (n-d)/(n-1))
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
