package mixed

import (
	"math"

	"deltoid/stats/covariates"
)

// inference is what standard errors and degrees of freedom rest on, with θ in the scaled unit, in which the variances of the score
// count in units of the scale squared.
type inference struct {
	// w is the covariance of θ; zero in the rows of parameters on a boundary.
	w []float64
	// m has Φ P_k Φ = ∂Φ/∂θ_k for each k, in the units of the coefficients.
	m [][]float64
}

// edge is the share of the residual variance below which a variance of one's own counts as 0.
const edge = 1e-7

// basis says in which directions θ is free: those of the natural parameters, but for variances of 0 and, where intercepts and slopes are
// exact functions of each other, those of their Cholesky factor.
type basis struct {
	free [][]float64 // each a direction in θ
	held []bool
	chol []int // coordinates that the last directions are derivatives by; empty as a rule
}

func newBasis(c *coordinates, a *ascent, f *frame) *basis {
	b := &basis{held: make([]bool, c.size)}
	theta := a.state.theta
	for _, k := range c.square {
		b.held[k] = theta[k] < edge*f.spread
	}
	if t := c.triple; t >= 0 {
		b.triple(t, a.at, theta, f)
	}
	for k, held := range b.held {
		if !held {
			b.free = append(b.free, unit(c.size, k))
		}
	}
	if len(b.chol) > 0 {
		j := c.jacobian(a.at)
		for _, i := range b.chol {
			direction := make([]float64, c.size)
			for k := range direction {
				direction[k] = j[k*c.size+i]
			}
			b.free = append(b.free, direction)
		}
	}
	return b
}

// triple looks whether the covariance of intercepts and slopes is singular: without slopes, without intercepts, or with one a multiple of
// the other.
func (b *basis) triple(t int, at, theta []float64, f *frame) {
	hold := func(places ...int) {
		for _, k := range places {
			b.held[t+k] = true
		}
	}
	reach := f.reach()
	switch slopes := theta[t+2]; {
	case slopes*reach*reach < edge*f.spread:
		hold(1, 2)
	case theta[t] < edge*f.spread:
		hold(0, 1)
	case math.Abs(at[t+2]) < 1e-4*math.Sqrt(slopes):
		hold(0, 1, 2)
		b.chol = []int{t, t + 1}
	}
}

func unit(n, at int) []float64 {
	u := make([]float64, n)
	u[at] = 1
	return u
}

// bent returns Σ_ij W_ij ∂²θ/∂a_i∂a_j over the coordinates among the directions: what the curve of the boundary adds.
func (b *basis) bent(c *coordinates, w []float64) []float64 {
	out := make([]float64, c.size)
	if len(b.chol) == 0 {
		return out
	}
	n := len(b.free)
	first := n - len(b.chol)
	for k := range out {
		curve := c.curvature(unit(c.size, k))
		for i, p := range b.chol {
			for j, q := range b.chol {
				out[k] += float64(w[(first+i)*n+first+j] * curve[p*c.size+q])
			}
		}
	}
	return out
}

// infer sets standard errors and all they need; it reports whether the information has an inverse.
func (f *Fit) infer(l *likelihood, c *coordinates, a *ascent) bool {
	b := newBasis(c, a, f.frame)
	n, q := len(b.free), c.size
	expected := f.restrict(b, a.derivatives.expected, q)
	if _, bad := covariates.Factorise(expected, n, nil); bad >= 0 {
		f.unidentified(b, bad)
		return false
	}
	chosen := f.restrict(b, a.derivatives.observed, q)
	if len(b.chol) > 0 {
		f.subtractCurve(b, c, chosen, a.derivatives.slope)
	}
	observed, bad := covariates.Factorise(chosen, n, nil)
	if bad >= 0 {
		f.unidentified(b, bad)
		return false
	}
	f.setParameters(b, a.state.theta, f.widen(b, observed.Inverse(), q))
	w := observed.Inverse()
	if f.Options.Degrees == KenwardRoger {
		known, _ := covariates.Factorise(expected, n, nil)
		w = known.Inverse()
	}
	f.inference = &inference{w: f.widen(b, w, q)}
	f.deriveVariance(a)
	f.Variance = f.Model
	if f.Options.Degrees == KenwardRoger {
		f.adjust(l, a, b.bent(c, w))
	}
	return true
}

// deriveVariance sets the derivatives of Φ by each parameter.
func (f *Fit) deriveVariance(a *ascent) {
	square := f.frame.scale * f.frame.scale
	size := f.frame.width() - 1
	for _, p := range a.derivatives.p {
		_, m := f.frame.design.Unscale(make([]float64, size), product(product(a.state.phi, p, size), a.state.phi, size))
		f.inference.m = append(f.inference.m, times(m, square))
	}
}

// restrict returns the information in the free directions.
func (f *Fit) restrict(b *basis, m []float64, q int) []float64 {
	n := len(b.free)
	out := make([]float64, n*n)
	for i, u := range b.free {
		for j, v := range b.free {
			for k, x := range u {
				if x == 0 {
					continue
				}
				for h, y := range v {
					out[i*n+j] += float64(x * m[k*q+h] * y)
				}
			}
		}
	}
	return out
}

func (f *Fit) subtractCurve(b *basis, c *coordinates, m, slope []float64) {
	n := len(b.free)
	first := n - len(b.chol)
	curve := c.curvature(slope)
	for i, p := range b.chol {
		for j, q := range b.chol {
			m[(first+i)*n+first+j] -= curve[p*c.size+q]
		}
	}
}

