package analyses

import (
	"fmt"
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/survival"
)

// fewAtRisk is the number at risk below which an estimate carries a warning. A common practice, not a law.
const fewAtRisk = 10

var causeNames = map[cohorts.Cause]string{
	cohorts.Revised:       "revised",
	cohorts.OtherRevision: "revised for another reason",
	cohorts.Died:          "died first",
	cohorts.OtherEvent:    "other event first",
}

// causeName names one of the causes of an analysis: the endpoint itself, which stands at 0, comes before nothing else.
func causeName(causes []cohorts.Cause, at int) string {
	if at == 0 {
		return strings.TrimSuffix(causeNames[causes[at]], " first")
	}
	return causeNames[causes[at]]
}

// countEstimates records who is in and how each episode ended, by group, and that the numbers add up.
func (s *followed) countEstimates() {
	for _, g := range s.groups {
		n := g.n
		whole := s.countOf(g, "shoulders", "shoulders counted", n)
		ended := 0
		var parts []string
		for i, cause := range s.episodes.Causes {
			events := int(g.counts.Events(0, i+1))
			ended += events
			parts = append(parts, s.countOf(g, "ended-"+slug(string(cause)), causeName(s.episodes.Causes, i), events))
		}
		parts = append(parts, s.countOf(g, "ended-censored", "still under observation at the end", n-ended-g.passed))
		if s.episodes.Divided > 0 {
			parts = append(parts, s.countOf(g, "passed", "went on in another group", g.passed))
		}
		s.book.total(whole, parts...)
	}
	s.countPatients()
	if len(s.groups) > len(s.parts()) {
		if s.episodes.Divided == 0 {
			s.totalOverGroups("shoulders")
		}
		s.totalOverGroups("ended-censored")
		for _, cause := range s.episodes.Causes {
			s.totalOverGroups("ended-" + slug(string(cause)))
		}
	}
}

// countPatients records how many patients there are, and how many shoulders beyond the first of each, so that the one can
// be masked for the sake of the other.
func (s *followed) countPatients() {
	if s.cohort.Registry.Anonymous {
		return
	}
	g, patients := s.total(), 0
	seen := make([]bool, s.cohort.Registry.Patients)
	for _, p := range s.episodes.Patient {
		if !seen[p] {
			seen[p] = true
			patients++
		}
	}
	e := report.Count(s.countID(g, "patients"), s.asked.ID, "patients counted", patients, "patients")
	e.Endpoint, e.Cohort, e.Group = s.endpoint.ID, s.cohort.Name, g.label
	s.add(e)
	second := s.countOf(g, "beyond-first", "shoulders beyond the first of each patient", g.n-patients)
	s.book.total(s.countID(g, "shoulders"), e.ID, second)
}

func (s *followed) countOf(g group, what, measure string, n int) string {
	e := report.Count(s.countID(g, what), s.asked.ID, measure, n, "shoulders")
	e.Endpoint, e.Cohort, e.Group = s.endpoint.ID, s.cohort.Name, g.label
	return s.add(e)
}

func (s *followed) totalOverGroups(what string) {
	var parts []string
	for _, g := range s.parts() {
		parts = append(parts, s.countID(g, what))
	}
	s.book.total(s.countID(s.total(), what), parts...)
}

// estimates records every measure at the times asked for, and the numbers at risk there and at the ticks of the figure.
func (s *implant) estimates(ticks []float64) error {
	for _, m := range s.measures {
		if err := s.points(m); err != nil {
			return err
		}
	}
	s.risks(merged(ticks, s.asked.Times))
	return nil
}

// points records one measure of every group at the times asked for.
func (s *followed) points(m measure) error {
	for _, g := range s.groups {
		for _, t := range s.asked.Times {
			e, err := s.estimate(m, g, t)
			if err != nil {
				return err
			}
			s.add(e)
		}
	}
	return nil
}

// risks records the numbers at risk of every group, and that they add up.
func (s *followed) risks(times []float64) {
	for _, g := range s.groups {
		for _, t := range times {
			s.add(s.atRisk(g, t))
		}
	}
	if len(s.groups) == len(s.parts()) {
		return
	}
	for _, t := range times {
		var parts []string
		for _, g := range s.parts() {
			parts = append(parts, s.riskID(g, t))
		}
		s.book.total(s.riskID(s.total(), t), parts...)
	}
}

