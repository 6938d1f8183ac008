package hazards

import (
	"fmt"

	"deltoid/stats/covariates"
)

// Options are the choices of a Cox model; the zero value is the usual one.
type Options struct {
	Ties Ties
	// Penalised adds half the log determinant of the information to the log-likelihood: estimates
	// then exist whatever the data, and lose their bias with few events.
	Penalised bool
	// Robust asks for the variance from the rows, each a cluster of its own where the data have
	// no clusters. Data with clusters get it in any case.
	Robust bool
	// Steps of Newton's method at most; 0 is covariates.DefaultSteps.
	Steps int
}

// Fit is a Cox model fitted to data; effects and tests are those of covariates.Fit, the
// coefficients being log hazard ratios. Its methods share memory and are not for several goroutines
// at once.
type Fit struct {
	covariates.Fit
	Ties    Ties
	Cause   uint8
	Strata  int
	partial *partial
	goal    covariates.Objective
	ascent  *covariates.Ascent
}

// Cox fits the hazard of one cause, events of other causes ending observation like a censoring:
//
//	h(t | x) = h_stratum(t) exp(offset + Σ β_j x_j)
//
// The error is a *covariates.RowError for the first row that cannot be used, or says which
// columns do not fit together. Whatever keeps estimates from existing is a Status of the fit.
//
// Time is linear in the rows (but for ExactPartial), quadratic in the columns; memory beyond the
// data is at most 64 bytes a row. Sources: Cox, J. R. Stat. Soc. B 34 (1972) 187–220; strata,
// weights and start–stop rows as in Therneau & Grambsch, Modeling Survival Data (2000), chapter 3.
func Cox(d Data, cause uint8, columns []covariates.Column, o Options) (*Fit, error) {
	last, strata, err := d.check(cause)
	if err != nil {
		return nil, err
	}
	if o.Ties > ExactPartial {
		return nil, fmt.Errorf("there is no method %d for ties", o.Ties)
	}
	design, err := covariates.NewDesign(columns, len(d.Exit), false)
	if err != nil {
		return nil, err
	}
	f := &Fit{Ties: o.Ties, Cause: cause, Strata: strata}
	f.Fit = *covariates.NewFit(design, 0, 0)
	if err := f.start(d, design, o, newSlots(d, cause, last, strata)); err != nil {
		return nil, err
	}
	if !f.possible(o) {
		return f, nil
	}
	if f.climb(o); f.Status != covariates.Converged {
		return f, nil
	}
	if d.Cluster != nil || o.Robust {
		return f, f.addRobust()
	}
	return f, nil
}

func (f *Fit) start(d Data, design *covariates.Design, o Options, s *slots) error {
	f.partial = newPartial(d, f.Cause, o.Ties, design, s)
	for i := range d.Exit {
		if d.weight(i) > 0 {
			f.N++
		}
	}
	for _, n := range f.partial.deaths {
		f.Events += int(n)
	}
	if o.Ties == ExactPartial {
		return f.partial.checkExact(o)
	}
	return nil
}

// possible reports whether there is enough to estimate anything, and if not says so.
func (f *Fit) possible(o Options) bool {
	p := len(f.Names)
	switch {
	case f.N == 0:
		f.Refuse(covariates.NoRows, "there are no rows (of a weight above 0)")
	case f.Events == 0:
		f.Refuse(covariates.NoEvents, fmt.Sprintf("none of %d rows has the event", f.N))
	case p > f.Events && !o.Penalised:
		f.Refuse(covariates.TooFewEvents, fmt.Sprintf(
			"%d coefficients and %d events: leave columns out, merge levels or use the penalised likelihood", p, f.Events))
	default:
		return true
	}
	return false
}

func (f *Fit) climb(o Options) {
	f.goal = f.partial
	switch {
	case o.Ties == ExactPartial:
		f.goal = newExact(f.partial)
	case o.Penalised:
		f.goal = newPenalised(f.partial)
		f.Penalised = true
		if o.Steps == 0 {
			o.Steps = penalisedSteps
		}
	}
	f.ascent = covariates.Maximise(f.partial.design, f.goal, covariates.Start{Steps: o.Steps})
	f.Take(f.partial.design, f.ascent)
	if f.Status == covariates.Separated {
		f.Reason += covariates.OneSided(f.partial.design, f.AtFault, false, func(i int) (bool, bool) {
			return f.partial.data.weight(i) > 0, f.partial.event(i)
		}) + ". Merge levels, leave the column out or use the penalised likelihood"
	}
}

// Profile returns a coefficient with the interval of its profile likelihood, which holds better
// than Effect where there are few events; use it with the penalised likelihood. A limit that does
// not exist is −Inf or +Inf. It knows of no clusters.
func (f *Fit) Profile(j int, level float64) covariates.Effect {
	e := f.Effect(j, level)
	if f.Status == covariates.Converged {
		e.Lower, e.Upper = covariates.Profile(f.partial.design, f.goal, f.ascent, j, level)
	}
	return e
}

// penalisedSteps is more than the usual number, because the information alone is not the curvature
// of the penalised likelihood: steps fall by a factor instead of squaring.
const penalisedSteps = 500
