package analyses

import (
	"strings"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/covariates"
)

func (s *modelled) allID() string   { return s.id("shoulders", "all") }
func (s *modelled) usedID() string  { return s.id("shoulders", "used") }
func (s *modelled) lostID() string  { return s.id("shoulders", "left-out") }
func (s *modelled) eventID() string { return s.id("events", "used") }
func (s *modelled) eachID() string  { return s.id("events-per-coefficient") }
func (s *modelled) noneID() string  { return s.id("no-difference") }

// effectID is the id of an estimate of one row of a term.
func (s *modelled) effectID(what string, t *term, e effect) string {
	if e.slug == "" {
		return s.id(what, t.slug)
	}
	return s.id(what, t.slug, e.slug)
}

// estimatedIn makes an estimate of this model that rests on all shoulders used.
func (s *modelled) estimatedIn(id, group, measure, unit string) report.Estimate {
	e := report.Estimate{ID: id, Analysis: s.asked.ID, Endpoint: s.endpoint.ID, Cohort: s.cohort.Name, Group: group, Measure: measure,
		Unit: unit, Status: report.Estimated, N: report.Some(float64(s.n)), Events: report.Some(float64(s.events)), Method: s.modelName()}
	if s.counts() {
		e.Events = report.Optional{} // there may be more events than shoulders
	}
	return e
}

// counts says whether the outcome is a count that a field holds.
func (s *modelled) counts() bool { return s.asked.Outcome != nil && s.asked.Model == plan.RateModel }

// countedIn records a count of shoulders or events.
func (s *modelled) countedIn(id, group, measure string, n int, unit string) string {
	e := report.Count(id, s.asked.ID, measure, n, unit)
	e.Cohort, e.Group = s.cohort.Name, group
	if unit != shoulders && unit != missingValues {
		e.Endpoint = s.endpoint.ID
	}
	return s.add(e)
}

// modelCounts records who is in the model, who is not and why, and the events of each level.
func (s *modelled) modelCounts() {
	all := 0
	for i := range s.episodes.Exit {
		if s.last(i) {
			all++
		}
	}
	s.countedIn(s.allID(), "", "shoulders followed", all, shoulders)
	s.countedIn(s.usedID(), "", "shoulders with every value of the model", s.n, shoulders)
	s.countedIn(s.lostID(), "", "shoulders left out because a value is missing", all-s.n-s.unseen, missingValues)
	if s.tellsUnknown() {
		s.countedIn(s.unknownID(), "", "shoulders left out: "+s.unknownWords(), s.unseen, shoulders)
		s.total(s.allID(), s.usedID(), s.lostID(), s.unknownID())
	} else {
		s.total(s.allID(), s.usedID(), s.lostID())
	}
	s.countedIn(s.eventID(), "", "events in the model", s.events, "events")
	for _, t := range s.terms {
		s.levelCounts(t)
	}
	e := s.estimatedIn(s.eachID(), "", "events for each coefficient", "per coefficient")
	e.Value, e.Method = report.Some(float64(s.events)/float64(max(1, s.coefficients()))), "events / coefficients"
	s.derivedFrom(s.add(e), s.eventID())
	e = s.estimatedIn(s.noneID(), "", s.ratioWords()+" of no difference", report.UnitRatio)
	e.Value, e.Method, e.N, e.Events = report.Some(1), "reference", report.Optional{}, report.Optional{}
	s.add(e)
}

func (s *modelled) coefficients() (n int) {
	for _, t := range s.terms {
		n += len(t.columns)
	}
	return n
}

// levelCounts records the shoulders and events of each level, and how many have no value.
func (s *modelled) levelCounts(t *term) {
	if t.between[0] != nil {
		return
	}
	missing := 0
	for i := range s.episodes.Exit {
		if s.last(i) && t.missing(i) {
			missing++
		}
	}
	s.countedIn(s.id("missing", t.slug), "", "missing: "+inSentence(t.title), missing, missingValues)
	var parts, events []string
	for _, e := range t.effects {
		if e.counted {
			parts = append(parts, s.countedIn(s.effectID("shoulders", t, e), e.label, "shoulders by "+inSentence(t.title), e.n, shoulders))
			events = append(events, s.countedIn(s.effectID("events", t, e), e.label, "events by "+inSentence(t.title), e.events, "events"))
		}
	}
	if len(parts) > 0 && s.episodes.Last == nil {
		s.total(s.usedID(), parts...)
	}
	if len(events) > 0 {
		s.total(s.eventID(), events...)
	}
}