func (s *followed) atRisk(g group, t float64) report.Estimate {
	e := report.Count(s.riskID(g, t), s.asked.ID, "numbers at risk", int(g.counts.AtRisk(0, s.days(t))), "shoulders")
	e.Endpoint, e.Cohort, e.Group = s.endpoint.ID, s.cohort.Name, g.label
	e.At, e.AtUnit = report.Some(t), string(s.asked.Unit)
	return e
}

// estimate makes the row of one measure of one group at one time.
func (s *followed) estimate(m measure, g group, t float64) (report.Estimate, error) {
	p, err := m.curve(g).Interval(s.days(t), s.asked.Level, scaleOf(s.asked.Interval))
	if err != nil {
		return report.Estimate{}, fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	e := s.at(s.estimated(s.pointID(m, g, t), g, m.name, report.UnitProbability), t)
	e.N, e.Events = report.Some(float64(g.n)), report.Some(float64(p.Events))
	e.Method = m.method + ", interval on the " + string(s.asked.Interval) + " scale"
	s.settle(&e, m, g, p)
	return e, nil
}

// settle fills in the value and its interval, or says why there is none.
func (s *followed) settle(e *report.Estimate, m measure, g group, p survival.Point) {
	switch p.Status {
	case survival.Estimated, survival.NoEvents:
		s.settleValue(e, m, p)
	case survival.BeyondFollowUp:
		e.Status = report.BeyondFollowUp
		e.Note = fmt.Sprintf("nobody was followed so long: the last shoulder was at risk at %.1f %s; ask for an earlier time",
			s.inUnit(g.counts.LastTime(0)), s.asked.Unit)
	case survival.NoRows:
		e.Status = report.NotIdentifiable
		e.Note = "no shoulder in this group"
	case survival.NoWeight:
		e.Status = report.NotIdentifiable
		e.Note = "every shoulder that is under observation at this time has the weight 0; ask for an earlier time, or look at the weights"
	default:
		e.Status = report.NotIdentifiable
		e.Note = "nobody is under observation at this time; ask for another time, or begin later"
	}
}

// settleValue fills in an estimate that has a value, with the warnings it needs.
func (s *followed) settleValue(e *report.Estimate, m measure, p survival.Point) {
	e.Status = report.Estimated
	e.Value, e.Lower, e.Upper = m.read(p)
	switch {
	case p.Limits == survival.NoEvents:
		e.Status = report.NoEvents
		e.Note = "no event up to this time, so there is no interval; the number at risk says how much that means"
	case p.Limits != survival.Estimated:
		e.Note = noInterval(p.Limits)
	default:
		e.Level = report.Some(s.asked.Level)
		if p.AtRisk < fewAtRisk {
			e.Note = fmt.Sprintf("fewer than %d shoulders were at risk; read it with care", fewAtRisk)
		}
	}
}

// noInterval says why an estimate has no interval.
func noInterval(why survival.Status) string {
	switch why {
	case survival.AtBound:
		return "no interval: the estimate is exactly 0 or 1, where its variance says nothing"
	case survival.OneCluster:
		return "no interval: all shoulders are of one patient, so nothing can be said about how much patients differ"
	case survival.NotComparable:
		return "no interval: the same patients move both estimates alike"
	default:
		return "no interval: " + why.String()
	}
}

// read returns the value and limits of a point, turned round for 1 − survival.
func (m measure) read(p survival.Point) (value, lower, upper report.Optional) {
	if m.flip {
		p = p.Complement()
	}
	if p.Limits != survival.Estimated {
		return report.Some(p.Value), report.Optional{}, report.Optional{}
	}
	return report.Some(p.Value), report.Some(p.Lower), report.Some(p.Upper)
}

func scaleOf(i plan.Interval) survival.Scale {
	switch i {
	case plan.LogInterval:
		return survival.Log
	case plan.PlainInterval:
		return survival.Plain
	default:
		return survival.LogLog
	}
}
