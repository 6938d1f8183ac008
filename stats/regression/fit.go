package regression

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
)

// Fit is a fitted model; effects and tests are those of covariates.Fit. Its last coefficient is
// the constant: the predictor of someone with 0 in every column and offset. Events are rows with
// the outcome, or the sum of counts.
type Fit struct {
	covariates.Fit
	likelihood *likelihood
	ascent     *covariates.Ascent
}

// Logistic fits the log odds of the outcome: log(π/(1−π)) = constant + offset + Σ β_j x_j. The
// error names the first row that cannot be used; whatever keeps estimates from existing is a
// Status of the fit.
//
// Time is linear in the rows and quadratic in the columns; memory beyond the data is at
// most 32 bytes a row.
func Logistic(d Data, columns []covariates.Column, o Options) (*Fit, error) {
	return fit(logistic, d, columns, o)
}

// Poisson fits the log of the mean of a count: log μ = constant + offset + Σ β_j x_j; with the log
// of time at risk as offset coefficients are log ratios of rates. Counts that vary more than
// Poisson's ask for Options.Robust.
func Poisson(d Data, columns []covariates.Column, o Options) (*Fit, error) {
	return fit(poisson, d, columns, o)
}

func fit(k kind, d Data, columns []covariates.Column, o Options) (*Fit, error) {
	if err := d.check(k); err != nil {
		return nil, err
	}
	clusters, err := covariates.GroupRows(d.Cluster, len(d.Outcome))
	if err != nil {
		return nil, err
	}
	design, err := covariates.NewDesign(columns, len(d.Outcome), true)
	if err != nil {
		return nil, err
	}
	f := &Fit{likelihood: newLikelihood(k, d, design, o.Penalised)}
	f.Fit = *covariates.NewFit(design, 0, 0)
	f.Penalised = o.Penalised
	if !f.possible(o) {
		return f, nil
	}
	f.climb(o)
	if f.Status == covariates.Converged && (d.Cluster != nil || o.Robust) {
		f.addRobust(clusters)
	}
	return f, nil
}

// possible counts rows and events and says if there are too few.
func (f *Fit) possible(o Options) bool {
	l, events, others, slopes := f.likelihood, 0.0, 0, len(f.Names)-1
	for i, y := range l.data.Outcome {
		if l.data.weight(i) > 0 {
			f.N++
			events += y
			if y == 0 {
				others++
			}
		}
	}
	f.Events = int(events)
	fewer := f.Events
	if l.kind == logistic {
		fewer = min(fewer, others)
	}
	switch {
	case f.N == 0:
		f.Refuse(covariates.NoRows, "there are no rows (of a weight above 0)")
	case fewer == 0 && f.Events == 0:
		f.Refuse(covariates.NoEvents, fmt.Sprintf("none of %d rows has the event", f.N))
	case fewer == 0:
		f.Refuse(covariates.NoEvents, fmt.Sprintf("all of %d rows have the event", f.N))
	case slopes > fewer && !o.Penalised:
		f.Refuse(covariates.TooFewEvents, fmt.Sprintf(
			"%d coefficients and %d rows with the rarer outcome: leave columns out, merge levels or use the penalised likelihood", slopes, fewer))
	default:
		return true
	}
	return false
}

// climb fits the constant alone, which is the model to compare with, and goes on from there.
func (f *Fit) climb(o Options) {
	l := f.likelihood
	p := l.design.Size()
	steps := o.Steps
	if o.Penalised && steps == 0 {
		steps = penalisedSteps
	}
	start := make([]float64, p)
	start[p-1] = l.guess()
	var null *covariates.Ascent
	if o.Penalised {
		// The penalty is that of all columns, also where their coefficients are 0.
		hold := make([]bool, p)
		for j := range p - 1 {
			hold[j] = true
		}
		null = covariates.Maximise(l.design, l, covariates.Start{Beta: start, Hold: hold, Steps: steps})
	} else {
		null = l.alone(start[p-1], steps)
	}
	if null.Status != covariates.Converged {
		f.Take(l.design, null)
		return
	}
	start[p-1] = null.Beta[len(null.Beta)-1]
	f.ascent = covariates.Maximise(l.design, l, covariates.Start{Beta: start, Steps: steps})
	f.Take(l.design, f.ascent)
	if f.Status == covariates.Separated {
		f.Reason += covariates.OneSided(l.design, f.AtFault, l.kind == logistic, func(i int) (bool, bool) {
			return l.data.weight(i) > 0, l.data.Outcome[i] > 0
		}) + ". Merge levels, leave the column out or use the penalised likelihood"
	}
}

// penalisedSteps is more than the usual number, because the information alone is not the curvature
// of the penalised likelihood: steps fall by a factor instead of squaring.
const penalisedSteps = 500

// addRobust sets the variance that is the sum over clusters of squared scores, w (y − mean) z.
//
// Sources: White, Econometrica 50 (1982) 1–25; Liang & Zeger, Biometrika 73 (1986) 13–22. There is
// no small-sample factor.
func (f *Fit) addRobust(clusters *covariates.Clusters) {
	l := f.likelihood
	if l.data.Cluster != nil {
		f.Clusters = clusters.Count
	}
	meat := clusters.Outer(l.design.Size(), func(row int, out []float64) {
		r := l.data.weight(row) * (l.data.Outcome[row] - l.fitted[row])
		for j := range out {
			out[j] = r * l.design.At(row, j)
		}
	})
	f.TakeRobust(l.design, f.ascent, meat)
}

// Profile returns a coefficient with the interval of its profile likelihood, which holds better
// than Effect in small data; use it with the penalised likelihood. A limit that does not exist is
// −Inf or +Inf. It knows of no clusters, and is not for the constant.
func (f *Fit) Profile(j int, level float64) covariates.Effect {
	e := f.Effect(j, level)
	if f.Status == covariates.Converged {
		e.Lower, e.Upper = covariates.Profile(f.likelihood.design, f.likelihood, f.ascent, j, level)
	}
	return e
}

// Fitted returns the fitted chance or mean of every row.
func (f *Fit) Fitted() ([]float64, error) {
	if f.Status != covariates.Converged {
		return nil, fmt.Errorf("the model has no estimates (%v): %s", f.Status, f.Reason)
	}
	return append([]float64(nil), f.likelihood.fitted...), nil
}

// Predict returns the predictor for some values of the columns with its interval, and Mean turns
// its estimate and limits into chances or means.
func (f *Fit) Predict(values []float64, offset, level float64) (covariates.Effect, error) {
	if len(values) != len(f.Names)-1 {
		return covariates.Effect{}, fmt.Errorf("%d values for %d columns", len(values), len(f.Names)-1)
	}
	e := f.Combine(append(append([]float64(nil), values...), 1), level)
	e.Name = "predictor"
	if e.Status == covariates.Converged {
		e.Estimate, e.Lower, e.Upper = e.Estimate+offset, e.Lower+offset, e.Upper+offset
	}
	return e, nil
}

// Mean returns the chance, or mean count, that belongs to a predictor.
func (f *Fit) Mean(predictor float64) float64 {
	if f.likelihood.kind == poisson {
		return math.Exp(predictor)
	}
	return 1 / (1 + math.Exp(-predictor))
}
