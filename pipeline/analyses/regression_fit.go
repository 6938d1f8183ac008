package analyses

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/regression"
	"deltoid/stats/survival"
)

// modelData is the rows that a model is fitted to.
type modelData struct {
	entry, exit      []int32
	cause            []uint8
	stratum, patient []int32
	causes           int
}

// fitted is a fitted model of either kind, or why there is none.
type fitted struct {
	*covariates.Fit
	terms     []*term
	hazard    *hazards.Fit                  // of a model of the hazard
	incidence *competing.SubdistributionFit // of a model of the cumulative incidence
	outcome   *regression.Fit               // of a model of odds or of a rate
	status    report.Status
	why       string // the model has no estimates
}

// profile is the interval of the profile likelihood, for which a penalised fit is asked.
func (f *fitted) profile(column int, level float64) covariates.Effect {
	if f.outcome != nil {
		return f.outcome.Profile(column, level)
	}
	return f.hazard.Profile(column, level)
}

// fitModels fits the model with all terms, and that of each by itself to the same rows.
func (s *modelled) fitModels() (err error) {
	if s.fit, err = s.fitTerms(s.terms); err != nil {
		return err
	}
	for _, t := range s.terms {
		var alone *fitted
		switch {
		case t.between[0] != nil:
		case len(s.terms) == 1:
			alone = s.fit
		default:
			if alone, err = s.fitTerms([]*term{t}); err != nil {
				return err
			}
		}
		s.alone = append(s.alone, alone)
	}
	return nil
}