// widen turns a covariance in the free directions into that of θ.
func (f *Fit) widen(b *basis, w []float64, q int) []float64 {
	n := len(b.free)
	out := make([]float64, q*q)
	for i, u := range b.free {
		for j, v := range b.free {
			for k, x := range u {
				for h, y := range v {
					out[k*q+h] += float64(x * w[i*n+j] * y)
				}
			}
		}
	}
	return out
}

func (f *Fit) unidentified(b *basis, bad int) {
	name := ""
	for k, x := range b.free[bad] {
		if x != 0 {
			name = f.structure.names()[k]
			break
		}
	}
	f.refuse(NotIdentified, "the scores do not tell the "+name+" from the other parameters of the covariance; take one with fewer")
}

// multiple reports whether parameter k is one of intercepts and slopes that are multiples of each other, which are free along their line.
func (b *basis) multiple(k int) bool { return len(b.chol) > 0 && k >= b.chol[0] && k <= b.chol[0]+2 }

func (f *Fit) setParameters(b *basis, theta, w []float64) {
	q, square := f.structure.size, f.frame.scale*f.frame.scale
	for k, name := range f.structure.names() {
		p := Parameter{Name: name, Estimate: theta[k], SE: math.Sqrt(math.Max(0, w[k*q+k]))}
		if !f.structure.isCorrelation(k) {
			p.Estimate, p.SE = p.Estimate*square, p.SE*square
		}
		if b.held[k] && !b.multiple(k) {
			p.Estimate, p.SE, p.Boundary = 0, 0, true
		}
		f.Parameters = append(f.Parameters, p)
	}
}

// adjust sets Kenward and Roger's variance,
//
//	Φ_A = Φ + 2Φ [Σ_ij W_ij (Q_ij − P_i Φ P_j − ¼ R_ij)] Φ,   Q_ij = Σ zᵀV⁻¹V_iV⁻¹V_jV⁻¹z,   R_ij = Σ zᵀV⁻¹V_ijV⁻¹z,
//
// of which the sum over i and j is taken first, so that Q and R need one pass.
func (f *Fit) adjust(l *likelihood, a *ascent, bent []float64) {
	n, q := l.frame.width()-1, f.structure.size
	middle := l.sandwiched(a.state, f.inference.w, bent)
	turned := make([][]float64, q)
	for i := range q {
		turned[i] = product(a.derivatives.p[i], a.state.phi, n)
	}
	for i := range q {
		mixed := make([]float64, n*n)
		for j, w := range f.inference.w[i*q : (i+1)*q] {
			for h, x := range a.derivatives.p[j] {
				mixed[h] += float64(w * x)
			}
		}
		for h, x := range product(turned[i], mixed, n) {
			middle[h] -= x
		}
	}
	extra := product(product(a.state.phi, middle, n), a.state.phi, n)
	symmetric(extra, n)
	_, extra = f.frame.design.Unscale(make([]float64, n), extra)
	square := 2 * f.frame.scale * f.frame.scale
	f.Variance = append([]float64(nil), f.Model...)
	for i, x := range extra {
		f.Variance[i] += float64(square * x)
	}
}

// sandwiched returns Σ_ij W_ij (Q_ij − ¼R_ij) − ¼ Σ_k bent_k Σ zᵀV⁻¹V_kV⁻¹z.
func (l *likelihood) sandwiched(s *state, w, bent []float64) []float64 {
	q, wide := l.structure.size, l.frame.width()
	parts := make([][]float64, l.chunks())
	l.overPatterns(func(chunk int, p *pattern, sums *sums) {
		if parts[chunk] == nil {
			parts[chunk] = make([]float64, wide*wide)
		}
		sums.weigh(l.kernel(s, p, w, bent, q, sums.scratch), parts[chunk])
	})
	out := make([]float64, (wide-1)*(wide-1))
	for _, part := range parts {
		for j := range wide - 1 {
			addTo(out[j*(wide-1):][:wide-1], part[j*wide:][:wide-1])
		}
	}
	return out
}

// kernel returns V⁻¹ [Σ_ij W_ij (V_i V⁻¹ V_j − ¼V_ij) − ¼ Σ_k bent_k V_k] V⁻¹.
func (l *likelihood) kernel(s *state, p *pattern, w, bent []float64, q int, scratch *arena) []float64 {
	k := p.size()
	inverse, _, _ := l.inverse(p, s.theta, scratch)
	v, sum, blend, half := scratch.take(q*k*k), scratch.take(k*k), scratch.take(k*k), scratch.take(k*k)
	at := func(i int) []float64 { return v[i*k*k:][:k*k] }
	for i := range q {
		l.structure.derivative(p, s.theta, i, at(i))
	}
	for i := range q {
		clear(blend)
		for j := range q {
			for h, x := range at(j) {
				blend[h] += float64(w[i*q+j] * x)
			}
			if l.structure.curved(i, j) {
				l.structure.bend(p, s.theta, i, j, half)
				for h, x := range half {
					sum[h] -= float64(w[i*q+j] * x / 4)
				}
			}
		}
		multiplyInto(half, at(i), inverse, k)
		addTo(sum, scratch.product(half, blend, k))
		for h, x := range at(i) {
			sum[h] -= float64(bent[i] * x / 4)
		}
	}
	multiplyInto(half, inverse, sum, k)
	out := scratch.product(half, inverse, k)
	symmetric(out, k)
	return out
}
