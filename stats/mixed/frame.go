package mixed

import (
	"math"

	"deltoid/stats/covariates"
)

// frame is the data as the likelihood sees them: columns z centred and scaled, and in place of the score what ordinary least squares
// leave of it, divided by a power of two near its standard deviation. Sums of products of it keep their digits, because the
// weighted fit is not far from the ordinary one.
type frame struct {
	data     Data
	design   *covariates.Design
	rest     []float64
	scale    float64   // what rest is multiplied by to have the unit of the score
	ordinary []float64 // coefficients of z and the constant that were taken out
	patterns []*pattern
	spread   float64 // residual variance of the ordinary fit, in the unit of rest
}

// newFrame returns a frame, or the fit's status says why there is none.
func newFrame(d Data, design *covariates.Design, f *Fit) *frame {
	x := &frame{data: d, design: design, scale: 1}
	n, p := len(d.Outcome), design.Size()
	if n <= p {
		f.refuse(NoRows, "there are "+counted(n, "score")+" for "+counted(p, "coefficient")+"; leave columns out")
		return nil
	}
	mean, top := middle(d.Outcome)
	gram, sum := design.Moments(func(from, to int, c, v []float64) {
		for i := from; i < to; i++ {
			c[i-from], v[i-from] = 1, d.Outcome[i]-mean
		}
	})
	factor, bad := covariates.Factorise(gram, p, floors(design))
	if bad >= 0 {
		f.refuse(Singular, "column "+design.Name(bad)+" has one value only, or is a combination of the columns before it: leave it out", design.Name(bad))
		return nil
	}
	x.ordinary = factor.Solve(sum)
	x.ordinary[p-1] += mean
	if !x.takeOut(top) {
		f.refuse(ConstantOutcome, "the scores do not vary beyond what the columns tell: there is no variance to judge by")
		return nil
	}
	return x
}

// floors keeps a column that has one value, whose variation is rounding alone, from passing for one that varies.
func floors(d *covariates.Design) []float64 {
	out := make([]float64, d.Size())
	for j := range d.Columns {
		size := d.Centre(j) * d.Scale(j)
		out[j] = 1e-20 * float64(d.Rows) * size * size
	}
	return out
}

// middle returns the mean and the largest distance from it.
func middle(y []float64) (mean, top float64) {
	for _, v := range y {
		mean += (v - y[0])
	}
	mean = y[0] + mean/float64(len(y))
	for _, v := range y {
		top = max(top, math.Abs(v-mean))
	}
	return mean, top
}

// takeOut sets rest; it reports whether anything is left.
func (x *frame) takeOut(top float64) bool {
	n, y := len(x.data.Outcome), x.data.Outcome
	x.rest = make([]float64, n)
	squares := make([]float64, covariates.Pieces(n))
	covariates.InPieces(n, func(_, piece, from, to int) {
		part := x.rest[from:to]
		x.design.AddPredictor(x.ordinary, from, part)
		for i := range part {
			part[i] = y[from+i] - part[i]
			squares[piece] += float64(part[i] * part[i])
		}
	})
	sum := 0.0
	for _, s := range squares {
		sum += s
	}
	x.spread = sum / float64(n-x.design.Size())
	if !(math.Sqrt(x.spread) > 1e-9*top) {
		return false
	}
	_, power := math.Frexp(math.Sqrt(x.spread))
	x.scale = math.Ldexp(1, power)
	for i := range x.rest {
		x.rest[i] /= x.scale
	}
	x.spread /= x.scale * x.scale
	return true
}

// width is the number of columns in a product: z, the constant and the rest.
func (x *frame) width() int { return x.design.Size() + 1 }

// gather makes the moments of the patterns with many blocks; one with fewer blocks than half the rows of its moments takes less memory
// as it is.
func (x *frame) gather() {
	for _, p := range x.patterns {
		if 2*len(p.blocks) >= p.size()*x.width() {
			p.moments = x.products(p)
		}
	}
}

// products returns Σ w wᵀ over the blocks of a pattern, w being all columns at the first place, then at the second, and so on.
func (x *frame) products(p *pattern) []float64 {
	wide := x.width()
	gram, _ := covariates.Products(len(p.blocks), p.size()*wide, func(_, from, to int, z []float64, stride int, c, _ []float64) {
		for i := range c {
			c[i] = 1
		}
		for a := range p.size() {
			for j := range wide {
				x.write(p.blocks[from:to], a, j, z[(a*wide+j)*stride:][:to-from])
			}
		}
	})
	return gram
}

// write fills z with column j of the rows at place a of blocks.
func (x *frame) write(blocks [][]int32, a, j int, z []float64) {
	q := len(x.design.Columns)
	switch {
	case j == q+1:
		for i, rows := range blocks {
			z[i] = x.rest[rows[a]]
		}
	case j == q:
		for i := range z {
			z[i] = 1
		}
	default:
		values, centre, scale := x.design.Columns[j].Values, x.design.Centre(j), x.design.Scale(j)
		for i, rows := range blocks {
			z[i] = (values[rows[a]] - centre) * scale
		}
	}
}

// writeRow fills w with all columns of one row.
func (x *frame) writeRow(row int32, w []float64) {
	q := len(x.design.Columns)
	for j := range q {
		w[j] = x.design.At(int(row), j)
	}
	w[q], w[q+1] = 1, x.rest[row]
}
