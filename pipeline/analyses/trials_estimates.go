package analyses

import (
	"fmt"
	"math"
	"strconv"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/dist"
	"deltoid/stats/trials"
)

// assume records an assumption. What is 0 and was not given is none.
func (s *drawn) assume(what, measure, unit string, x float64) string {
	return s.add(report.Estimate{ID: s.id("assumed", what), Analysis: s.asked.ID, Measure: measure, Value: report.Some(x), Unit: unit, Method: fromPlan, Status: report.Estimated})
}

func (s *drawn) has(what string) bool { _, ok := s.seen[s.id("assumed", what)]; return ok }

func (s *drawn) assumed(what string) shown { return shown{s.id("assumed", what), report.ShowGiven} }

// assumedEstimates record every number that the study rests on.
func (s *drawn) assumedEstimates() {
	a := s.asked
	s.assume("significance", "level of the test, of both sides together", report.UnitProbability, a.Significance)
	s.assume("allocation", "in "+a.Groups[1]+" for each one in "+a.Groups[0], report.UnitRatio, a.Allocation)
	if a.Power > 0 {
		s.assume("power", "power that is asked for", report.UnitProbability, a.Power)
	}
	if a.Scores == nil {
		s.assumeFollowUp()
	} else {
		s.assumeScores(a.Scores)
	}
	if a.Hospitals.Number > 0 {
		s.assume("hospitals", "number of hospitals", "planned hospitals", float64(a.Hospitals.Number))
		s.assume("hospital-variance", "variance between hospitals of what multiplies the hazard", report.UnitScore, a.Hospitals.Frailty)
	}
	if a.BothShoulders > 0 {
		s.assume("both-shoulders", "share of the patients with both shoulders in", report.UnitProbability, a.BothShoulders)
		s.assume("concordance", "concordance (Kendall's tau) of the times of two shoulders", report.UnitCorrelation, a.Dependence.Tau)
	}
}

func (s *drawn) assumeFollowUp() {
	a := s.asked
	for i, p := range a.Curve {
		n := strconv.Itoa(i + 1)
		s.assume("first-"+n, "share with "+a.Outcome+" in "+a.Groups[0]+", had nobody died", report.UnitProbability, p.Share)
		s.assume("at-"+n, "time by which the share has come to it", report.UnitYears, p.By)
	}
	for i, p := range s.ratios {
		n := strconv.Itoa(i + 1)
		s.assume("ratio-"+n, "hazard ratio of "+a.Groups[1], report.UnitRatio, p.Ratio)
		if p.From > 0 {
			s.assume("from-"+n, "time from which the ratio holds", report.UnitYears, p.From)
		}
	}
	s.assume("recruitment", "years of recruitment", report.UnitYears, a.Recruitment)
	s.assume("follow-up", "years of follow-up after recruitment has ended", report.UnitYears, a.FollowUp)
	if a.FollowedFor > 0 {
		s.assume("followed-for", "years after which each shoulder leaves", report.UnitYears, a.FollowedFor)
	}
	s.assume("deaths", "share of the patients who die within a year", report.UnitProbability, a.Deaths)
	s.assume("loss", "share lost to follow-up within a year", report.UnitProbability, a.Loss)
	if a.Margin > 0 {
		s.assume("margin", "hazard ratio that has to be excluded", report.UnitRatio, a.Margin)
	}
	if a.Horizon > 0 {
		s.assume("horizon", "horizon of the comparison", report.UnitYears, a.Horizon)
	}
}

func (s *drawn) assumeScores(x *plan.SimulatedScores) {
	if s.asked.Recruitment > 0 {
		s.assume("recruitment", "years of recruitment", report.UnitYears, s.asked.Recruitment)
		s.assume("follow-up", "years of follow-up after recruitment has ended", report.UnitYears, s.asked.FollowUp)
	}
	for v := range x.Visits {
		n := strconv.Itoa(v + 1)
		s.assume("visit-"+n, "time of visit "+n, report.UnitYears, x.Visits[v])
		s.assume("mean-first-"+n, "mean at visit "+n+" in "+s.asked.Groups[0], "points", x.First[v])
		s.assume("mean-second-"+n, "mean at visit "+n+" in "+s.asked.Groups[1], "points", x.Second[v])
		s.assume("sd-"+n, "standard deviation at visit "+n, "points", x.SD[v])
		if v < len(x.Missing.Share) {
			s.assume("missing-"+n, "share missing at visit "+n, report.UnitProbability, x.Missing.Share[v])
		}
	}
	words := "correlation of the scores of one shoulder"
	if x.Fading {
		words += " at neighbouring visits"
	}
	s.assume("correlation", words, report.UnitCorrelation, x.Correlation)
	if x.Shoulders != 0 {
		s.assume("shoulder-correlation", "correlation of the scores of two shoulders", report.UnitCorrelation, x.Shoulders)
	}
	if x.Hospital != 0 {
		s.assume("hospital-correlation", "share of the variance between hospitals", report.UnitProbability, x.Hospital)
	}
	if x.Missing.Known != 0 {
		s.assume("by-known", "log odds of missing for each SD of the last score that was seen", report.UnitCorrelation, x.Missing.Known)
	}
	if x.Missing.Unknown != 0 {
		s.assume("by-unknown", "log odds of missing for each SD of the score itself", report.UnitCorrelation, x.Missing.Unknown)
	}
	if s.asked.Threshold != 0 {
		s.assume("threshold", "rise of the score that makes a responder", "points", s.asked.Threshold)
	}
}

