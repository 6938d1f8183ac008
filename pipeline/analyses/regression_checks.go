package analyses

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/covariates"
	"deltoid/stats/dist"
	"deltoid/stats/hazards"
)

// doubtful is the p-value below which the hazard ratio of a term is said to change. A common rule, not a law.
const doubtful = 0.05

// checks tests what the model takes for granted, and returns the table of all tests and the pictures of the residuals.
func (s *modelled) checks(p *plan.Plan) ([]report.Sheet, []report.Figure, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-checks", Title: "The model and what it takes for granted", Columns: []string{"Test", "χ²", "p"}}
	row := func(label, id string) {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: label, Cells: []report.Cell{number(id + ".chi-square"), number(id + ".p")}})
	}
	row("No effect at all, Wald test", s.id("model", "wald"))
	row("No effect at all, likelihood-ratio test", s.id("model", "likelihood"))
	row("No effect at all, score test", s.id("model", "score"))
	if s.scoreIsRobust() {
		row("No effect at all, score test clustered by patient", s.id("model", "robust-score"))
	}
	for _, t := range s.terms {
		if len(t.columns) > 1 && t.asked.Knots > 0 {
			row("A straight line is enough for "+inSentence(t.title), s.id("test", t.slug, "straight"))
		}
	}
	figures, err := s.checkOver(p, row)
	return []report.Sheet{sheet}, figures, err
}

// checkOver tests whether ratios stay the same, of a model over time, or how an outcome is told apart.
func (s *modelled) checkOver(p *plan.Plan, row func(label, id string)) ([]report.Figure, error) {
	switch {
	case s.ofOutcome():
		if err := s.ranking(); err != nil {
			return nil, err
		}
		return nil, s.dispersion()
	case s.fit.incidence != nil && s.fit.why == "":
		return s.incidenceOver(p, row)
	case s.fit.hazard == nil:
		return nil, nil
	}
	s.concordance()
	if s.fit.why != "" {
		return nil, nil
	}
	test, err := s.fit.hazard.Proportionality(hazards.FailedShare)
	if err != nil {
		return nil, nil // under the exact likelihood there is none
	}
	s.unchanging(test.Terms, test.Global, test.Scale.String(), row)
	return s.residualFigure(p)
}

// incidenceOver tests whether ratios of subdistribution hazards stay the same.
func (s *modelled) incidenceOver(p *plan.Plan, row func(label, id string)) ([]report.Figure, error) {
	test, err := s.fit.incidence.Proportionality()
	if err != nil {
		return nil, err
	}
	s.unchanging(test.Terms, test.Global, "the share of the events before", row)
	all, err := s.incidenceResiduals()
	if err != nil {
		return nil, err
	}
	return s.trendFigures(p, all)
}

// unchanging records the tests of whether the ratios of each term, and of all, stay the same.
func (s *modelled) unchanging(terms []covariates.Test, global covariates.Test, along string, row func(label, id string)) {
	s.steady = map[*term]float64{}
	for i, t := range s.terms {
		s.proportional(s.id("steady", t.slug), t.inWords(), terms[i], along)
		row("The ratios of "+t.inWords()+" do not change over follow-up", s.id("steady", t.slug))
		if r := terms[i]; r.Status == covariates.Converged {
			s.steady[t] = r.P
		}
	}
	s.proportional(s.id("model", "steady"), "all terms", global, along)
	row("No ratio changes over follow-up", s.id("model", "steady"))
}

// proportional records a test of proportional hazards.
func (s *modelled) proportional(id, of string, t covariates.Test, along string) {
	chi := s.estimatedIn(id+".chi-square", "", "chi-square of proportional hazards, "+of, "chi-square")
	p := s.estimatedIn(id+".p", "", "p value of proportional hazards, "+of, report.UnitPValue)
	for _, out := range []*report.Estimate{&chi, &p} {
		out.Method += s.formOf(s.fit) + "; score test along " + along + ", " + degrees(t.DF)
		if s.fit.hazard != nil {
			out.Method += ", shoulders taken as independent"
		}
		if t.Status != covariates.Converged {
			out.Status, out.Note = report.NotIdentifiable, t.Reason
		}
	}
	if t.Status == covariates.Converged {
		chi.Value, p.Value = report.Some(t.ChiSquare), report.Some(t.P)
	}
	s.derivedFrom(s.add(chi), s.usedID(), s.eventID())
	s.derivedFrom(s.add(p), s.usedID(), s.eventID())
}

