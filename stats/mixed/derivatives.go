package mixed

import "math"

// derivatives is the slope and both informations of the likelihood by θ at a state. With T_i = V⁻¹ ∂V/∂θ_i, the sums over
// blocks C = Σ r rᵀ and E = Σ z Φ zᵀ, F = V⁻¹E and H = V⁻¹C, everything is a trace of k × k matrices,
//
//	slope_i    = −½ tr T_i (m − F − H)
//	expected_ij = ½ [tr T_i T_j (m − 2F) + tr P_i Φ P_j Φ]
//	observed_ij = ½ [tr T_i T_j (−m + 2F + 2H) − tr P_i Φ P_j Φ − 2 c_iᵀ Φ c_j + tr V⁻¹V_ij (m − F − H)]
//
// but for P_i = Σ zᵀ T_i V⁻¹ z and c_i = Σ zᵀ T_i V⁻¹ r. Without F, and without P, where the likelihood is not restricted.
//
// Source: Harville, J. Am. Stat. Assoc. 72 (1977) 320–338; Jennrich & Schluchter, Biometrics 42 (1986) 805–820.
type derivatives struct {
	slope              []float64
	expected, observed []float64
	p                  [][]float64 // P_i
	c                  [][]float64 // c_i
}

func newDerivatives(q, p int) *derivatives {
	d := &derivatives{slope: make([]float64, q), expected: make([]float64, q*q), observed: make([]float64, q*q)}
	for range q {
		d.p, d.c = append(d.p, make([]float64, p*p)), append(d.c, make([]float64, p))
	}
	return d
}

// add takes the sums of another part of the patterns.
func (d *derivatives) add(o *derivatives) {
	addTo(d.slope, o.slope)
	addTo(d.expected, o.expected)
	addTo(d.observed, o.observed)
	for i := range d.p {
		addTo(d.p[i], o.p[i])
		addTo(d.c[i], o.c[i])
	}
}

func addTo(to, from []float64) {
	for i, x := range from {
		to[i] += x
	}
}

// derive returns the derivatives at a state that has a value.
func (l *likelihood) derive(s *state) *derivatives {
	q, p := l.structure.size, l.frame.width()-1
	parts := make([]*derivatives, l.chunks())
	l.overPatterns(func(chunk int, pat *pattern, sums *sums) {
		if parts[chunk] == nil {
			parts[chunk] = newDerivatives(q, p)
		}
		l.block(parts[chunk], s, pat, sums)
	})
	d := newDerivatives(q, p)
	for _, part := range parts {
		d.add(part)
	}
	l.finish(d, s)
	return d
}

// block adds the share of one pattern.
func (l *likelihood) block(d *derivatives, s *state, p *pattern, sums *sums) {
	k, q, m, scratch := p.size(), l.structure.size, float64(len(p.blocks)), sums.scratch
	inverse, _, _ := l.inverse(p, s.theta, scratch)
	c, e, cross := sums.residuals(s.beta, s.phi)
	f, h := scratch.product(inverse, e, k), scratch.product(inverse, c, k)
	if l.full {
		clear(f)
	}
	gap, expected, observed := scratch.take(k*k), scratch.take(k*k), scratch.take(k*k)
	for i := range gap {
		unit := one(i%(k+1) == 0) * m
		gap[i] = unit - f[i] - h[i]
		expected[i] = unit - 2*f[i]
		observed[i] = -unit + 2*f[i] + 2*h[i]
	}
	t, v, omega := scratch.take(q*k*k), scratch.take(k*k), scratch.take(k*k)
	for i := range q {
		l.structure.derivative(p, s.theta, i, v)
		multiplyInto(t[i*k*k:][:k*k], inverse, v, k)
		d.slope[i] -= traceOf(t[i*k*k:], gap, k) / 2
		multiplyInto(omega, t[i*k*k:], inverse, k)
		sums.weighFirst(omega, sums.wide-1, d.p[i])
		addCross(d.c[i], omega, cross)
	}
	l.informations(d, s, p, sums, inverse, gap, expected, observed, t)
}

// informations adds the traces of T_i T_j with both middles.
func (l *likelihood) informations(d *derivatives, s *state, p *pattern, sums *sums, inverse, gap, expected, observed, t []float64) {
	k, q, scratch := p.size(), l.structure.size, sums.scratch
	a, b := scratch.take(k*k), scratch.take(k*k)
	for j := range q {
		multiplyInto(a, t[j*k*k:], expected, k)
		multiplyInto(b, t[j*k*k:], observed, k)
		for i := range q {
			d.expected[i*q+j] += traceOf(t[i*k*k:], a, k) / 2
			d.observed[i*q+j] += traceOf(t[i*k*k:], b, k) / 2
			if l.structure.curved(i, j) {
				bent := scratch.take(k * k)
				l.structure.bend(p, s.theta, i, j, bent)
				d.observed[i*q+j] += traceOf(scratch.product(inverse, bent, k), gap, k) / 2
			}
		}
	}
}

// addCross adds Σ zᵀΩr to c.
func addCross(c, omega, cross []float64) {
	n := len(c)
	for ab, w := range omega {
		if w == 0 {
			continue
		}
		for j, x := range cross[ab*n:][:n] {
			c[j] += float64(w * x)
		}
	}
}

// finish adds what needs the sums over all blocks.
func (l *likelihood) finish(d *derivatives, s *state) {
	q, n := l.structure.size, l.frame.width()-1
	turned := make([][]float64, q) // P_i Φ
	solved := make([][]float64, q) // Φ c_i
	for i := range q {
		turned[i], solved[i] = product(d.p[i], s.phi, n), s.factor.Solve(d.c[i])
	}
	for i := range q {
		for j := range q {
			both := 0.0
			if !l.full {
				both = traceOf(turned[i], turned[j], n)
			}
			bent := 0.0
			for h, x := range d.c[i] {
				bent += float64(x * solved[j][h])
			}
			d.expected[i*q+j] += both / 2
			d.observed[i*q+j] -= both/2 + bent
		}
	}
	symmetric(d.expected, q)
	symmetric(d.observed, q)
}

// product returns A·B for n × n matrices, rows one after the other.
func product(a, b []float64, n int) []float64 {
	out := make([]float64, n*n)
	multiplyInto(out, a, b, n)
	return out
}

// multiplyInto sets out to A·B.
func multiplyInto(out, a, b []float64, n int) {
	clear(out[:n*n])
	for i := range n {
		to := out[i*n:][:n]
		for k, x := range a[i*n:][:n] {
			if x == 0 {
				continue
			}
			for j, y := range b[k*n:][:n] {
				to[j] += float64(x * y)
			}
		}
	}
}

// traceOf returns tr A·B.
func traceOf(a, b []float64, n int) (sum float64) {
	for i := range n {
		for j, x := range a[i*n:][:n] {
			sum += float64(x * b[j*n+i])
		}
	}
	return sum
}

// symmetric makes up for the last digit.
func symmetric(m []float64, n int) {
	for i := range n {
		for j := range i {
			mean := (m[i*n+j] + m[j*n+i]) / 2
			m[i*n+j], m[j*n+i] = mean, mean
		}
	}
}

func finite(x ...float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
