package hazards

import (
	"math"

	"deltoid/stats/covariates"
)

// weibull is the log-likelihood of a Weibull model. With κ = log k and M = t^k − entry^k a row adds
//
//	w [δ (η + κ + (k−1) log t) − M e^η]
//
// and the derivatives of log M in κ are q = M′/M and (with M″/M) r.
type weibull struct {
	data   Data
	design *covariates.Design
	event  []float64
	unit   float64
	mean   []float64 // M e^η of each row
	shape  float64
}

func newWeibull(d Data, cause uint8, design *covariates.Design) (m *weibull, unit float64) {
	n := len(d.Exit)
	m = &weibull{data: d, design: design, event: make([]float64, n), mean: make([]float64, n), unit: 1}
	sum, weights := 0.0, 0.0
	for i, c := range d.Cause {
		if c == cause && d.weight(i) > 0 {
			m.event[i] = 1
		}
		sum += float64(d.weight(i) * d.time(d.Exit[i]))
		weights += d.weight(i)
	}
	if sum > 0 {
		m.unit = sum / weights
	}
	return m, m.unit
}

// rate is events over time at risk, in units of the fit.
func (m *weibull) rate() float64 {
	events, time := 0.0, 0.0
	for i, e := range m.event {
		w := m.data.weight(i)
		events += float64(w * e)
		time += float64(w * (m.data.time(m.data.Exit[i]) - m.data.time(m.data.entry(i))) / m.unit)
	}
	return events / time
}

func (m *weibull) weightOfEvents() (sum float64) {
	for i, e := range m.event {
		sum += float64(m.data.weight(i) * e)
	}
	return sum
}

// logs returns the logs of exit and entry in units of the fit; late is false without a late entry.
func (m *weibull) logs(i int) (exit, entry float64, late bool) {
	exit = math.Log(m.data.time(m.data.Exit[i]) / m.unit)
	if e := m.data.entry(i); e > 0 {
		return exit, math.Log(m.data.time(e) / m.unit), true
	}
	return exit, 0, false
}

// growth returns M, q and r of a row.
func (m *weibull) growth(i int) (size, q, r float64) {
	k := m.shape
	exit, entry, late := m.logs(i)
	a := k * exit
	size, q, r = math.Exp(a), a, a+float64(a*a)
	if late {
		b := k * entry
		start := math.Exp(b)
		whole := size - start
		q = (float64(size*a) - float64(start*b)) / whole
		r = (float64(size*(a+float64(a*a))) - float64(start*(b+float64(b*b)))) / whole
		size = whole
	}
	return size, q, r
}

// Value returns the log-likelihood.
func (m *weibull) Value(beta []float64) float64 {
	kappa := beta[len(beta)-1]
	m.shape = math.Exp(kappa)
	sums := make([]float64, covariates.Pieces(len(m.mean)))
	covariates.InPieces(len(m.mean), func(_, piece, from, to int) {
		eta := m.mean[from:to]
		clear(eta)
		if m.data.Offset != nil {
			copy(eta, m.data.Offset[from:to])
		}
		m.design.AddPredictor(beta, from, eta)
		for i, x := range eta {
			row := from + i
			exit, _, _ := m.logs(row)
			size, _, _ := m.growth(row)
			eta[i] = size * math.Exp(x)
			sums[piece] += float64(m.data.weight(row) * (float64(m.event[row]*(x+kappa+float64((m.shape-1)*exit))) - eta[i]))
		}
	})
	total := 0.0
	for _, s := range sums {
		total += s
	}
	return total
}

// Slope returns gradient and information at the beta of the last Value.
func (m *weibull) Slope() (gradient, information, size []float64) {
	p := m.design.Size()
	curve := make([]float64, covariates.Pieces(len(m.mean)))
	information, _ = covariates.Products(len(m.mean), p, func(_, from, to int, z []float64, stride int, c, _ []float64) {
		for j := range p - 1 {
			m.design.Write(j, from, z[j*stride:][:to-from])
		}
		for i := from; i < to; i++ {
			_, z[(p-1)*stride+i-from], _ = m.growth(i)
			c[i-from] = m.data.weight(i) * m.mean[i]
		}
	})
	gradients := make([][]float64, len(curve))
	covariates.InPieces(len(m.mean), func(_, piece, from, to int) {
		one, sum := make([]float64, p), make([]float64, p)
		for i := from; i < to; i++ {
			m.score(i, one)
			for j, x := range one {
				sum[j] += x
			}
			exit, _, _ := m.logs(i)
			_, q, r := m.growth(i)
			// Beside w·mean·q², which the product holds, the curvature in κ has
			curve[piece] += float64(m.data.weight(i) * (float64(m.mean[i]*(r-float64(q*q))) - float64(m.event[i]*m.shape*exit)))
		}
		gradients[piece] = sum
	})
	gradient, size = make([]float64, p), make([]float64, p)
	for piece, g := range gradients {
		for j, x := range g {
			gradient[j] += x
		}
		information[p*p-1] += curve[piece]
	}
	for j := range size {
		size[j] = information[j*p+j]
	}
	return gradient, information, size
}

// score writes what a row adds to the gradient.
func (m *weibull) score(i int, out []float64) {
	p := len(out)
	w := m.data.weight(i)
	residual := w * (m.event[i] - m.mean[i])
	for j := range p - 1 {
		out[j] = residual * m.design.At(i, j)
	}
	exit, _, _ := m.logs(i)
	_, q, _ := m.growth(i)
	out[p-1] = w * (float64(m.event[i]*(1+float64(m.shape*exit))) - float64(m.mean[i]*q))
}
