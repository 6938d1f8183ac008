package mixed

import "math"

// lower turns a positive definite matrix into its lower Cholesky factor.
func lower(v []float64, k int) {
	for a := range k {
		for b := range a + 1 {
			x := v[a*k+b]
			for c := range b {
				x -= float64(v[a*k+c] * v[b*k+c])
			}
			if a == b {
				v[a*k+a] = math.Sqrt(x)
			} else {
				v[a*k+b] = x / v[b*k+b]
			}
		}
	}
}

// smallestPivot is the share of a variance, given the scores before it, below which a covariance counts as singular.
const smallestPivot = 1e-10

// invert sets inverse to M⁻¹ for a k × k covariance, of which it makes the Cholesky factor in place, and returns log|M|, or the first place
// whose variance is not above 0 given those before it, −1 for none.
func invert(m, inverse []float64, k int) (logDet float64, bad int) {
	for a := range k {
		top := m[a*k+a]
		for b := range a + 1 {
			x := m[a*k+b]
			for c := range b {
				x -= float64(m[a*k+c] * m[b*k+c])
			}
			if a != b {
				m[a*k+b] = x / m[b*k+b]
				continue
			}
			if !(x > smallestPivot*top) || math.IsInf(x, 0) {
				return 0, a
			}
			m[a*k+a] = math.Sqrt(x)
			logDet += math.Log(x)
		}
	}
	for column := range k {
		invertColumn(m, inverse, k, column)
	}
	return logDet, -1
}

// invertColumn solves L Lᵀ x = unit vector, and keeps the inverse symmetric.
func invertColumn(l, inverse []float64, k, column int) {
	x := inverse[column*k:][:k]
	for a := column; a < k; a++ {
		s := one(a == column)
		for c := column; c < a; c++ {
			s -= float64(l[a*k+c] * x[c])
		}
		x[a] = s / l[a*k+a]
	}
	for a := k - 1; a >= column; a-- {
		s := x[a]
		for c := a + 1; c < k; c++ {
			s -= float64(l[c*k+a] * x[c])
		}
		x[a] = s / l[a*k+a]
	}
	for a := column + 1; a < k; a++ {
		inverse[a*k+column] = x[a]
	}
}
