package hazards

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/dist"
	"deltoid/stats/survival"
)

// Piece is one stretch of time with a hazard of its own.
type Piece struct {
	From, To float64 // To is +Inf for the last
	// Time is the time at risk of all rows in the stretch, and Events (as rows and as weights)
	// what happened in it.
	Time   float64
	Events int
	Mass   float64
	// Rate is the hazard of someone with 0 in every column; without columns it is Mass/Time. Status
	// is NoEvents where there were none: Rate is then 0 and Upper still holds without columns.
	Rate, Lower, Upper float64
	Level              float64
	Status             survival.Status
	variance           []float64 // mean of the columns, for the variance of a prediction
}

// Piecewise is a model in which hazards are constant between given times and ratios of hazards
// throughout.
type Piecewise struct {
	covariates.Fit
	Cause  uint8
	Pieces []Piece
	last   float64
	model  *piecewise
}

// FitPiecewise fits hazards that change at the cuts, which ascend and lie above 0, and the log hazard
// ratios of the columns. Without columns limits of rates are exact ones of a Poisson count (in data
// without weights); with columns they rest on a normal log rate. Weights, offsets, late entries
// and clusters are taken into account, the latter for the coefficients; strata are refused.
//
// Sources: Holford, Biometrics 36 (1980) 299–305; Friedman, Ann. Stat. 10 (1982) 101–113.
func FitPiecewise(d Data, cause uint8, columns []covariates.Column, cuts []float64, level float64) (*Piecewise, error) {
	if err := checkParametric(d, cause); err != nil {
		return nil, err
	}
	if err := survival.CheckLevel(level, survival.LogLog); err != nil {
		return nil, err
	}
	for i, c := range cuts {
		if !(c > 0) || math.IsInf(c, 0) || i > 0 && c <= cuts[i-1] {
			return nil, fmt.Errorf("cuts %v are to ascend from above 0", cuts)
		}
	}
	design, err := covariates.NewDesign(columns, len(d.Exit), false)
	if err != nil {
		return nil, err
	}
	f := &Piecewise{Cause: cause, model: newPiecewise(d, cause, design, cuts)}
	f.Fit = *covariates.NewFit(design, 0, 0)
	f.count(cuts, level)
	if !enough(&f.Fit, len(columns)+1) {
		return f, nil
	}
	a := covariates.Maximise(design, f.model, covariates.Start{})
	f.Take(design, a)
	if f.Status != covariates.Converged {
		return f, nil
	}
	f.rates(a, level)
	return f, f.cluster(a)
}

func (f *Piecewise) count(cuts []float64, level float64) {
	m := f.model
	f.Pieces = make([]Piece, len(cuts)+1)
	for k := range f.Pieces {
		p := &f.Pieces[k]
		p.To, p.Level = math.Inf(1), level
		if k > 0 {
			p.From = cuts[k-1]
		}
		if k < len(cuts) {
			p.To = cuts[k]
		}
	}
	for i := range m.data.Exit {
		w := m.data.weight(i)
		if w == 0 {
			continue
		}
		f.N++
		f.last = max(f.last, m.data.time(m.data.Exit[i]))
		m.stretches(i, func(k int, time float64) { f.Pieces[k].Time += float64(w * time) })
		if k := m.piece[i]; k >= 0 {
			f.Events++
			f.Pieces[k].Events++
			f.Pieces[k].Mass += w
		}
	}
}

// rates turns the sums of the fit into hazards.
func (f *Piecewise) rates(a *covariates.Ascent, level float64) {
	m, z := f.model, dist.NormalSpread(level)
	v, size := f.Model, len(f.Names)
	shift := 0.0
	for j, b := range f.Coefficient {
		shift += float64(b * m.design.Centre(j))
	}
	for k := range f.Pieces {
		p := &f.Pieces[k]
		if p.Events == 0 {
			p.Status = survival.NoEvents
			if size == 0 && p.Time > 0 && m.data.Weight == nil && m.data.Offset == nil {
				_, upper := dist.PoissonLimits(0, level)
				p.Upper = upper / p.Time
			}
			continue
		}
		p.Rate = m.mass[k] / m.s0[k] * math.Exp(-shift)
		if size == 0 && m.data.Weight == nil && m.data.Offset == nil {
			lower, upper := dist.PoissonLimits(int64(p.Events), level)
			p.Lower, p.Upper = lower/p.Time, upper/p.Time
			continue
		}
		p.variance = make([]float64, size) // of log rate at x = 0: 1/events + x̄ᵀVx̄
		square := 1 / float64(p.Events)
		for j := range size {
			p.variance[j] = m.s1[k*size+j]/m.s0[k]/m.design.Scale(j) + m.design.Centre(j)
		}
		for j, x := range p.variance {
			for l, y := range p.variance {
				square += float64(x * v[j*size+l] * y)
			}
		}
		half := z * math.Sqrt(square)
		p.Lower, p.Upper = p.Rate*math.Exp(-half), p.Rate*math.Exp(half)
	}
}

func (f *Piecewise) cluster(a *covariates.Ascent) error {
	m := f.model
	if m.data.Cluster == nil {
		return nil
	}
	clusters, err := covariates.GroupRows(m.data.Cluster, len(m.risk))
	if err != nil {
		return err
	}
	f.Clusters = clusters.Count
	f.TakeRobust(m.design, a, clusters.Outer(m.design.Size(), m.score))
	return nil
}

// Survival returns the probability of being free of the event at time t for someone with the given
// values of the columns. Beyond the last exit the hazard of the last piece goes on.
func (f *Piecewise) Survival(values []float64, t, level float64) (Extrapolation, error) {
	if f.Status != covariates.Converged {
		return Extrapolation{}, fmt.Errorf("the model has no estimates (%v): %s", f.Status, f.Reason)
	}
	if len(values) != len(f.Names) {
		return Extrapolation{}, fmt.Errorf("%d values for %d columns", len(values), len(f.Names))
	}
	if err := survival.CheckLevel(level, survival.LogLog); err != nil {
		return Extrapolation{}, err
	}
	if !(t >= 0) || math.IsInf(t, 0) {
		return Extrapolation{}, fmt.Errorf("time %v, want 0 or more", t)
	}
	eta, hazard, square := 0.0, 0.0, 0.0
	for j, b := range f.Coefficient {
		eta += float64(b * values[j])
	}
	drift := make([]float64, len(values))
	for _, p := range f.Pieces {
		if p.Events == 0 || t <= p.From {
			continue
		}
		part := p.Rate * math.Exp(eta) * (min(t, p.To) - p.From)
		hazard += part
		square += part * part / float64(p.Events)
		for j := range drift {
			mean := 0.0
			if p.variance != nil {
				mean = p.variance[j]
			}
			drift[j] += float64(part * (values[j] - mean))
		}
	}
	for j, x := range drift {
		for k, y := range drift {
			square += float64(x * f.Variance()[j*len(drift)+k] * y)
		}
	}
	if hazard == 0 {
		return Extrapolation{survival.Point{T: t, Value: 1, Level: level, Scale: survival.LogLog, Status: survival.NoEvents, Limits: survival.NoEvents}, t > f.last}, nil
	}
	return Extrapolation{logLogPoint(math.Log(hazard), math.Sqrt(square)/hazard, t, level), t > f.last}, nil
}
