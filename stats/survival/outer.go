package survival

import (
	"runtime"
	"slices"
)

// together is how many times are added to the covariance at once: each visit of a number of the
// matrix then pays for eight products.
const together = 8

// outerProducts adds up c (diag(p) − p pᵀ) over times, p being the shares of k groups. Only the
// lower half is held until matrix is called.
type outerProducts struct {
	k       int
	sum     []float64
	c       [together]float64
	p       [together][]float64
	waiting int
}

func newOuterProducts(k int) *outerProducts {
	o := &outerProducts{k: k, sum: make([]float64, k*k)}
	for i := range o.p {
		o.p[i] = make([]float64, k)
	}
	return o
}

func (o *outerProducts) add(c float64, p []float64) {
	o.c[o.waiting] = c
	copy(o.p[o.waiting], p)
	if o.waiting++; o.waiting == together {
		o.flush()
	}
}

// flush adds the times that wait. Rows of the matrix are shared out among processors; each number
// is made by one of them in the order of the times, so it does not depend on how many there are.
func (o *outerProducts) flush() {
	for i := o.waiting; i < together; i++ {
		o.c[i] = 0
		clear(o.p[i])
	}
	o.waiting = 0
	workers := max(1, min(runtime.GOMAXPROCS(0), o.k/64))
	inParallel(workers, workers, func(worker, _, _ int) {
		for j := worker; j < o.k; j += workers {
			o.row(j)
		}
	})
}

func (o *outerProducts) row(j int) {
	var f [together]float64
	for i := range f {
		f[i] = float64(o.c[i] * o.p[i][j])
	}
	row := o.sum[j*o.k : j*o.k+j+1]
	n := len(row)
	p0, p1, p2, p3 := o.p[0][:n], o.p[1][:n], o.p[2][:n], o.p[3][:n]
	p4, p5, p6, p7 := o.p[4][:n], o.p[5][:n], o.p[6][:n], o.p[7][:n]
	for l := range row {
		a := float64(f[0]*p0[l]) + float64(f[1]*p1[l]) + (float64(f[2]*p2[l]) + float64(f[3]*p3[l]))
		b := float64(f[4]*p4[l]) + float64(f[5]*p5[l]) + (float64(f[6]*p6[l]) + float64(f[7]*p7[l]))
		row[l] -= a + b
	}
	for i := range f {
		row[j] += f[i]
	}
}

// matrix returns the whole symmetric matrix.
func (o *outerProducts) matrix() []float64 {
	out := slices.Clone(o.sum)
	for j := range o.k {
		for l := range j {
			out[l*o.k+j] = out[j*o.k+l]
		}
	}
	return out
}
