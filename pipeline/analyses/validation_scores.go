package analyses

import (
	"fmt"
	"math"

	"deltoid/pipeline/report"
	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
)

// restsOnAll are the counts that every score rests on.
func (s *checked) restsOnAll() []string {
	if s.why != "" {
		return []string{s.usedID()}
	}
	return []string{s.usedID(), s.eventID(), s.id("shoulders", "followed-through")}
}

// score records one number of the validation; fill gives it its value.
func (s *checked) score(slug, measure, unit, method string, fill func(e *report.Estimate)) string {
	e := s.followed.at(s.estimatedIn(s.id(slug), "", measure, unit), s.asked.Horizon)
	e.Method = method
	if s.why == "" {
		e.Events = report.Some(float64(s.v.Events))
		fill(&e)
	} else {
		e.Events = report.Optional{}
		e.Status, e.Note = report.NotIdentifiable, s.why
	}
	s.derivedFrom(s.add(e), s.restsOnAll()...)
	return e.ID
}

// effectScore fills in a coefficient of the recalibration.
func effectScore(e *report.Estimate, x covariates.Effect) {
	if x.Status != covariates.Converged {
		e.Status, e.Note = report.NotIdentifiable, "the predicted risks do not differ enough to say"
		return
	}
	e.Value, e.Lower, e.Upper, e.Level = report.Some(x.Estimate), finite(x.Lower), finite(x.Upper), report.Some(x.Level)
}

// scores records every number of the validation.
func (s *checked) scores() {
	number := func(x func() float64) func(e *report.Estimate) {
		return func(e *report.Estimate) { e.Value = report.Some(x()) }
	}
	s.score("observed", "observed risk", report.UnitProbability, s.observedMethod(), func(e *report.Estimate) { s.settlePoint(e, s.v.Observed) })
	s.score("expected", "mean predicted risk", report.UnitProbability, "mean of the predicted risks", number(func() float64 { return s.v.Expected }))
	s.score("observed-by-expected", "observed by predicted risk", report.UnitRatio, "ratio, interval of the log of the observed risk", func(e *report.Estimate) {
		e.Value, e.Lower, e.Upper, e.Level = report.Some(s.v.Ratio), finite(s.v.RatioLower), finite(s.v.RatioUpper), report.Some(s.asked.Level)
	})
	weights := ", each shoulder weighted by the inverse of its probability of staying under observation"
	s.score("intercept", "calibration intercept", report.UnitLogRatio, "logistic, slope held at 1"+weights+", robust variance", func(e *report.Estimate) { effectScore(e, s.v.Intercept) })
	s.score("slope", "calibration slope", report.UnitRatio, "logistic"+weights+", robust variance", func(e *report.Estimate) { effectScore(e, s.v.Slope) })
	curve := func(x func() float64) func(e *report.Estimate) {
		return func(e *report.Estimate) {
			if s.v.CurveStatus != covariates.Converged {
				e.Status, e.Note = report.NotIdentifiable, "no smooth curve can be drawn through the risks; they are too few, or too often the same"
				return
			}
			e.Value = report.Some(x())
		}
	}
	s.score("ici", "integrated calibration index", report.UnitScore, "mean distance of the smooth curve from the line of agreement", curve(func() float64 { return s.v.ICI }))
	s.score("e50", "median distance of calibration", report.UnitScore, "median of that distance", curve(func() float64 { return s.v.Median }))
	s.score("e90", "ninth decile of the distance of calibration", report.UnitScore, "ninth decile of that distance", curve(func() float64 { return s.v.Ninth }))
	s.score("brier", "Brier score", report.UnitScore, "mean squared distance"+weights, number(func() float64 { return s.v.Brier }))
	s.score("brier-null", "Brier score of giving everybody the observed risk", report.UnitScore, "mean squared distance"+weights, number(func() float64 { return s.v.Null }))
	s.score("brier-scaled", "scaled Brier score", report.UnitScore, "1 − Brier score / that of giving everybody the observed risk", number(func() float64 { return s.v.Scaled }))
	s.score("auc", "area under the curve at the horizon", report.UnitProbability, "cases against those free of the endpoint at the horizon"+weights, func(e *report.Estimate) {
		s.between(e, s.v.AUC, s.v.AUCSE)
	})
	s.score("concordance", "concordance up to the horizon", report.UnitProbability, "Harrell's, infinitesimal jackknife", func(e *report.Estimate) {
		if s.v.Concordance.Status != covariates.Converged {
			e.Status, e.Note = report.NotIdentifiable, "no two shoulders can be put into the order of their events"
			return
		}
		s.settleConcordance(e, s.v.Concordance)
	})
	s.correctedScores()
}

func (s *checked) between(e *report.Estimate, x, se float64) {
	half := s.spread() * se
	e.Value, e.Lower, e.Upper, e.Level = report.Some(x), report.Some(max(0, x-half)), report.Some(min(1, x+half)), report.Some(s.asked.Level)
}

// correctedScores records what the model appears to do, by how much that is too good, and what is left.
func (s *checked) correctedScores() {
	if !s.corrected() {
		return
	}
	how := fmt.Sprintf("bootstrap of %s, %d samples, seed %d", s.sampled(), s.o.Replicates, s.asked.Seed)
	for _, c := range corrections {
		for _, part := range []struct {
			slug, words string
			p           hazards.Performance
		}{{"apparent", "apparent", s.o.Apparent}, {"optimism", "optimism", s.o.Optimism}, {"corrected", "corrected for optimism", s.o.Corrected}} {
			unit := c.unit
			if part.slug == "optimism" && unit == report.UnitProbability {
				unit = report.UnitDifference
			}
			s.score(part.slug+"."+c.slug, c.measure+", "+part.words, unit, how, func(e *report.Estimate) {
				if x := c.of(part.p); !math.IsNaN(x) {
					e.Value = report.Some(x)
				} else {
					e.Status, e.Note = report.NotIdentifiable, "it cannot be told in the samples"
				}
			})
		}
	}
	s.countedIn(s.id("samples"), "", "samples of the bootstrap", s.o.Replicates, "samples")
	s.countedIn(s.id("samples-failed"), "", "samples in which the model had no estimates", s.o.Failed, "samples")
}

// corrected says whether the optimism was taken off.
func (s *checked) corrected() bool {
	return s.why == "" && s.o != nil && s.o.Status == covariates.Converged
}
