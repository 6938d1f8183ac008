package covariates

import "math"

// Design is a set of columns, each seen through z = (x − centre)·scale: centred, so that a year
// such as 2015 does not swamp what varies, and scaled by a power of two near one over the
// standard deviation, which rounds nothing.
type Design struct {
	Columns []Column
	Rows    int
	// Constant says that a column of ones stands after the others (the intercept of a model that
	// has one).
	Constant bool
	// Extra names parameters after those that are not coefficients of columns, such as a shape; a
	// likelihood that has them writes their derivatives itself.
	Extra         []string
	centre, scale []float64
	low, high     []float64
	usable        []bool
}

// NewDesign checks the columns and measures them. The error names the column and the row.
func NewDesign(columns []Column, rows int, constant bool) (*Design, error) {
	if err := check(columns, rows); err != nil {
		return nil, err
	}
	p := len(columns)
	d := &Design{Columns: columns, Rows: rows, Constant: constant,
		centre: make([]float64, p), scale: make([]float64, p), low: make([]float64, p), high: make([]float64, p), usable: make([]bool, p)}
	InParallel(p, func(_, j int) { d.measure(j) })
	for j := range p {
		if !d.usable[j] {
			return nil, columns[j].firstBad()
		}
	}
	return d, nil
}

// measure finds range, centre and scale of a column, and whether all of it are numbers of use.
func (d *Design) measure(j int) {
	x := d.Columns[j].Values
	d.scale[j], d.usable[j] = 1, true
	if len(x) == 0 {
		return
	}
	origin := x[0]
	low, high := origin, origin
	var sum, squares float64
	for _, v := range x {
		if v < low {
			low = v
		}
		if v > high {
			high = v
		}
		u := v - origin
		sum += u
		squares += float64(u * u)
	}
	d.usable[j] = low >= -largestValue && high <= largestValue && !math.IsNaN(squares)
	d.low[j], d.high[j] = low, high
	n := float64(len(x))
	mean := sum / n
	d.centre[j] = origin + mean
	spread := squares/n - float64(mean*mean)
	if spread > 0 && low < high {
		_, power := math.Frexp(math.Sqrt(spread))
		d.scale[j] = math.Ldexp(1, min(300, max(-300, -power)))
	}
}

// Size returns the number of coefficients, the constant included.
func (d *Design) Size() int {
	if d.Constant {
		return len(d.Columns) + 1 + len(d.Extra)
	}
	return len(d.Columns) + len(d.Extra)
}

// Name returns the name of coefficient j.
func (d *Design) Name(j int) string {
	switch q := len(d.Columns); {
	case j < q:
		return d.Columns[j].Name
	case d.Constant && j == q:
		return "the constant"
	}
	return d.Extra[j-(d.Size()-len(d.Extra))]
}

// constant reports whether all rows have one value.
func (d *Design) constant(j int) bool { return j < len(d.Columns) && d.low[j] == d.high[j] }

// Write fills z with rows from to to of column j.
func (d *Design) Write(j, from int, z []float64) {
	if j == len(d.Columns) {
		for i := range z {
			z[i] = 1
		}
		return
	}
	x, m, s := d.Columns[j].Values[from:][:len(z)], d.centre[j], d.scale[j]
	for i, v := range x {
		z[i] = (v - m) * s
	}
}

// At returns z for one row and column.
func (d *Design) At(row, j int) float64 {
	if j == len(d.Columns) {
		return 1
	}
	return (d.Columns[j].Values[row] - d.centre[j]) * d.scale[j]
}

// AddPredictor adds Σ β_j z_ij to eta, whose first row is row from.
func (d *Design) AddPredictor(beta []float64, from int, eta []float64) {
	j := 0
	for ; j+1 < len(d.Columns); j += 2 {
		x, y := d.Columns[j].Values[from:][:len(eta)], d.Columns[j+1].Values[from:][:len(eta)]
		m, n := d.centre[j], d.centre[j+1]
		a, b := beta[j]*d.scale[j], beta[j+1]*d.scale[j+1]
		for i := range eta {
			eta[i] += float64(a*(x[i]-m)) + float64(b*(y[i]-n))
		}
	}
	if j < len(d.Columns) {
		x, m, a := d.Columns[j].Values[from:][:len(eta)], d.centre[j], beta[j]*d.scale[j]
		for i := range eta {
			eta[i] += float64(a * (x[i] - m))
		}
	}
	if d.Constant {
		for i := range eta {
			eta[i] += beta[len(d.Columns)]
		}
	}
}

// Moments returns Σ c z zᵀ and Σ v z; weights sets c and v for rows from to to.
func (d *Design) Moments(weights func(from, to int, c, v []float64)) (gram, sum []float64) {
	p := d.Size()
	return Products(d.Rows, p, func(_, from, to int, z []float64, stride int, c, v []float64) {
		for j := range p {
			d.Write(j, from, z[j*stride:][:to-from])
		}
		weights(from, to, c, v)
	})
}

// Reach returns the largest |Σ β_j z_ij| over all rows: how far a step moves any predictor.
func (d *Design) Reach(beta []float64) float64 {
	most := make([]float64, Pieces(d.Rows))
	InPieces(d.Rows, func(_, piece, from, to int) {
		eta := make([]float64, blockRows)
		for ; from < to; from += blockRows {
			block := eta[:min(blockRows, to-from)]
			clear(block)
			d.AddPredictor(beta, from, block)
			for _, x := range block {
				most[piece] = max(most[piece], math.Abs(x))
			}
		}
	})
	reach := 0.0
	for _, m := range most {
		reach = max(reach, m)
	}
	return reach
}

// Centred returns x_j − centre_j for values given one for each column.
func (d *Design) Centred(x []float64) []float64 {
	z := make([]float64, len(x))
	for j, v := range x {
		z[j] = v - d.centre[j]
	}
	return z
}

// Centre returns what is taken off a column.
func (d *Design) Centre(j int) float64 { return d.centre[j] }

// Scale returns what a centred column is multiplied by.
func (d *Design) Scale(j int) float64 {
	if j >= len(d.Columns) {
		return 1
	}
	return d.scale[j]
}

// Unscale turns coefficients and their covariance from z to the units of the columns; the
// constant then belongs to x = 0.
func (d *Design) Unscale(beta, variance []float64) (b, v []float64) {
	p, q := d.Size(), len(d.Columns)
	b = make([]float64, p)
	turn := make([]float64, p*p) // b = turn·beta
	for j := range q {
		turn[j*p+j] = d.scale[j]
		if d.Constant {
			turn[q*p+j] = -d.scale[j] * d.centre[j]
		}
	}
	for j := q; j < p; j++ {
		turn[j*p+j] = 1
	}
	for j := range p {
		for k := range p {
			b[j] += float64(turn[j*p+k] * beta[k])
		}
	}
	return b, Sandwich(turn, variance, p)
}

// Sandwich returns A·V·Aᵀ for p × p matrices, rows one after the other.
func Sandwich(a, v []float64, p int) []float64 {
	half, out := make([]float64, p*p), make([]float64, p*p)
	for i := range p {
		for k := range p {
			if x := a[i*p+k]; x != 0 {
				for j := range p {
					half[i*p+j] += float64(x * v[k*p+j])
				}
			}
		}
	}
	for i := range p {
		for j := range i + 1 {
			s := 0.0
			for k := range p {
				s += float64(half[i*p+k] * a[j*p+k])
			}
			out[i*p+j], out[j*p+i] = s, s
		}
	}
	return out
}
