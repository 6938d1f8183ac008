package hazards

import (
	"math"
	"sort"

	"deltoid/stats/covariates"
)

// penalised is the partial likelihood with half the log determinant of its information added,
// which has a maximum whatever the data, and takes the first-order bias away.
//
// The slope of the penalty is ½ tr(I⁻¹ ∂I/∂β_j), and ∂I/∂β_j is a sum of third central moments of
// z over sets at risk. With y = Lz, LᵀL = I⁻¹, and q = |y|², the one that is needed is
//
//	E[|y − ȳ|² (z_j − z̄_j)] = E[q z_j] − E[q] z̄_j − 2 Σ_k (I⁻¹ z̄)_k Cov(z_k, z_j)
//
// so one sweep that keeps the sums of r, rz, rzzᵀ, rq and rqz over those at risk is enough.
//
// Sources: Firth, Biometrika 80 (1993) 27–38; Heinze & Schemper, Biometrics 57 (2001) 114–119.
type penalised struct {
	*partial
	order   []int32 // rows by slot of leaving, latest first
	entries []int32 // rows by slot of entering, latest first
	factor  *covariates.Factor
	u, info []float64
	size    []float64
}

func newPenalised(p *partial) *penalised {
	o := &penalised{partial: p, order: make([]int32, len(p.risk))}
	for i := range o.order {
		o.order[i] = int32(i)
	}
	o.entries = append(o.entries, o.order...)
	by := func(rows, slot []int32) {
		sort.SliceStable(rows, func(a, b int) bool { return slot[rows[a]] > slot[rows[b]] })
	}
	by(o.order, p.slots.leave)
	if p.slots.enter != nil {
		by(o.entries, p.slots.enter)
	}
	return o
}

// Value needs the information, because its determinant is in it.
func (o *penalised) Value(beta []float64) float64 {
	value := o.partial.Value(beta)
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return math.Inf(-1)
	}
	o.u, o.info, o.size = o.partial.Slope()
	var bad int
	if o.factor, bad = covariates.Factorise(o.info, o.design.Size(), nil); bad >= 0 {
		o.factor = nil
		if allZero(beta) {
			return value // Maximise names the column at fault
		}
		return math.Inf(-1)
	}
	return value + o.factor.LogDeterminant()/2
}

func allZero(x []float64) bool {
	for _, v := range x {
		if v != 0 {
			return false
		}
	}
	return true
}

func (o *penalised) Slope() (gradient, information, size []float64) {
	gradient = append([]float64(nil), o.u...)
	if o.factor != nil {
		for j, x := range o.penaltySlope() {
			gradient[j] += x / 2
		}
	}
	return gradient, o.info, o.size
}

// moments are sums over a set of rows.
type moments struct {
	p         int
	r, q      float64
	z, zz, qz []float64
}

func newMoments(p int) *moments {
	return &moments{p: p, z: make([]float64, p), zz: make([]float64, p*p), qz: make([]float64, p)}
}

func (m *moments) add(r, q float64, z []float64) {
	m.r += r
	m.q += float64(r * q)
	for j, x := range z {
		rx := float64(r * x)
		m.z[j] += rx
		m.qz[j] += float64(rx * q)
		for k, y := range z {
			m.zz[j*m.p+k] += float64(rx * y)
		}
	}
}

// addTo adds weight times the third moment of these sums less a share of others.
func (m *moments) addTo(out []float64, weight, share float64, d *moments, inverse []float64) {
	p := m.p
	less := func(a, b float64) float64 { return a - float64(share*b) }
	r := less(m.r, d.r)
	mean, turned := make([]float64, p), make([]float64, p)
	for j := range p {
		mean[j] = less(m.z[j], d.z[j]) / r
	}
	for j := range p {
		for k := range p {
			turned[j] += float64(inverse[j*p+k] * mean[k])
		}
	}
	q := less(m.q, d.q) / r
	for j := range p {
		third := less(m.qz[j], d.qz[j])/r - float64(q*mean[j])
		for k := range p {
			covariance := less(m.zz[j*p+k], d.zz[j*p+k])/r - float64(mean[j]*mean[k])
			third -= float64(2 * turned[k] * covariance)
		}
		out[j] += float64(weight * third)
	}
}

// penaltySlope sweeps the slots from the last to the first.
func (o *penalised) penaltySlope() []float64 {
	p, inverse := o.design.Size(), o.factor.Inverse()
	out := make([]float64, p)
	left, entered := 0, 0
	for g := len(o.slots.first) - 2; g >= 0; g-- {
		all := newMoments(p)
		for k := int(o.slots.first[g+1]) - 1; k >= int(o.slots.first[g]); k-- {
			died := newMoments(p)
			for ; o.slots.enter != nil && entered < len(o.entries) && int(o.slots.enter[o.entries[entered]]) >= k; entered++ {
				o.take(all, int(o.entries[entered]), inverse, -1)
			}
			for ; left < len(o.order) && int(o.slots.leave[o.order[left]]) >= k; left++ {
				i := int(o.order[left])
				o.take(all, i, inverse, 1)
				if o.event(i) {
					o.take(died, i, inverse, 1)
				}
			}
			o.turns(k, out, all, died, inverse)
		}
	}
	return out
}

func (o *penalised) take(m *moments, row int, inverse []float64, sign float64) {
	z, q := make([]float64, m.p), 0.0
	for j := range z {
		z[j] = o.design.At(row, j)
	}
	for j, x := range z {
		for k, y := range z {
			q += float64(x * inverse[j*m.p+k] * y)
		}
	}
	m.add(sign*o.risk[row], q, z)
}

func (o *penalised) turns(k int, out []float64, all, died *moments, inverse []float64) {
	d := o.deaths[k]
	if d == 0 {
		return
	}
	if o.ties == Breslow {
		all.addTo(out, o.mass[k], 0, died, inverse)
		return
	}
	for l := range d {
		all.addTo(out, o.mass[k]/float64(d), float64(l)/float64(d), died, inverse)
	}
}
