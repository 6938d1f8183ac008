package hazards

import (
	"errors"
	"fmt"
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/survival"
)

// TimeScale is the function g of time along which an effect is allowed to change in the test of
// proportional hazards.
type TimeScale uint8

// The scales of time.
const (
	// FailedShare is 1 − S(t−), S being the product-limit estimate from all rows: time is spread
	// out where the events are.
	FailedShare TimeScale = iota
	// PlainTime is t.
	PlainTime
	// LogTime is log t; there is none at t = 0.
	LogTime
	// RankedTime is the rank of t among the exits of all rows.
	RankedTime
)

// String returns the name of the scale as a footnote gives it.
func (s TimeScale) String() string {
	return [...]string{FailedShare: "1 − survival just before", PlainTime: "time", LogTime: "log time", RankedTime: "rank of time"}[s]
}

// Proportionality is the test of whether hazard ratios stay the same over time.
type Proportionality struct {
	Scale  TimeScale
	Ties   Ties
	Terms  []covariates.Test // of each term, in the order of the columns
	Global covariates.Test
	// Slope is, for each coefficient, by about how much it changes when g grows by 1, from one
	// step of Newton's method, and SlopeSE its standard error; 0 and 0 where it has none.
	Slope, SlopeSE []float64
}

// Proportionality tests β_j against β_j + θ_j g(t) by the score of θ at 0, term by term and for all
// terms at once:
//
//	U = Σ g(t) (z − z̄(t)) over events,   χ² = Uᵀ (I_gg − I_g I⁻¹ I_g)⁻¹ U,   I_g = Σ g V, I_gg = Σ g² V
//
// V(t) being the covariance of z over the set at risk, for ties by the method of the fit. It is
// model-based, whether or not the fit has a robust variance.
//
// Source: Grambsch & Therneau, Biometrika 81 (1994) 515–526, with V(t) at every event rather than
// its average.
func (f *Fit) Proportionality(scale TimeScale) (*Proportionality, error) {
	if err := f.usable(); err != nil {
		return nil, err
	}
	if scale > RankedTime {
		return nil, fmt.Errorf("there is no scale of time %d", scale)
	}
	g, err := f.timeAt(scale)
	if err != nil {
		return nil, err
	}
	p := f.partial
	plain, first, second := p.rowMoments(nil), p.rowMoments(g), p.rowMoments(times(g, g))
	p.eachTable(func(t *tables) {
		plain.subtract(p.slotMoments(t, nil), t.columns)
		first.subtract(p.slotMoments(t, g), t.columns)
		second.subtract(p.slotMoments(t, times(g, g)), t.columns)
	})
	return f.testTime(scale, plain, first, second)
}

func (f *Fit) testTime(scale TimeScale, plain, first, second *curvature) (*Proportionality, error) {
	size := plain.p
	inner, bad := covariates.Factorise(plain.information, size, nil)
	if bad >= 0 {
		return nil, errors.New("the information of the model is singular")
	}
	left := schur(inner, first.information, second.information, size)
	out := &Proportionality{Scale: scale, Ties: f.Ties, Slope: make([]float64, size), SlopeSE: make([]float64, size)}
	var all []int
	for from := 0; from < size; {
		to := from + 1
		for to < size && f.Terms[to] == f.Terms[from] {
			to++
		}
		at := span(from, to)
		all = append(all, at...)
		out.Terms = append(out.Terms, scoreTest(f.Terms[from], first.gradient, left, size, at))
		from = to
	}
	out.Global = scoreTest("all terms", first.gradient, left, size, all)
	for j := range size {
		if v := left[j*size+j]; v > 0 {
			s := f.partial.design.Scale(j)
			out.Slope[j], out.SlopeSE[j] = first.gradient[j]/v*s, s/math.Sqrt(v)
		}
	}
	return out, nil
}

func span(from, to int) (out []int) {
	for j := from; j < to; j++ {
		out = append(out, j)
	}
	return out
}

// schur returns D − C A⁻¹ Cᵀ for a symmetric C.
func schur(a *covariates.Factor, c, d []float64, size int) []float64 {
	out := append([]float64(nil), d...)
	for k := range size {
		x := a.Solve(c[k*size : (k+1)*size])
		for j := range size {
			for i := range size {
				out[j*size+k] -= float64(c[j*size+i] * x[i])
			}
		}
	}
	return out
}

func scoreTest(name string, u, m []float64, size int, at []int) covariates.Test {
	v, part := make([]float64, len(at)), make([]float64, len(at)*len(at))
	for a, j := range at {
		v[a] = u[j]
		for b, k := range at {
			part[a*len(at)+b] = m[j*size+k]
		}
	}
	return covariates.ChiSquareTest(name, v, part)
}

// timeAt returns g at every slot, less its mean over events, which the test does not depend on.
func (f *Fit) timeAt(scale TimeScale) ([]float64, error) {
	p := f.partial
	g, err := f.timeOf(scale)
	if err != nil {
		return nil, err
	}
	out, sum := make([]float64, p.slots.n), 0.0
	for k, tick := range p.slots.tick {
		if tick >= 0 {
			out[k] = g(tick)
			sum += float64(float64(p.deaths[k]) * out[k])
		}
	}
	for k := range out {
		if out[k] -= sum / float64(f.Events); math.IsInf(out[k], 0) || math.IsNaN(out[k]) {
			return nil, fmt.Errorf("an event at time 0 has no %v; test along another scale of time", scale)
		}
	}
	return out, nil
}

func (f *Fit) timeOf(scale TimeScale) (func(tick int32) float64, error) {
	d := f.partial.data
	switch scale {
	case PlainTime:
		return d.time, nil
	case LogTime:
		return func(tick int32) float64 { return math.Log(d.time(tick)) }, nil
	}
	counts, err := f.pooled()
	if err != nil {
		return nil, err
	}
	table := counts.LifeTable(0)
	value := make([]float64, len(table.Time)) // at each time of leaving, which events are
	if scale == FailedShare {
		for row, s := range counts.ProductLimit(0, 1).Survival {
			if row+1 < len(value) {
				value[row+1] = 1 - s
			}
		}
	} else {
		before := 0.0
		for row := range value {
			here := 0.0
			for cause := range table.Causes + 1 {
				here += float64(table.Left[row*(table.Causes+1)+cause])
			}
			value[row] = before + (here+1)/2
			before += here
		}
	}
	return func(tick int32) float64 { return value[find(table.Time, float64(tick))] }, nil
}

// pooled counts all rows in one stratum, the cause of the model as cause 1 and the others as
// censored; times are ticks.
func (f *Fit) pooled() (*survival.Counts, error) {
	d := f.partial.data
	cause := make([]uint8, len(d.Cause))
	for i := range cause {
		if d.Cause[i] == f.Cause {
			cause[i] = 1
		}
	}
	return survival.Count(survival.Data{Entry: d.Entry, Exit: d.Exit, Cause: cause})
}
