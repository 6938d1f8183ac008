package hazards

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/survival"
)

// Weibull is a Weibull model fitted to data:
//
//	S(t | x) = exp(−t^k e^{constant + Σ β_j x_j})
//
// so that coefficients are log hazard ratios and the hazard rises (k > 1), stays (k = 1) or falls
// (k < 1) as a power of time. The last two coefficients are the constant and log k.
type Weibull struct {
	covariates.Fit
	Cause uint8
	last  float64 // largest exit
	unit  float64 // of time in the fit
	model *weibull
}

// LogShape is the name of log k among the coefficients.
const LogShape = "log shape"

// FitWeibull fits the model to one cause, events of other causes ending observation. Late entries,
// weights and offsets are taken into account, and clusters by the robust variance; strata are
// refused, and so are rows that end at time 0, of which the model knows nothing.
//
// Source: Kalbfleisch & Prentice, The Statistical Analysis of Failure Time Data (1980), section 3.
func FitWeibull(d Data, cause uint8, columns []covariates.Column) (*Weibull, error) {
	if err := checkParametric(d, cause); err != nil {
		return nil, err
	}
	design, err := covariates.NewDesign(columns, len(d.Exit), true)
	if err != nil {
		return nil, err
	}
	design.Extra = []string{LogShape}
	f := &Weibull{Cause: cause}
	f.Fit = *covariates.NewFit(design, 0, 0)
	f.model, f.unit = newWeibull(d, cause, design)
	events := 0.0
	for i := range d.Exit {
		if d.weight(i) > 0 {
			f.N++
			events += f.model.event[i]
			f.last = max(f.last, d.time(d.Exit[i]))
		}
	}
	f.Events = int(events)
	if !enough(&f.Fit, len(columns)+1) {
		return f, nil
	}
	if err := f.climb(d); err != nil {
		return nil, err
	}
	return f, nil
}

func checkParametric(d Data, cause uint8) error {
	if _, _, err := d.check(cause); err != nil {
		return err
	}
	if d.Stratum != nil {
		return fmt.Errorf("a parametric model has no strata; make the stratum a covariate")
	}
	for i, t := range d.Exit {
		if d.time(t) == 0 && d.weight(i) > 0 {
			return &covariates.RowError{Row: i, Column: "Exit", Found: "0", Want: "a time above 0"}
		}
	}
	return nil
}

// enough refuses data with fewer events than parameters that events speak for.
func enough(f *covariates.Fit, parameters int) bool {
	switch {
	case f.N == 0:
		f.Refuse(covariates.NoRows, "there are no rows (of a weight above 0)")
	case f.Events == 0:
		f.Refuse(covariates.NoEvents, fmt.Sprintf("none of %d rows has the event", f.N))
	case f.Events < parameters:
		f.Refuse(covariates.TooFewEvents, fmt.Sprintf("%d parameters and %d events: leave columns out or merge levels", parameters, f.Events))
	default:
		return true
	}
	return false
}

// climb fits constant and shape alone first, which is the model to compare with.
func (f *Weibull) climb(d Data) error {
	m, p := f.model, f.model.design.Size()
	hold, start := make([]bool, p), make([]float64, p)
	for j := range p - 2 {
		hold[j] = true
	}
	start[p-2] = math.Log(m.rate())
	null := covariates.Maximise(m.design, m, covariates.Start{Beta: start, Hold: hold})
	if null.Status != covariates.Converged {
		f.Take(m.design, null)
		return nil
	}
	a := covariates.Maximise(m.design, m, covariates.Start{Beta: null.Beta})
	f.Take(m.design, a)
	if f.Status != covariates.Converged {
		return nil
	}
	if d.Cluster != nil {
		clusters, err := covariates.GroupRows(d.Cluster, len(d.Exit))
		if err != nil {
			return err
		}
		f.Clusters = clusters.Count
		f.TakeRobust(m.design, a, clusters.Outer(p, m.score))
	}
	f.inUnits()
	return nil
}

// inUnits turns the constant from the unit of the fit to that of the data:
// constant − k log unit, and log-likelihoods by the log density.
func (f *Weibull) inUnits() {
	p := len(f.Names)
	k, log := math.Exp(f.Coefficient[p-1]), math.Log(f.unit)
	turn := make([]float64, p*p)
	for j := range p {
		turn[j*p+j] = 1
	}
	turn[(p-2)*p+p-1] = -k * log
	f.Coefficient[p-2] -= float64(k * log)
	f.Model = covariates.Sandwich(turn, f.Model, p)
	if f.Robust != nil {
		f.Robust = covariates.Sandwich(turn, f.Robust, p)
	}
	f.LogLikelihood -= float64(f.model.weightOfEvents() * log)
	f.NullLogLikelihood -= float64(f.model.weightOfEvents() * log)
}

// Extrapolation is a point of a parametric curve. Beyond says that it lies after the last exit: it
// then is what the model says, and nothing that was seen.
type Extrapolation struct {
	survival.Point
	Beyond bool
}

// Survival returns the probability of being free of the event at time t for someone with the
// given values of the columns, with an interval of the given level on the complementary log-log
// scale. Its AtRisk and Events are 0: a parametric curve does not rest on those of one time.
func (f *Weibull) Survival(values []float64, t, level float64) (Extrapolation, error) {
	if f.Status != covariates.Converged {
		return Extrapolation{}, fmt.Errorf("the model has no estimates (%v): %s", f.Status, f.Reason)
	}
	if len(values) != len(f.Names)-2 {
		return Extrapolation{}, fmt.Errorf("%d values for %d columns", len(values), len(f.Names)-2)
	}
	if err := survival.CheckLevel(level, survival.LogLog); err != nil {
		return Extrapolation{}, err
	}
	if !(t > 0) || math.IsInf(t, 0) {
		return Extrapolation{}, fmt.Errorf("time %v, want one above 0", t)
	}
	p := len(f.Names)
	k := math.Exp(f.Coefficient[p-1])
	// log cumulative hazard = constant + Σ β x + k log t; its derivative in log k is k log t.
	eta := f.Combine(append(append([]float64(nil), values...), 1, k*math.Log(t)), level)
	log := eta.Estimate + float64(k*math.Log(t)) - float64(f.Coefficient[p-1]*(k*math.Log(t)))
	return Extrapolation{logLogPoint(log, eta.SE, t, level), t > f.last}, nil
}

// logLogPoint makes a point from the log of a cumulative hazard.
func logLogPoint(log, se, t, level float64) survival.Point {
	h := math.Exp(log)
	p := survival.Point{T: t, Value: math.Exp(-h), Level: level, Scale: survival.LogLog}
	p.SE = p.Value * h * se
	if p.Value <= 0 || p.Value >= 1 || p.SE == 0 {
		p.Limits, p.SE = survival.AtBound, 0
		return p
	}
	p.Lower, p.Upper = p.Scale.Limits(p.Value, p.SE, level)
	return p
}