func (s *modelled) total(whole string, parts ...string) { s.book.total(whole, parts...) }

func (s *modelled) derivedFrom(id string, from ...string) {
	s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: id, From: from})
}

// restsOn names the counts that an effect rests on: those of its level and of the reference.
func (s *modelled) restsOn(t *term, e effect) []string {
	var from []string
	for _, x := range t.effects {
		if x.counted && (x.slug == e.slug || x.reference) {
			from = append(from, s.effectID("shoulders", t, x), s.effectID("events", t, x))
		}
	}
	if len(from) == 0 {
		from = []string{s.usedID(), s.eventID()}
	}
	return from
}

// effects records the ratios of every term, adjusted and alone, with coefficients and p-values.
func (s *modelled) effects() {
	for i, t := range s.terms {
		for _, e := range t.effects {
			s.ratio(s.effectID("ratio", t, e), s.fit, t, e, s.ratioWords())
			if s.alone[i] != nil && len(s.terms) > 1 {
				s.ratio(s.effectID("unadjusted", t, e), s.alone[i], t, e, s.ratioWords()+", unadjusted")
			}
			if !e.reference {
				s.detail(t, e)
			}
		}
	}
}

// groupOf names what a ratio compares.
func groupOf(t *term, e effect) string {
	for _, x := range t.effects {
		if x.reference && !e.reference {
			return e.label + " against " + x.label
		}
	}
	return e.label
}

func (s *modelled) ratio(id string, f *fitted, t *term, e effect, measure string) {
	out := s.estimatedIn(id, groupOf(t, e), measure+", "+inSentence(t.title), report.UnitRatio)
	out.Method = s.modelName() + s.formOf(f)
	switch {
	case f.why != "":
		out.Status, out.Note = f.status, f.why
	case e.reference:
		out.Value, out.Method, out.Note = report.Some(1), "reference", "the others are compared with it"
	default:
		ratioOf(&out, s.effectOf(f, t, e))
	}
	s.derivedFrom(s.add(out), s.restsOn(t, e)...)
}

// detail records the coefficient of an effect with its standard error, and its p-value.
func (s *modelled) detail(t *term, e effect) {
	coefficient := s.estimatedIn(s.effectID("coefficient", t, e), groupOf(t, e), "log "+s.ratioWords()+", "+inSentence(t.title), report.UnitLogRatio)
	spread := s.estimatedIn(s.effectID("standard-error", t, e), groupOf(t, e), "standard error of the log ratio, "+inSentence(t.title), report.UnitLogRatio)
	p := s.estimatedIn(s.effectID("p", t, e), groupOf(t, e), "p value of no effect, "+inSentence(t.title), report.UnitPValue)
	p.Method += "; Wald test"
	if s.fit.why == "" {
		x := s.effectOf(s.fit, t, e)
		coefficient.Value, coefficient.Lower, coefficient.Upper = report.Some(x.Estimate), finite(x.Lower), finite(x.Upper)
		coefficient.Level, spread.Value, p.Value = report.Some(x.Level), report.Some(x.SE), report.Some(x.P)
	}
	for _, out := range []*report.Estimate{&coefficient, &spread, &p} {
		if s.fit.why != "" {
			out.Status, out.Note = s.fit.status, s.fit.why
		}
		out.Method += s.formOf(s.fit)
		s.derivedFrom(s.add(*out), s.restsOn(t, e)...)
	}
}

