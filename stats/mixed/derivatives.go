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
	l.overPatterns(func(chunk int, pat *pattern, moments []float64) {
		if parts[chunk] == nil {
			parts[chunk] = newDerivatives(q, p)
		}
		l.block(parts[chunk], s, pat, moments)
	})
	d := newDerivatives(q, p)
	for _, part := range parts {
		d.add(part)
	}
	l.finish(d, s)
	return d
}

// block adds the share of one pattern.
func (l *likelihood) block(d *derivatives, s *state, p *pattern, moments []float64) {
	k, q, m := p.size(), l.structure.size, float64(len(p.blocks))
	inverse, _, _ := l.inverse(p, s.theta)
	c, e, cross := l.residualSums(s, p, moments)
	f, h := product(inverse, e, k), product(inverse, c, k)
	if l.full {
		clear(f)
	}
	gap, expected, observed := make([]float64, k*k), make([]float64, k*k), make([]float64, k*k)
	for i := range gap {
		unit := one(i%(k+1) == 0) * m
		gap[i] = unit - f[i] - h[i]
		expected[i] = unit - 2*f[i]
		observed[i] = -unit + 2*f[i] + 2*h[i]
	}
	t := make([][]float64, q)
	v := make([]float64, k*k)
	for i := range q {
		l.structure.derivative(p, s.theta, i, v)
		t[i] = product(inverse, v, k)
		d.slope[i] -= traceOf(t[i], gap, k) / 2
		l.addProducts(d, i, product(t[i], inverse, k), moments, cross, k)
	}
	for j := range q {
		a, b := product(t[j], expected, k), product(t[j], observed, k)
		for i := range q {
			d.expected[i*q+j] += traceOf(t[i], a, k) / 2
			d.observed[i*q+j] += traceOf(t[i], b, k) / 2
			if l.structure.curved(i, j) {
				l.structure.bend(p, s.theta, i, j, v)
				d.observed[i*q+j] += traceOf(product(inverse, v, k), gap, k) / 2
			}
		}
	}
}

// residualSums returns C, E and, for places a and b, Σ z_a r_b.
func (l *likelihood) residualSums(s *state, p *pattern, moments []float64) (c, e, cross []float64) {
	k, wide := p.size(), l.frame.width()
	n := wide - 1
	size := k * wide
	c, e, cross = make([]float64, k*k), make([]float64, k*k), make([]float64, k*k*n)
	for a := range k {
		for b := range k {
			x := cross[(a*k+b)*n:][:n]
			sum := 0.0
			for j := range n {
				row := moments[(a*wide+j)*size+b*wide:][:wide]
				r := row[n]
				for i, w := range row[:n] {
					r -= float64(w * s.beta[i])
					sum += float64(w * s.phi[j*n+i])
				}
				x[j] = r
			}
			e[a*k+b] = sum
			last := moments[(a*wide+n)*size+b*wide:][:wide]
			r := last[n]
			for i, w := range last[:n] {
				r -= float64(w * s.beta[i])
			}
			for j := range n {
				r -= float64(s.beta[j] * x[j])
			}
			c[a*k+b] = r
		}
	}
	return c, e, cross
}

// addProducts adds Σ zᵀΩz to P_i and Σ zᵀΩr to c_i.
func (l *likelihood) addProducts(d *derivatives, i int, omega, moments, cross []float64, k int) {
	wide := l.frame.width()
	n := wide - 1
	size := k * wide
	for a := range k {
		for b := range k {
			w := omega[a*k+b]
			if w == 0 {
				continue
			}
			for j, x := range cross[(a*k+b)*n:][:n] {
				d.c[i][j] += float64(w * x)
				from, to := moments[(a*wide+j)*size+b*wide:][:n], d.p[i][j*n:][:n]
				for h, s := range from {
					to[h] += float64(w * s)
				}
			}
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
	return out
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
