package mixed

import "math"

// coordinates are what Newton's method moves: the parameters within the shoulder as they are, a variance v of a part of the shoulder's
// or patient's own as s with v = s², and the covariance of intercepts and slopes as its Cholesky factor, so that no step leaves
// the covariances, and a variance of 0 can be reached.
type coordinates struct {
	size   int
	square []int // places of variances alone
	triple int   // first place of the covariance of intercepts and slopes; −1 for none
}

func newCoordinates(s *structure) *coordinates {
	c := &coordinates{size: s.size, triple: -1}
	if s.options.SubjectSlope {
		c.triple = s.subject
	} else if s.options.SubjectIntercept {
		c.square = append(c.square, s.subject)
	}
	if s.options.PatientIntercept {
		c.square = append(c.square, s.patient)
	}
	return c
}

// theta returns the natural parameters.
func (c *coordinates) theta(at []float64) []float64 {
	out := append([]float64(nil), at...)
	for _, k := range c.square {
		out[k] = at[k] * at[k]
	}
	if t := c.triple; t >= 0 {
		a, b, d := at[t], at[t+1], at[t+2]
		out[t], out[t+1], out[t+2] = a*a, a*b, float64(b*b)+float64(d*d)
	}
	return out
}

// jacobian returns ∂θ_k/∂a_i at row k, column i.
func (c *coordinates) jacobian(at []float64) []float64 {
	q := c.size
	j := make([]float64, q*q)
	for k := range q {
		j[k*q+k] = 1
	}
	for _, k := range c.square {
		j[k*q+k] = 2 * at[k]
	}
	if t := c.triple; t >= 0 {
		a, b, d := at[t], at[t+1], at[t+2]
		j[t*q+t], j[(t+1)*q+t], j[(t+1)*q+t+1] = 2*a, b, a
		j[(t+2)*q+t+1], j[(t+2)*q+t+2] = 2*b, 2*d
	}
	return j
}

// curvature returns Σ_k g_k ∂²θ_k/∂a_i∂a_j.
func (c *coordinates) curvature(g []float64) []float64 {
	q := c.size
	out := make([]float64, q*q)
	for _, k := range c.square {
		out[k*q+k] = 2 * g[k]
	}
	if t := c.triple; t >= 0 {
		out[t*q+t] = 2 * g[t]
		out[t*q+t+1], out[(t+1)*q+t] = g[t+1], g[t+1]
		out[(t+1)*q+t+1], out[(t+2)*q+t+2] = 2*g[t+2], 2*g[t+2]
	}
	return out
}

// turn returns Jᵀ M J.
func turn(j, m []float64, q int) []float64 {
	t := make([]float64, q*q)
	for r := range q {
		for c := range q {
			t[c*q+r] = j[r*q+c]
		}
	}
	return product(product(t, m, q), j, q)
}

// turnVector returns Jᵀ g.
func turnVector(j, g []float64) []float64 {
	q := len(g)
	out := make([]float64, q)
	for k, x := range g {
		for i := range q {
			out[i] += float64(j[k*q+i] * x)
		}
	}
	return out
}

// start returns coordinates to begin at: half of the residual variance each for a part of one's own and for the rest, shared out.
func (c *coordinates) start(s *structure, f *frame) []float64 {
	at := make([]float64, s.size)
	within := f.spread
	parts := 1.0 + float64(len(c.square))
	if c.triple >= 0 {
		parts++
	}
	within /= parts
	switch s.options.Covariance {
	case Unstructured:
		startUnstructured(at, f, within)
	case CompoundSymmetric:
		at[0], at[1] = within*0.4, within*0.6
	case Autoregressive:
		at[0], at[1] = within, 0.4
	case SpatialPower:
		at[0], at[1] = within, math.Pow(0.5, 1/f.gap())
	case Independent:
		at[0] = within
	}
	for _, k := range c.square {
		at[k] = math.Sqrt(f.spread / parts)
	}
	if t := c.triple; t >= 0 {
		reach := f.reach()
		at[t], at[t+1], at[t+2] = math.Sqrt(f.spread/parts), 0, math.Sqrt(f.spread/parts)/(2*reach)
	}
	return at
}

// startUnstructured takes the residual variance of each visit and a correlation of 0.4.
func startUnstructured(at []float64, f *frame, within float64) {
	k := len(f.data.Visits)
	squares, rows := make([]float64, k), make([]float64, k)
	for i, v := range f.data.Visit {
		squares[v] += float64(f.rest[i] * f.rest[i])
		rows[v]++
	}
	share := within / f.spread
	for v := range squares {
		squares[v] = math.Max(squares[v]/math.Max(rows[v], 1), 1e-3*f.spread) * share
	}
	for a := range int32(k) {
		for b := range a + 1 {
			at[pair(a, b)] = 0.4 * math.Sqrt(squares[a]*squares[b])
		}
		at[pair(a, a)] = squares[a]
	}
}

// gap returns the mean time between neighbouring scores of a shoulder.
func (f *frame) gap() float64 {
	sum, count := 0.0, 0.0
	for _, p := range f.patterns {
		for a := 1; a < p.size(); a++ {
			if p.subject[a] == p.subject[a-1] {
				m := float64(len(p.blocks))
				sum += float64(m * math.Abs(p.time[a]-p.time[a-1]))
				count += m
			}
		}
	}
	if !(sum > 0) {
		return 1
	}
	return sum / count
}

// reach returns the largest time in size.
func (f *frame) reach() float64 {
	top := 0.0
	for _, p := range f.patterns {
		for _, t := range p.time {
			top = math.Max(top, math.Abs(t))
		}
	}
	if top == 0 {
		return 1
	}
	return top
}