// overall records the tests of whole terms and of the model.
func (s *modelled) overall() {
	for _, t := range s.terms {
		if len(t.columns) > 1 {
			s.tested(s.id("test", t.slug), "no effect of "+inSentence(t.title), "Wald test", func() covariates.Test { return s.fit.Term(t.title) })
		}
		if len(t.columns) > 1 && t.asked.Knots > 0 {
			s.tested(s.id("test", t.slug, "straight"), "a straight line in "+inSentence(t.title), "Wald test", func() covariates.Test { return s.bend(t) })
		}
	}
	s.tested(s.id("model", "wald"), "no effect at all", "Wald test", func() covariates.Test { return s.fit.Wald() })
	s.tested(s.id("model", "likelihood"), "no effect at all", "likelihood-ratio test, shoulders taken as independent",
		func() covariates.Test { return s.fit.LikelihoodRatio() })
	s.tested(s.id("model", "score"), "no effect at all", "score test, shoulders taken as independent", func() covariates.Test { return s.fit.Score() })
	if s.scoreIsRobust() {
		s.tested(s.id("model", "robust-score"), "no effect at all", "robust score test, clustered by patient", func() covariates.Test {
			test, err := s.fit.hazard.RobustScore()
			if err != nil {
				return covariates.Test{Status: covariates.Unsupported, Reason: err.Error()}
			}
			return test
		})
	}
}

// scoreIsRobust says whether there is a score test that knows of the two shoulders of a patient.
func (s *modelled) scoreIsRobust() bool {
	return s.clustered && s.fit.hazard != nil && s.asked.Ties != plan.ExactTies && !s.asked.Penalised
}

// bend tests the columns of a spline after the first, which is the straight line.
func (s *modelled) bend(t *term) covariates.Test {
	from := s.firstColumn(t)
	p, k, v := len(s.fit.Names), len(t.columns)-1, s.fit.Variance()
	u, m := make([]float64, k), make([]float64, k*k)
	for i := range k {
		u[i] = s.fit.Coefficient[from+1+i]
		for j := range k {
			m[i*k+j] = v[(from+1+i)*p+from+1+j]
		}
	}
	return covariates.ChiSquareTest(t.title, u, m)
}

// tested records a test of the model: its statistic and its p-value.
func (s *modelled) tested(id, of, method string, run func() covariates.Test) {
	s.testedIn(s.fit, id, of, method, run)
}

// testedIn records a test of any fit.
func (s *modelled) testedIn(f *fitted, id, of, method string, run func() covariates.Test) {
	chi := s.estimatedIn(id+".chi-square", "", "chi-square, "+of, "chi-square")
	p := s.estimatedIn(id+".p", "", "p value of "+of, report.UnitPValue)
	var t covariates.Test
	if f.why == "" {
		t = run()
	}
	for _, out := range []*report.Estimate{&chi, &p} {
		switch {
		case f.why != "":
			out.Status, out.Note = f.status, f.why
		case t.Status != covariates.Converged:
			out.Status, out.Note = report.NotIdentifiable, t.Reason
		default:
			out.Method += s.formOf(f) + "; " + method + ", " + degrees(t.DF)
		}
	}
	if chi.Status == report.Estimated {
		chi.Value, p.Value = report.Some(t.ChiSquare), report.Some(t.P)
	}
	s.derivedFrom(s.add(chi), s.usedID(), s.eventID())
	s.derivedFrom(s.add(p), s.usedID(), s.eventID())
}

func (s *modelled) modelName() string {
	switch s.asked.Model {
	case plan.IncidenceModel:
		return "Fine–Gray model of the cumulative incidence"
	case plan.OddsModel:
		return "logistic model of the odds"
	case plan.RateModel:
		return "Poisson model of the rate"
	}
	return "Cox model of the hazard"
}

// formOf says on what the estimates of a fit rest.
func (s *modelled) formOf(f *fitted) string {
	if f.Fit == nil {
		return ""
	}
	parts := []string{f.VarianceName()}
	if f.hazard != nil {
		parts = append(parts, "ties by "+f.hazard.Ties.String())
	}
	if s.asked.Penalised {
		parts = append(parts, "penalised likelihood")
	}
	if s.asked.Strata != "" {
		parts = append(parts, "strata of "+s.fieldWords(s.asked.Strata))
	}
	return ", " + strings.Join(parts, ", ")
}

func (s *modelled) ratioWords() string {
	switch s.asked.Model {
	case plan.IncidenceModel:
		return "subdistribution hazard ratio"
	case plan.OddsModel:
		return "odds ratio"
	case plan.RateModel:
		return "rate ratio"
	}
	return "hazard ratio"
}
