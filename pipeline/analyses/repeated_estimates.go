package analyses

import (
	"fmt"
	"math"
	"strings"

	"deltoid/pipeline/report"
	"deltoid/stats/mixed"
)

// record writes down the estimates of every visit and the tests over all of them.
func (s *repeated) record() {
	for v := range s.places {
		s.each = append(s.each, s.recordVisit(v))
	}
	if s.model == nil {
		return
	}
	if len(s.columns) > 1 {
		s.test("course", "whether differences between the groups are the same at every visit", s.model.ChangeTest())
		s.test("groups", "whether the groups have the same means at every visit", s.model.GroupTest())
	}
}

// recordVisit counts the scores of a visit and writes down its means and contrasts; ids of columns outside the model stay empty.
func (s *repeated) recordVisit(v int) *course {
	w := s.visits.Windows[s.places[v]]
	c := &course{k: s.places[v]}
	scores, missing, due := make([]int, len(s.labels)), make([]int, len(s.labels)), make([]int, len(s.labels))
	for at, column := range s.columns {
		scores[column] = s.anyModel().Cells[v*len(s.columns)+at].Scores
		missing[column], due[column] = s.anyModel().Missing(v, at, mixed.Shift{Between: s.asked.Repeated.Between})
	}
	if s.groups < len(s.labels) {
		for column := range s.groups {
			missing[s.groups] += missing[column]
			due[s.groups] += due[column]
		}
	}
	c.scores = make([]string, len(s.labels))
	for _, column := range s.columns { // without their sum, which would tie the groups together where one has few
		e := s.estimate(w.ID+".scores", column, w.Label+": scores in the model", shoulders)
		e.Value, e.Method = report.Some(float64(scores[column])), "count"
		c.scores[column] = s.add(e)
	}
	c.due = s.counts(w.ID+".due", w.Label+": shoulders in the model whose visit was due", shoulders, due)
	c.missing = s.counts(w.ID+".missing", w.Label+": "+s.missingWords()+", of those due", shoulders, missing)
	s.addsUp(c, v)
	if s.model == nil {
		return c
	}
	width := len(s.labels)
	c.mean, c.difference, c.p = make([]string, width), make([]string, width), make([]string, width)
	c.change, c.changeDifference = make([]string, width), make([]string, width)
	for at, column := range s.columns {
		c.mean[column] = s.effect(w.ID+".mean", column, w.Label+": adjusted mean score", s.model.Mean(v, at, nil, s.asked.Level), c.scores[column])
		if at > 0 {
			x := s.model.Difference(v, at, 0, s.asked.Level)
			c.difference[column] = s.effect(w.ID+".difference", column, w.Label+": adjusted difference of mean scores", x, c.mean[column], c.mean[s.columns[0]])
			c.p[column] = s.pOf(w.ID+".difference-p", column, w.Label+": p value of the difference", x, c.difference[column])
		}
		if v > 0 {
			s.recordChange(c, v, at, column)
		}
	}
	return c
}

// addsUp says which counts of a visit are sums: all shoulders of the model were due for the first; and where missing are all without a
// score, as they are at the last, they and the scores are all that were due.
func (s *repeated) addsUp(c *course, v int) {
	if v == 0 {
		s.parts(c.due, s.inModel, s.unseen)
	}
	if v == len(s.places)-1 || s.asked.Repeated.Between {
		for _, column := range s.columns {
			s.total(c.due[column], c.scores[column], c.missing[column])
		}
	}
}

// recordChange writes down the change since the first visit of the model.
func (s *repeated) recordChange(c *course, v, at, column int) {
	w, first := s.visits.Windows[c.k], s.each[0]
	since := s.visits.Windows[first.k].Label
	c.change[column] = s.effect(w.ID+".change", column, w.Label+": adjusted change since “"+since+"”", s.model.Change(at, 0, v, nil, s.asked.Level), c.mean[column], first.mean[column])
	if at > 0 {
		c.changeDifference[column] = s.effect(w.ID+".change-difference", column, w.Label+": difference of the changes since “"+since+"”",
			s.model.DifferenceOfChanges(at, 0, 0, v, s.asked.Level), c.change[column], c.change[s.columns[0]])
	}
}

// anyModel is the model of the results, or one that failed: both know who has which scores.
func (s *repeated) anyModel() *mixed.Trajectory {
	if s.model != nil {
		return s.model
	}
	return s.tried[0].model
}