func (s *drawn) method(r *trials.Result) string {
	return fmt.Sprintf("share of simulated studies, seed %d, %s; Monte-Carlo error %.2g; Wilson's interval", s.asked.Seed, r.Test, r.Power.Error)
}

// share records a share of the studies.
func (s *drawn) share(id, measure string, x trials.Share, r *trials.Result) string {
	e := report.Estimate{ID: id, Analysis: s.asked.ID, Measure: measure, Unit: report.UnitProbability, N: report.Some(float64(r.Replicates)), Method: s.method(r), Status: report.Estimated}
	if r.Status == trials.NoVerdicts {
		e.Status, e.Note = report.NotIdentifiable, "the analysis could say nothing about any study: "+r.Reason
		return s.add(e)
	}
	e.Value, e.Lower, e.Upper, e.Level = report.Some(x.Value), report.Some(x.Lower), report.Some(x.Upper), report.Some(0.95)
	if r.Status == trials.Uncertain {
		e.Note = "the Monte-Carlo error is above the bound that the plan sets; ask for more replicates"
	}
	return s.add(e)
}

// mean records a mean over the studies.
func (s *drawn) mean(what, measure, unit string, m trials.Mean, per float64) {
	e := report.Estimate{ID: s.id(what), Analysis: s.asked.ID, Measure: measure, Unit: unit, N: report.Some(float64(m.N)), Status: report.Estimated,
		Method: "mean over the simulated studies, seed " + strconv.FormatUint(s.asked.Seed, 10)}
	if m.N == 0 {
		e.Status, e.Note = report.NotIdentifiable, "no simulated study has it"
	} else {
		e.Value = report.Some(m.Value / per)
	}
	s.add(e)
}

// resultEstimates record what the studies found and saw.
func (s *drawn) resultEstimates() {
	size := report.Estimate{ID: s.id("patients"), Analysis: s.asked.ID, Measure: "patients of the study", Unit: plannedPatients, Method: fromPlan, Status: report.Estimated, Value: report.Some(float64(s.patients))}
	if s.asked.Patients == 0 {
		size.Method = workedOut + " by simulation"
		if s.found() {
			size.Lower, size.Upper, size.Level = report.Some(s.solution.Lower), report.Some(s.solution.Upper), report.Some(0.95)
		} else {
			size.Value, size.Status = report.Optional{}, report.NotReached
			size.Note = s.solution.Status.String() + ", " + strconv.Itoa(searchFrom) + " to " + strconv.Itoa(searchTo) + " patients"
		}
	}
	s.add(size)
	if !s.found() {
		return
	}
	r := s.result
	s.share(s.id("power-simulated"), "power", r.Power, r)
	s.add(report.Estimate{ID: s.id("power-error"), Analysis: s.asked.ID, Measure: "Monte-Carlo error of the power", Unit: report.UnitDifference, Value: report.Some(r.Power.Error),
		Method: "binomial, two successes and two failures added", Status: report.Estimated})
	s.share(s.id("found-without-effect"), "studies that find an effect where there is none", s.null.Power, s.null)
	if r.Failed.Count > 0 {
		s.share(s.id("failed"), "studies without a verdict, counted as finding nothing", r.Failed, r)
	}
	s.mean("shoulders", "shoulders of the study", expectedShoulders, r.Shoulders, 1)
	if s.asked.Scores == nil {
		s.mean("events", "events that are seen", expectedEvents, r.Events, 1)
		s.mean("deaths", "shoulders whose patient dies before", expectedDeaths, r.Deaths, 1)
		s.mean("losses", "shoulders lost to follow-up before", expectedLost, r.Lost, 1)
	} else {
		s.mean("scores-seen", "share of the shoulders with a score at the last visit", report.UnitProbability, r.Seen, 1)
	}
	s.mean("length", "length of the study", report.UnitYears, r.Days, yearInDays)
	if s.asked.Looks != nil {
		s.lookEstimates()
	}
}

// lookEstimates record the limits of the looks and how often the study stops at them.
func (s *drawn) lookEstimates() {
	for k, l := range s.result.Looks {
		n := "look-" + strconv.Itoa(k+1)
		plain := func(what, measure, unit string, x float64) {
			e := report.Estimate{ID: s.id(n, what), Analysis: s.asked.ID, Measure: measure, Unit: unit, Value: report.Some(x), Status: report.Estimated,
				Method: "limits: " + s.result.Boundary.Shape.String() + ", numerical integration"}
			if math.IsInf(x, 0) {
				e.Value, e.Status, e.Note = report.Optional{}, report.NotReached, "nothing of the level can be spent yet, so that the study cannot stop here"
			}
			s.add(e)
		}
		plain("at", "look at so many", "planned "+s.lookUnit(), float64(s.asked.Looks.At[k]))
		plain("information", "share of the information", report.UnitProbability, l.Information)
		plain("limit", "limit for z", report.UnitRatio, l.Limit)
		plain("p", "two-sided p-value at the limit", report.UnitPValue, dist.NormalTwoSided(l.Limit))
		s.share(s.id(n, "stopped"), "stopped for an effect by this look", l.Stopped, s.result)
		s.share(s.id(n, "stopped-without-effect"), "stopped by this look though there is no effect", s.null.Looks[k].Stopped, s.null)
		s.mean(n+".time", "time of the look", report.UnitYears, l.Day, yearInDays)
	}
	s.share(s.id("short"), "studies that end before the last look's number is there", s.result.Short, s.result)
}

func (s *drawn) lookUnit() string {
	if s.asked.Looks.Schedule == trials.AtScores {
		return "scores"
	}
	return "events"
}
