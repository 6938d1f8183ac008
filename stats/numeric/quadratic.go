package numeric

import "math"

// QuadraticForm returns uᵀV⁻u and the rank of V, for a symmetric V without negative eigenvalues
// (k rows of k numbers, rows one after the other; only its lower half is read) and a u in the
// space that V spans. V may be singular, as the covariance of scores that sum to 0 always is;
// the form is then the same for every generalised inverse. A rank of 0 comes with a form of 0.
//
// The method is Cholesky's with the largest remaining diagonal as pivot; a pivot below 1e-10 of
// the first ends it. V is left as it was.
func QuadraticForm(u, v []float64) (form float64, rank int) {
	k := len(u)
	f := factor{k: k, l: make([]float64, k*k), y: append([]float64(nil), u...), column: make([]float64, k)}
	for i := range k {
		for j := range i + 1 {
			f.l[i*k+j] = v[i*k+j]
		}
	}
	floor := 0.0
	for ; rank < k; rank++ {
		f.pivot(rank)
		top := f.l[rank*k+rank]
		if rank == 0 {
			floor = 1e-10 * top
		}
		if !(top > floor) {
			break
		}
		f.eliminate(rank)
		form += float64(f.y[rank] * f.y[rank])
	}
	return form, rank
}

// factor is a Cholesky factor in the making: its first columns are done, the rest of its lower
// half still holds what is left of the matrix. y is u taken along.
type factor struct {
	k      int
	l, y   []float64
	column []float64 // scratch
}

// pivot brings the row with the largest remaining diagonal to place at.
func (f *factor) pivot(at int) {
	k, best := f.k, at
	for i := at + 1; i < k; i++ {
		if f.l[i*k+i] > f.l[best*k+best] {
			best = i
		}
	}
	if best == at {
		return
	}
	l := f.l
	f.y[at], f.y[best] = f.y[best], f.y[at]
	l[at*k+at], l[best*k+best] = l[best*k+best], l[at*k+at]
	for j := range at {
		l[at*k+j], l[best*k+j] = l[best*k+j], l[at*k+j]
	}
	for i := at + 1; i < best; i++ {
		l[i*k+at], l[best*k+i] = l[best*k+i], l[i*k+at]
	}
	for i := best + 1; i < k; i++ {
		l[i*k+at], l[i*k+best] = l[i*k+best], l[i*k+at]
	}
}

// eliminate finishes column at and takes its share out of everything below.
func (f *factor) eliminate(at int) {
	k, l := f.k, f.l
	root := math.Sqrt(l[at*k+at])
	l[at*k+at] = root
	f.y[at] /= root
	for i := at + 1; i < k; i++ {
		l[i*k+at] /= root
		f.y[i] -= float64(l[i*k+at] * f.y[at])
	}
	column := f.column[:k] // side by side, where l has a row between each two
	for j := at + 1; j < k; j++ {
		column[j] = l[j*k+at]
	}
	for i := at + 1; i < k; i++ {
		c, row := column[i], l[i*k+at+1:i*k+i+1]
		for j, x := range column[at+1 : i+1] {
			row[j] -= float64(c * x)
		}
	}
}