func (s *modelled) concordanceID() string { return s.id("concordance") }

// concordance records how well the model puts shoulders into the order of their events.
func (s *modelled) concordance() {
	e := s.estimatedIn(s.concordanceID(), "", "concordance", report.UnitProbability)
	e.N, e.Events = report.Optional{}, report.Optional{}
	e.Method += s.formOf(s.fit) + "; interval on the plain scale, infinitesimal jackknife"
	c, err := (*hazards.Concordance)(nil), error(nil)
	if s.fit.why == "" {
		c, err = s.fit.hazard.Concordance()
	}
	switch {
	case s.fit.why != "":
		e.Status, e.Note = s.fit.status, s.fit.why
	case err != nil || c.Status != covariates.Converged:
		e.Status, e.Note = report.NotIdentifiable, "no two shoulders can be put into the order of their events"
	default:
		s.settleConcordance(&e, c)
	}
	s.derivedFrom(s.add(e), s.usedID(), s.eventID())
	s.weightedConcordance()
}

// weightedConcordance records the concordance that censoring does not move.
func (s *modelled) weightedConcordance() {
	if s.fit.why != "" {
		return
	}
	e := s.estimatedIn(s.id("concordance-weighted"), "", "concordance weighted by the inverse of the squared probability of staying under observation", report.UnitProbability)
	e.N, e.Events = report.Optional{}, report.Optional{}
	e.Method += s.formOf(s.fit) + "; interval on the plain scale, infinitesimal jackknife, weights taken as known"
	eta, err := s.fit.hazard.Predictors()
	c := (*hazards.Concordance)(nil)
	if err == nil {
		c, err = hazards.ConcordUpTo(s.hazardData(), 1, eta, 0)
	}
	switch {
	case err != nil || c.Status == covariates.NoEvents:
		e.Status, e.Note = report.NotIdentifiable, "no two shoulders can be put into the order of their events"
	case c.Status == covariates.Unsupported:
		e.Status, e.Note = report.NotIdentifiable, "some shoulders came under observation late, for which these weights do not hold; the concordance without weights does"
	default:
		s.settleConcordance(&e, c)
	}
	s.derivedFrom(s.add(e), s.usedID(), s.eventID())
}

func (s *modelled) settleConcordance(e *report.Estimate, c *hazards.Concordance) {
	half := float64(dist.NormalSpread(s.asked.Level) * c.SE)
	e.Value, e.Level = report.Some(c.C), report.Some(s.asked.Level)
	e.Lower, e.Upper = report.Some(max(0, c.C-half)), report.Some(min(1, c.C+half))
}

// quarters are the stretches into which the events fall for the picture of the residuals.
type quarters struct {
	ends  []float64 // days; the last is after all events
	label []string
}

// mostStretches is how many parts the events are divided into, and leastInStretch how many each has at least.
const (
	mostStretches  = 4
	leastInStretch = 10
)

// quartersOf divides times of events into parts of about as many each; none where there are too few for two.
func (s *modelled) quartersOf(times []float64, least int) (q quarters) {
	sorted := slices.Sorted(slices.Values(times))
	parts := min(mostStretches, len(sorted)/max(least, leastInStretch))
	if parts < 2 {
		return q
	}
	from := "0"
	for k := 1; k <= parts; k++ {
		if k == parts {
			q.ends, q.label = append(q.ends, math.Inf(1)), append(q.label, "After "+from+" "+string(s.asked.Unit))
			break
		}
		end := sorted[k*len(sorted)/parts]
		if len(q.ends) > 0 && end <= q.ends[len(q.ends)-1] {
			continue
		}
		to := plain(math.Round(10*s.inUnit(end)) / 10)
		q.ends, q.label = append(q.ends, end), append(q.label, from+" to "+to+" "+string(s.asked.Unit))
		from = to
	}
	return q
}

// mostPictured is how many coefficients the picture of the residuals shows.
const mostPictured = 6

// pictured is one log ratio in the picture of the residuals, with its weights of the coefficients of the model.
type pictured struct {
	t       *term
	e       effect
	weights []float64
}

