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
// coefficients being log hazard ratios.
type Fit struct {
	covariates.Fit
	Ties    Ties
	Cause   uint8
	Strata  int
	partial *partial
	beta    []float64 // in the units of the design
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
	if err := f.climb(o); err != nil || f.Status != covariates.Converged {
		return f, err
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
		f.Refuse(covariates.TooFewEvents, fmt.Sprintf("%d coefficients and %d events: leave columns out, merge levels or use the penalised likelihood", p, f.Events))
	default:
		return true
	}
	return false
}

func (f *Fit) climb(o Options) error {
	var goal covariates.Objective = f.partial
	switch {
	case o.Ties == ExactPartial:
		goal = newExact(f.partial)
	case o.Penalised:
		goal = newPenalised(f.partial)
		f.Penalised = true
		if o.Steps == 0 {
			o.Steps = penalisedSteps
		}
	}
	a := covariates.Maximise(f.partial.design, goal, o.Steps)
	f.Take(f.partial.design, a)
	f.beta = a.Beta
	if f.Status == covariates.Separated {
		f.Reason += f.levels() + ". Merge levels, leave the column out or use the penalised likelihood"
	}
	return nil
}

// penalisedSteps is more than the usual number, because the information alone is not the curvature
// of the penalised likelihood: steps fall by a factor instead of squaring.
const penalisedSteps = 500

// levels says, for the columns at fault that hold two values, in which of them nobody has the
// event.
func (f *Fit) levels() (words string) {
	for _, name := range f.AtFault {
		for _, c := range f.partial.design.Columns {
			if c.Name == name {
				words += f.emptyLevel(c)
			}
		}
	}
	return words
}

func (f *Fit) emptyLevel(c covariates.Column) string {
	rows, events := map[float64]int{}, map[float64]int{}
	for i, x := range c.Values {
		if f.partial.data.weight(i) == 0 {
			continue
		}
		rows[x]++
		if f.partial.event(i) {
			events[x]++
		}
		if len(rows) > 2 {
			return ""
		}
	}
	for _, x := range c.Values {
		if n, seen := rows[x]; seen && events[x] == 0 {
			return fmt.Sprintf("; none of the %d rows with %s = %g has the event", n, c.Name, x)
		}
	}
	return ""
}