// fitTerms fits a model with some of the terms.
func (s *modelled) fitTerms(terms []*term) (*fitted, error) {
	f := &fitted{terms: terms, status: report.Estimated}
	var columns []covariates.Column
	for _, t := range terms {
		if t.fault != "" && f.why == "" {
			f.status, f.why = report.NotIdentifiable, t.fault
		}
		columns = append(columns, t.columns...)
	}
	if s.needsStart() && slices.ContainsFunc(s.data.entry, func(day int32) bool { return day > s.asked.Groups.Landmark }) {
		f.status = report.NotIdentifiable
		f.why = "some shoulders came under observation late, for which " + s.modelWithArticle() + " has no answer; ask for the model of the hazard"
	}
	if f.why != "" {
		return f, nil
	}
	if err := s.maximise(f, columns); err != nil {
		return nil, fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	f.status, f.why = s.verdict(f)
	return f, nil
}

// maximise fits the columns.
func (s *modelled) maximise(f *fitted, columns []covariates.Column) error {
	switch {
	case s.asked.Model == plan.IncidenceModel:
		d := survival.Data{Exit: s.data.exit, Cause: s.data.cause, Cluster: s.cluster(), Causes: s.data.causes, Groups: 1}
		fit, err := competing.Subdistribution(d, 1, columns, competing.SubdistributionOptions{})
		if err == nil {
			f.incidence, f.Fit = fit, &fit.Fit
		}
		return err
	case s.ofOutcome():
		return s.maximiseOutcome(f, columns)
	}
	fit, err := hazards.Cox(s.hazardData(), 1, columns, s.hazardOptions())
	if err == nil {
		f.hazard, f.Fit = fit, &fit.Fit
	}
	return err
}

// cluster says whose row each is, where that matters.
func (s *modelled) cluster() []int32 {
	if !s.clustered {
		return nil
	}
	return s.data.patient
}

func (s *modelled) hazardData() hazards.Data {
	return hazards.Data{Entry: s.data.entry, Exit: s.data.exit, Cause: s.data.cause, Stratum: s.data.stratum, Cluster: s.cluster()}
}

func (s *modelled) hazardOptions() hazards.Options {
	return hazards.Options{Ties: tiesOf(s.asked.Ties), Penalised: s.asked.Penalised}
}

func tiesOf(t plan.Ties) hazards.Ties {
	switch t {
	case plan.BreslowTies:
		return hazards.Breslow
	case plan.ExactTies:
		return hazards.ExactPartial
	default:
		return hazards.Efron
	}
}

// verdict says whether a fit has estimates, and if not, of what that comes and what can be done. It gives no counts, which
// might be small.
func (s *modelled) verdict(f *fitted) (report.Status, string) {
	switch f.Fit.Status {
	case covariates.Converged:
		return report.Estimated, ""
	case covariates.NoRows:
		return report.NotIdentifiable, "no shoulder has a value in every characteristic of the model; leave out those that are often missing"
	case covariates.NoEvents:
		if s.events > 0 {
			return report.NotIdentifiable, "every shoulder used has the outcome, so there is nothing to tell apart"
		}
		return report.NoEvents, "no shoulder used has " + s.whatWord() + ", so there is nothing to model"
	case covariates.TooFewEvents:
		if s.asked.Model == plan.OddsModel {
			return report.NotIdentifiable, "there are more coefficients than shoulders with the rarer outcome; leave characteristics out, or merge levels" + s.penaltyRemedy()
		}
		return report.NotIdentifiable, "there are more coefficients than events; leave characteristics out, or merge levels"
	case covariates.Separated:
		return report.NotIdentifiable, "the ratio of " + s.endless(f) + " has no end; merge levels, leave it out" + s.penaltyRemedy()
	case covariates.LimitReached:
		return report.NotConverged, f.Reason + "; use fewer characteristics, or measure them in larger units"
	default:
		return report.NotIdentifiable, f.Reason
	}
}

// endless names the columns whose estimates run away, and the level without an event that makes them.
func (s *modelled) endless(f *fitted) string {
	var words []string
	for _, t := range f.terms {
		at := slices.ContainsFunc(t.columns, func(c covariates.Column) bool { return slices.Contains(f.AtFault, c.Name) })
		if !at {
			continue
		}
		named := false
		for _, e := range t.effects {
			switch {
			case e.counted && e.events == 0:
				words, named = append(words, "“"+e.label+"” of "+inSentence(t.title)+", where nobody has "+s.whatWord()+","), true
			case e.counted && s.asked.Model == plan.OddsModel && e.events == e.n:
				words, named = append(words, "“"+e.label+"” of "+inSentence(t.title)+", where everybody has "+s.whatWord()+","), true
			}
		}
		for _, c := range t.columns {
			if !named && slices.Contains(f.AtFault, c.Name) {
				words = append(words, c.Name)
			}
		}
	}
	if len(words) == 0 {
		words = f.AtFault
	}
	return strings.Join(words, " and ")
}

func (s *modelled) penaltyRemedy() string {
	if s.asked.Model == plan.IncidenceModel {
		return ", or ask for the model of the hazard with \"penalised: true\""
	}
	return ", or ask for the penalised likelihood (\"penalised: true\")"
}

// effectOf returns the effect of a row of a term in a model; of a penalised one with the interval of its profile likelihood
// where the row is one coefficient.
func (s *modelled) effectOf(f *fitted, t *term, row effect) covariates.Effect {
	weights := make([]float64, len(f.Names))
	single, from := -1, 0
	for _, other := range f.terms {
		if other == t {
			for j, w := range row.weights {
				weights[from+j] = w
				if w != 0 {
					single = from + j
				}
			}
		}
		from += len(other.columns)
	}
	e := f.Combine(weights, s.asked.Level)
	alone := single >= 0
	for j, w := range weights {
		alone = alone && (w == 0 || j == single)
	}
	if s.asked.Penalised && alone && f.incidence == nil && f.Fit.Status == covariates.Converged {
		p, w := f.profile(single, s.asked.Level), weights[single]
		e.Lower, e.Upper = w*p.Lower, w*p.Upper
	}
	return e
}

// ratioOf fills in the ratio that an effect means. A limit at infinity is one that is not reached.
func ratioOf(e *report.Estimate, x covariates.Effect) {
	r, lower, upper := x.Ratio()
	e.Value, e.Level = report.Some(r), report.Some(x.Level)
	e.Lower, e.Upper = finite(lower), finite(upper)
}

func finite(x float64) report.Optional {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return report.Optional{}
	}
	return report.Some(x)
}