// toPicture chooses the log ratios of the picture: those of the terms whose ratios most seem to change; of a spline that of its
// farthest knot.
func (s *modelled) toPicture() []pictured {
	order := slices.Clone(s.terms)
	slices.SortStableFunc(order, func(a, b *term) int { return cmp.Compare(s.steady[a], s.steady[b]) })
	var out []pictured
	for _, t := range order {
		if t.between[0] != nil {
			continue
		}
		effects := slices.DeleteFunc(slices.Clone(t.effects), func(e effect) bool { return e.reference })
		if t.asked.Knots > 0 && len(effects) > 0 {
			effects = effects[len(effects)-1:]
		}
		for _, e := range effects {
			if len(out) < mostPictured {
				weights := make([]float64, len(s.fit.Names))
				copy(weights[s.firstColumn(t):], e.weights)
				out = append(out, pictured{t, e, weights})
			}
		}
	}
	return out
}

// residualFigure draws the residuals of the test of proportional hazards: their mean in each stretch of follow-up, as the
// ratio that it stands for. One residual is one shoulder, and is not shown.
func (s *modelled) residualFigure(p *plan.Plan) ([]report.Figure, error) {
	r, err := s.fit.hazard.Schoenfeld()
	if err != nil {
		return nil, err
	}
	q := s.quartersOf(r.Time, p.Disclosure.MaskBelow)
	if len(q.ends) < 2 {
		return nil, nil
	}
	f := report.Figure{ID: s.asked.ID + "-over-time", Title: "Hazard ratios over follow-up",
		X: report.Axis{Label: "Hazard ratio (equal distances are equal ratios)", Unit: report.UnitRatio, Log: true}, Line: s.noneID(),
		Alt: "For each coefficient, the hazard ratio of the model and below it the ratio in each stretch of follow-up. The test in the table says whether they differ.",
		Notes: []report.Text{report.Words("In each stretch stands e to the power of the mean of the scaled Schoenfeld residuals, which are those that the test of proportional " +
			"hazards adds up; each residual is about the coefficient on its day. Stretches hold about equal numbers of events.")}}
	for _, one := range s.toPicture() {
		f.Dots = append(f.Dots, report.Dot{Label: one.t.title + ": " + spokenGroup(one.t, one.e), Heading: true},
			report.Dot{Label: "Whole of follow-up", Estimate: s.effectID("ratio", one.t, one.e), Indent: 1})
		for k, label := range q.label {
			f.Dots = append(f.Dots, report.Dot{Label: label, Estimate: s.stretch(one, r, q, k), Indent: 1})
		}
	}
	if len(f.Dots) == 0 {
		return nil, nil
	}
	all, err := s.hazardResiduals(r)
	if err != nil {
		return nil, err
	}
	trends, err := s.trendFigures(p, all)
	return append([]report.Figure{f}, trends...), err
}

// stretch records the ratio that the residuals of one stretch stand for.
func (s *modelled) stretch(one pictured, r *hazards.Schoenfeld, q quarters, k int) string {
	sum, m := 0.0, 0
	combined := r.Combined(one.weights)
	for i, t := range r.Time {
		if t < q.ends[k] && (k == 0 || t >= q.ends[k-1]) {
			sum += combined[i]
			m++
		}
	}
	half := float64(dist.NormalSpread(s.asked.Level) * s.fit.hazard.ResidualSpread(one.weights) / math.Sqrt(float64(max(1, m))))
	mean := sum / float64(max(1, m))
	e := s.estimatedIn(s.id("over-time", one.t.slug, one.e.slug+"part-"+strconv.Itoa(k+1)), groupOf(one.t, one.e),
		"hazard ratio, "+inSentence(one.t.title)+", "+inSentence(q.label[k]), report.UnitRatio)
	e.Events, e.Method = report.Some(float64(m)), s.modelName()+"; mean of the scaled Schoenfeld residuals, variance of the model × events / events of the stretch"
	if one.e.slug != "" {
		e.ID = s.id("over-time", one.t.slug, one.e.slug, "part-"+strconv.Itoa(k+1))
	}
	e.Value, e.Level = report.Some(math.Exp(mean)), report.Some(s.asked.Level)
	e.Lower, e.Upper = finite(math.Exp(mean-half)), finite(math.Exp(mean+half))
	s.derivedFrom(e.ID, s.restsOn(one.t, one.e)...)
	return s.add(e)
}
