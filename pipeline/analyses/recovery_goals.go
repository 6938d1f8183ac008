package analyses

import (
	"fmt"
	"strconv"
	"strings"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/change"
)

// readGoals makes an estimate of every threshold of the plan.
func (s *recovery) readGoals() ([]*goal, error) {
	s.about = change.OfChange
	if len(s.asked.Scores.Thresholds) > 0 && s.asked.Scores.Thresholds[0].IsState {
		s.about = change.OfState
	}
	var goals []*goal
	for i, t := range s.asked.Scores.Thresholds {
		g, err := s.goal(i, t)
		if err != nil {
			return nil, err
		}
		goals = append(goals, g)
	}
	return goals, nil
}

func (s *recovery) goal(i int, t plan.Threshold) (*goal, error) {
	g := &goal{slug: "threshold-" + strconv.Itoa(i+1), known: true, reach: s.reachWords()}
	e := report.Estimate{ID: s.id(g.slug), Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: "threshold", Unit: s.scoreUnit(), Status: report.Estimated}
	switch {
	case t.Published != "":
		p, _ := schemas.PublishedOf(t.Published)
		g.value, g.source = p.Ours(), "published by "+publishedWords(p)
		e.Method = "published: " + p.ID
		if p.Scale != "" && p.Scale != s.instrument.Scale {
			g.source += fmt.Sprintf(", turned from %s on the scale %s", plain(p.Value), p.Scale)
		}
	case t.Derived != "":
		if err := s.derivedGoal(t, g, &e); err != nil {
			return nil, err
		}
	case t.IsState:
		g.value, g.source, e.Method = t.State, "chosen in the plan: "+t.Reason, "chosen in the study plan"
	default:
		g.value, g.source, e.Method = t.Points, "chosen in the plan: "+t.Reason, "chosen in the study plan"
	}
	e.Note = g.source
	if g.known {
		e.Value = report.Some(g.value)
	} else {
		e.Status, e.Note = report.NotIdentifiable, g.why
	}
	g.id = s.add(e)
	return g, nil
}

// derivedGoal takes a threshold from an analysis of thresholds that came before.
func (s *recovery) derivedGoal(t plan.Threshold, g *goal, e *report.Estimate) error {
	method := methodOf[t.Method]
	id := thresholdID(t.Derived, t.Of, method)
	at, found := s.seen[id]
	if !found {
		return &schemas.Problem{Kind: schemas.PlanProblem, Where: t.Place,
			What:   fmt.Sprintf("the analysis %q has no threshold “%s” by the method “%s”", t.Derived, t.Of, method),
			Remedy: "choose another method, or another analysis"}
	}
	from := s.doc.Estimates[at]
	g.source = "found in these data as the " + inSentence(benefitWords[t.Of]) + ", by " + (&asking{of: t.Of}).methodWords(method)
	e.Method = "derived: " + id
	g.value, g.known = from.Value.X, from.Value.Known
	e.Lower, e.Upper, e.Level = from.Lower, from.Upper, from.Level
	if !g.known {
		g.why = "the analysis of thresholds does not give it: " + from.Note
	}
	s.derived(e.ID, id)
	return nil
}

func (s *recovery) reachWords() string {
	switch {
	case s.about == change.OfChange:
		return "improved by at least "
	case s.scale.HigherIsBetter():
		return "reached at least "
	}
	return "were at most at "
}

// publishedWords names who published a threshold, in whom and how.
func publishedWords(p schemas.Published) string {
	text := p.Author
	if year := strconv.Itoa(p.Year); !strings.Contains(text, year) {
		text += " " + year
	}
	if p.N > 0 {
		text += fmt.Sprintf(" (%d patients, %s; %s; %s)", p.N, p.Cohort, p.Method, p.FollowUp)
		return text
	}
	return text + fmt.Sprintf(" (%s; %s; %s)", p.Cohort, p.Method, p.FollowUp)
}

// methodOf are the methods that a plan may choose by their words.
var methodOf = map[plan.ThresholdMethod]change.Method{plan.MeanChange: change.MeanChange, plan.MeanDifference: change.MeanDifference,
	plan.Youden: change.Youden, plan.ClosestToCorner: change.ClosestToCorner, plan.Predictive: change.Predictive,
	plan.PredictiveAdjusted: change.PredictiveAdjusted, plan.PredictiveReliable: change.PredictiveReliable,
	plan.Quartile: change.AcceptableQuartile, plan.HalfSD: change.HalfSD, plan.Detectable95: change.SmallestDetectable95}

// says writes a threshold for a sentence: "improved by at least 20.1 points".
func (s *recovery) says(g *goal) report.Text {
	if s.about == change.OfState && !s.scale.HigherIsBetter() {
		return say(g.reach, value(g.id), " "+s.points())
	}
	return say(g.reach, value(g.id), " "+s.points())
}