// effect writes down a number of the model.
func (s *repeated) effect(what string, column int, measure string, x mixed.Effect, from ...string) string {
	e := s.estimate(what, column, measure, s.scoreUnit())
	e.Method = s.modelWords()
	s.settleEffect(&e, x)
	if strings.Contains(what, "difference") {
		e.Note = joinNotes(s.labels[column]+" against "+s.labels[s.columns[0]], e.Note)
	}
	s.derived(e.ID, from...)
	return s.add(e)
}

func joinNotes(a, b string) string {
	if b == "" {
		return a
	}
	return a + "; " + b
}

// settleEffect fills an estimate, or says why there is none. Counts in the reasons of the model's package might be small, so that they
// are not repeated.
func (s *repeated) settleEffect(e *report.Estimate, x mixed.Effect) {
	if x.Status != mixed.Converged {
		e.Status, e.Note = repeatedStatus(x.Status), repeatedWords(x.Status, nil)
		return
	}
	e.Value, e.Lower, e.Upper, e.Level = report.Some(x.Estimate), finite(x.Lower), finite(x.Upper), report.Some(x.Level)
	e.Note = fmt.Sprintf("standard error %.6g", x.SE)
	if !math.IsInf(x.DF, 1) {
		e.Note += fmt.Sprintf(", %.4g degrees of freedom", x.DF)
	}
}

func (s *repeated) pOf(what string, column int, measure string, x mixed.Effect, from string) string {
	e := s.estimate(what, column, measure, report.UnitPValue)
	e.Method = "t test, " + s.model.Fit.Options.Degrees.String() + "'s degrees of freedom"
	if e.Value = report.Some(x.P); x.Status != mixed.Converged {
		e.Value, e.Status, e.Note = report.Optional{}, repeatedStatus(x.Status), repeatedWords(x.Status, nil)
	}
	s.derived(e.ID, from)
	return s.add(e)
}

// test writes down the p value of several contrasts at once.
func (s *repeated) test(what, measure string, x mixed.Test) {
	e := report.Estimate{ID: s.id("test", what), Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: measure, Unit: report.UnitPValue, Status: report.Estimated,
		Method: "F test, " + s.model.Fit.Options.Degrees.String() + "'s degrees of freedom", Value: report.Some(x.P), Note: fmt.Sprintf("F %.6g with %.4g and %.4g degrees of freedom", x.F, x.DF1, x.DF2)}
	if x.Status != mixed.Converged {
		e.Value, e.Status, e.Note = report.Optional{}, repeatedStatus(x.Status), repeatedWords(x.Status, nil)
	}
	s.overall[what] = s.add(e)
}

func repeatedStatus(x mixed.Status) report.Status {
	if x == mixed.LimitReached {
		return report.NotConverged
	}
	return report.NotIdentifiable
}

// repeatedWords say why the model has no answer, and what can be done.
func repeatedWords(x mixed.Status, atFault []string) string {
	what := strings.Join(atFault, " and ")
	switch x {
	case mixed.NoRows:
		return "there are too few scores for the model; adjust for less, or ask about a larger group"
	case mixed.OneVisit:
		return "no shoulder has scores at two visits of the model, so nothing is repeated; ask for recovery, or for more visits"
	case mixed.ConstantOutcome:
		return "scores do not vary beyond what the model's characteristics tell, and what does not vary says nothing"
	case mixed.Singular:
		return "“" + what + "” has one value, or is told by the other characteristics; leave it out, or merge levels"
	case mixed.NotIdentified:
		if what != "" {
			return "too few shoulders have the scores at “" + strings.Join(atFault, "” and “") + "” that this covariance needs; name one with fewer parameters, or leave a visit out"
		}
		return "the scores do not tell the parameters of this covariance apart; name one with fewer"
	case mixed.OnBoundary:
		if what != "" {
			return "the scores at “" + what + "” come out as exact functions of those at other visits, or do not vary; name a covariance with fewer parameters, or leave the visit out"
		}
		return "the covariance is on the boundary of what a covariance can be; name one with fewer parameters"
	case mixed.LimitReached:
		return "the search for the largest likelihood did not end; name a covariance with fewer parameters"
	case mixed.EmptyCell:
		return "a group has no score at a visit, and the model must not make one up"
	case mixed.OneInCell:
		return "a group has a single score at a visit: nothing shows how scores vary there"
	}
	return "too few shoulders tell it"
}
