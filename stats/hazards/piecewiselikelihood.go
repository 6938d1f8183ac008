package hazards

import (
	"math"
	"sort"

	"deltoid/stats/covariates"
)

// piecewise is the log-likelihood with the hazards put in at their best for given ratios:
//
//	Σ w δ η − Σ_pieces W log S0,   S0 = Σ_rows r × time in the piece
//
// which has the form of a partial likelihood; W is the weight of the events of a piece.
type piecewise struct {
	data    Data
	design  *covariates.Design
	cuts    []float64
	piece   []int32   // of the event of each row, −1 without one
	mass    []float64 // W
	risk    []float64
	s0, s1  []float64
	hazards []float64 // W/S0
}

func newPiecewise(d Data, cause uint8, design *covariates.Design, cuts []float64) *piecewise {
	m := &piecewise{data: d, design: design, cuts: cuts, piece: make([]int32, len(d.Exit)), mass: make([]float64, len(cuts)+1),
		risk: make([]float64, len(d.Exit)), s0: make([]float64, len(cuts)+1), hazards: make([]float64, len(cuts)+1)}
	for i, c := range d.Cause {
		if m.piece[i] = -1; c == cause && d.weight(i) > 0 {
			// The stretch up to and including its end.
			m.piece[i] = int32(sort.SearchFloat64s(cuts, d.time(d.Exit[i])))
			m.mass[m.piece[i]] += d.weight(i)
		}
	}
	return m
}

// stretches calls do with the time a row spends in each piece.
func (m *piecewise) stretches(i int, do func(k int, time float64)) {
	from, to := m.data.time(m.data.entry(i)), m.data.time(m.data.Exit[i])
	for k := sort.SearchFloat64s(m.cuts, from); k <= len(m.cuts) && from < to; k++ {
		end := to
		if k < len(m.cuts) {
			end = min(to, m.cuts[k])
		}
		if end > from {
			do(k, end-from)
			from = end
		}
	}
}

// Value returns the log-likelihood, but for W log W − W, which Slope does not need, added here.
func (m *piecewise) Value(beta []float64) float64 {
	total := 0.0
	clear(m.s0)
	clear(m.risk)
	if m.data.Offset != nil {
		copy(m.risk, m.data.Offset)
	}
	m.design.AddPredictor(beta, 0, m.risk)
	for i, x := range m.risk {
		w := m.data.weight(i)
		if m.piece[i] >= 0 {
			total += float64(w * x)
		}
		m.risk[i] = w * math.Exp(x)
		m.stretches(i, func(k int, time float64) { m.s0[k] += float64(m.risk[i] * time) })
	}
	for k, w := range m.mass {
		if m.hazards[k] = 0; w > 0 {
			m.hazards[k] = w / m.s0[k]
			total += float64(w*math.Log(m.hazards[k])) - w
		}
	}
	return total
}

func (m *piecewise) exposure(i int) (sum float64) {
	m.stretches(i, func(k int, time float64) { sum += float64(m.hazards[k] * time) })
	return sum
}

// Slope returns gradient and information at the beta of the last Value.
func (m *piecewise) Slope() (gradient, information, size []float64) {
	p := m.design.Size()
	information, gradient = m.design.Moments(func(from, to int, c, v []float64) {
		for i := from; i < to; i++ {
			c[i-from] = m.risk[i] * m.exposure(i)
			v[i-from] = -c[i-from]
			if m.piece[i] >= 0 {
				v[i-from] += m.data.weight(i)
			}
		}
	})
	size = make([]float64, p)
	for j := range size {
		size[j] = information[j*p+j]
	}
	m.s1 = make([]float64, len(m.s0)*p)
	for i, r := range m.risk {
		m.stretches(i, func(k int, time float64) {
			for j := range p {
				m.s1[k*p+j] += float64(r * time * m.design.At(i, j))
			}
		})
	}
	for k, w := range m.mass {
		if w == 0 {
			continue
		}
		for j := range p {
			for l := range p {
				information[j*p+l] -= float64(m.hazards[k] * m.s1[k*p+j] * (m.s1[k*p+l] / m.s0[k]))
			}
		}
	}
	return gradient, information, size
}

// score writes what a row adds to the gradient, hazards being estimated with it.
func (m *piecewise) score(i int, out []float64) {
	p := len(out)
	for j := range out {
		z := m.design.At(i, j)
		out[j] = 0
		if k := int(m.piece[i]); k >= 0 {
			out[j] = m.data.weight(i) * (z - m.s1[k*p+j]/m.s0[k])
		}
		m.stretches(i, func(k int, time float64) {
			if m.mass[k] > 0 {
				out[j] -= float64(m.risk[i] * m.hazards[k] * time * (z - m.s1[k*p+j]/m.s0[k]))
			}
		})
	}
}
