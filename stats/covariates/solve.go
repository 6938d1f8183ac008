package covariates

import "math"

// smallestPivot is the share of a column's variation, after the columns before it are taken
// out, below which the column is taken for a combination of them.
const smallestPivot = 1e-10

// Factor is the Cholesky factor of a symmetric positive definite matrix.
type Factor struct {
	p int
	l []float64 // of the matrix scaled to ones on its diagonal, lower half
	s []float64 // what rows and columns are multiplied by
}

// Factorise returns the factor of a p × p matrix, or the first column that makes it singular,
// −1 for none. A diagonal at or below floor, which may be nil, counts as 0.
func Factorise(m []float64, p int, floor []float64) (f *Factor, bad int) {
	f = &Factor{p: p, l: make([]float64, p*p), s: make([]float64, p)}
	for j := range p {
		d := m[j*p+j]
		if !(d > 0) || floor != nil && d <= floor[j] || math.IsInf(d, 0) {
			return f, j
		}
		f.s[j] = 1 / math.Sqrt(d)
	}
	for j := range p {
		for k := range j + 1 {
			x := m[j*p+k] * f.s[j] * f.s[k]
			for i := range k {
				x -= float64(f.l[j*p+i] * f.l[k*p+i])
			}
			if k < j {
				f.l[j*p+k] = x / f.l[k*p+k]
			} else if x > smallestPivot {
				f.l[j*p+j] = math.Sqrt(x)
			} else {
				return f, j
			}
		}
	}
	return f, -1
}

// Solve returns x with M·x = u.
func (f *Factor) Solve(u []float64) []float64 {
	p, x := f.p, make([]float64, f.p)
	for j := range p {
		x[j] = u[j] * f.s[j]
		for k := range j {
			x[j] -= float64(f.l[j*p+k] * x[k])
		}
		x[j] /= f.l[j*p+j]
	}
	f.back(x, p)
	for j := range p {
		x[j] *= f.s[j]
	}
	return x
}

// back solves with the upper triangle of the first n columns.
func (f *Factor) back(x []float64, n int) {
	for j := n - 1; j >= 0; j-- {
		for k := j + 1; k < n; k++ {
			x[j] -= float64(f.l[k*f.p+j] * x[k])
		}
		x[j] /= f.l[j*f.p+j]
	}
}

// Inverse returns M⁻¹.
func (f *Factor) Inverse() []float64 {
	p := f.p
	out, unit := make([]float64, p*p), make([]float64, p)
	for j := range p {
		unit[j] = 1
		copy(out[j*p:], f.Solve(unit))
		unit[j] = 0
	}
	for j := range p {
		for k := range j {
			mean := (out[j*p+k] + out[k*p+j]) / 2
			out[j*p+k], out[k*p+j] = mean, mean
		}
	}
	return out
}

// LogDeterminant returns log det M.
func (f *Factor) LogDeterminant() (sum float64) {
	for j := range f.p {
		sum += float64(2 * math.Log(f.l[j*f.p+j]/f.s[j]))
	}
	return sum
}

// partners returns the earlier columns that column bad is a combination of.
func (f *Factor) partners(bad int) []int {
	x := append([]float64(nil), f.l[bad*f.p:bad*f.p+bad]...)
	f.back(x, bad)
	var out []int
	for k, c := range x {
		if math.Abs(c) > 1e-5 {
			out = append(out, k)
		}
	}
	return out
}

// Form returns uᵀM⁻¹u.
func (f *Factor) Form(u []float64) (sum float64) {
	for j, x := range f.Solve(u) {
		sum += float64(x * u[j])
	}
	return sum
}
