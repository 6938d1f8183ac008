package analyses

import (
	"strconv"

	"deltoid/pipeline/report"
	"deltoid/stats/trials"
)

// Units of what is planned or expected: no shoulder of the cohort is counted in them.
const (
	plannedPatients   = "planned patients"
	expectedShoulders = "expected shoulders"
	expectedEvents    = "expected events"
	expectedDeaths    = "expected deaths"
	expectedLost      = "expected losses"
)

// sizeID makes the id of an estimate of a study of one size. The number of patients of the cohort stands in no id and no
// measure: it may have to be hidden.
func (s *next) sizeID(patients int, what string) string {
	if len(s.ask.Patients) == 0 {
		return s.id(what, "as-cohort")
	}
	return s.id(what, strconv.Itoa(patients))
}

func (s *next) sizeWords(patients int) string {
	if len(s.ask.Patients) == 0 {
		return "as many patients as the cohort"
	}
	return strconv.Itoa(patients) + " patients"
}

// of starts an estimate of a study of one size.
func (s *next) of(patients int, what, measure, unit string) report.Estimate {
	return report.Estimate{ID: s.sizeID(patients, what), Analysis: s.asked.ID, Endpoint: s.endpoint.ID, Cohort: s.cohort.Name,
		Measure: measure + ", " + s.sizeWords(patients), Unit: unit, Method: s.method(), Status: report.Estimated}
}

func (s *next) method() string {
	return strconv.Itoa(s.asked.Replicates) + " studies drawn from the cohort, " + s.test.Name
}

// derive records an estimate that was worked out from the counts of the cohort, so that it is hidden with them.
func (s *next) derive(e report.Estimate, from ...string) string {
	from = append(from, s.countID(s.total(), "shoulders"), s.eventsID())
	s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: e.ID, From: from})
	return s.add(e)
}

func (s *next) eventsID() string {
	return s.countID(s.total(), "ended-"+slug(string(s.episodes.Causes[0])))
}

// leftWords are the ways to leave the cohort, as they stand in ids and in words.
var leftWords = map[trials.Leaving][2]string{
	trials.ByDeath: {"died", "died before the endpoint"}, trials.LostFrom: {"lost", "lost, or left by another event"},
	trials.AtCut: {"watched", "watched to the end"},
}

func (s *next) leftID(way trials.Leaving) string { return s.id("left", leftWords[way][0]) }

// leftEstimates count how the shoulders of the cohort left, which every drawn study rests on.
func (s *next) leftEstimates() {
	parts := []string{s.eventsID()}
	for _, way := range []trials.Leaving{trials.ByDeath, trials.LostFrom, trials.AtCut} {
		n := 0
		for _, left := range s.drawn.Left {
			if left == way {
				n++
			}
		}
		e := report.Count(s.leftID(way), s.asked.ID, leftWords[way][1], n, "shoulders")
		e.Endpoint, e.Cohort = s.endpoint.ID, s.cohort.Name
		parts = append(parts, s.add(e))
	}
	s.book.total(s.countID(s.total(), "shoulders"), parts...)
}

// sizeEstimate records a size: one that the plan asks for, or that of the cohort.
func (s *next) sizeEstimate(patients int) {
	e := s.of(patients, "patients-planned", "patients of the study", plannedPatients)
	e.Value, e.Method = report.Some(float64(patients)), "given"
	if len(s.ask.Patients) > 0 {
		s.add(e)
		return
	}
	e.Method = "as many as the cohort has"
	if s.cohort.Registry.Anonymous {
		s.derive(e)
		return
	}
	s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: e.ID, From: []string{s.countID(s.total(), "patients")}})
	s.add(e)
}

// seenEstimates record what the study would see.
func (s *next) seenEstimates(patients int, r *trials.Result) {
	for _, x := range []struct {
		what, measure, unit string
		mean                trials.Mean
		from                []string
	}{
		{"shoulders-expected", "shoulders of the study", expectedShoulders, r.Shoulders, nil},
		{"events-expected", "events of the study", expectedEvents, r.Events, nil},
		{"deaths-expected", "shoulders whose patient dies before", expectedDeaths, r.Deaths, []string{s.leftID(trials.ByDeath)}},
		{"losses-expected", "shoulders lost to follow-up before", expectedLost, r.Lost, []string{s.leftID(trials.LostFrom)}},
	} {
		e := s.of(patients, x.what, x.measure, x.unit)
		e.Value = report.Some(x.mean.Value)
		s.derive(e, x.from...)
	}
	if s.ask.Further > 0 {
		e := s.of(patients, "beyond", "shoulders whose further follow-up would go beyond that of everybody in the cohort", report.UnitProbability)
		e.Value = report.Some(r.Beyond.Value)
		s.derive(e)
	}
}

// powerEstimates record the power for the hazard ratio of the plan, and how far it is off by chance.
func (s *next) powerEstimates(patients int, r *trials.Result) {
	e := s.of(patients, "power", "power for a hazard ratio of "+plain(s.ask.HazardRatio), report.UnitProbability)
	if r.Status == trials.NoVerdicts {
		e.Status, e.Note = report.NoEvents, "no drawn study could be analysed: "+r.Reason
	} else {
		e.Value, e.Lower, e.Upper, e.Level = report.Some(r.Power.Value), report.Some(r.Power.Lower), report.Some(r.Power.Upper), report.Some(0.95)
		e.Note = "the interval is that of the simulation"
	}
	s.derive(e)
	m := s.of(patients, "power-error", "Monte-Carlo error of the power", report.UnitDifference)
	m.Value = report.Some(r.Power.Error)
	s.derive(m)
	if r.Failed.Count > 0 {
		f := s.of(patients, "power-failed", "drawn studies without a verdict, counted as finding nothing", report.UnitProbability)
		f.Value = report.Some(r.Failed.Value)
		s.derive(f)
	}
}
