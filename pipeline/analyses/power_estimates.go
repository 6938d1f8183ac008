package analyses

import (
	"strconv"
	"strings"

	"deltoid/pipeline/report"
	"deltoid/stats/power"
)

// The words for where an assumption comes from.
const (
	fromPlan   = "given"
	fromUsual  = "usual choice, not given"
	workedOut  = "worked out"
	planMethod = "power calculation"
)

// planned makes an estimate of the plan: an assumption, or what follows from it.
func (s *planning) planned(id, measure string, unit string, x float64, method string) string {
	return s.add(report.Estimate{ID: id, Analysis: s.asked.ID, Measure: measure, Value: report.Some(x), Unit: unit, Method: method, Status: report.Estimated})
}

// unitOf is the report's unit for an assumption.
func (s *planning) unitOf(t power.Assumption) string {
	switch {
	case t.Unit == power.Share && (t.Name == power.HalfWidth || t.Name == power.Margin):
		return report.UnitDifference
	case t.Name == power.Sides || t.Name == power.MeasuresBefore || t.Name == power.MeasuresAfter:
		return "number"
	case t.Name == power.Area || t.Name == power.Reference && t.Unit == power.Plain:
		return report.UnitArea
	}
	return s.unit(t.Unit)
}

// unit is the report's unit for one of the planner's.
func (s *planning) unit(u power.Unit) string {
	switch u {
	case power.Share:
		return report.UnitProbability
	case power.Ratio:
		return report.UnitRatio
	case power.Points:
		return "points"
	case power.Years:
		return report.UnitYears
	case power.Plain:
		return report.UnitCorrelation
	case power.Persons:
		return "planned " + s.asked.Design.Counted
	case power.Events:
		return "expected events"
	case power.Time:
		return "planned prosthesis-years"
	}
	return string(u)
}

func (s *planning) assumedID(name power.Name) string { return s.id("assumed", dashed(string(name))) }

func dashed(name string) string { return strings.ReplaceAll(name, "_", "-") }

// source says where the value of an assumption comes from.
func (s *planning) source(name power.Name) string {
	if name == s.answer.Solved {
		return workedOut
	}
	if _, ok := s.asked.Given[name]; ok {
		return fromPlan
	}
	return fromUsual
}

// assumptions records every number that the design rests on.
func (s *planning) assumptions() {
	for _, t := range s.asked.Design.Takes {
		setting, ok := s.answer.Given[t.Name]
		if ok && t.Unit != power.Choice {
			s.planned(s.assumedID(t.Name), t.Words, s.unitOf(t), setting.Number, s.source(t.Name))
		}
	}
}

// results records what follows: the groups, what remains of them, and what the design adds.
func (s *planning) results() {
	d, a := s.asked.Design, s.answer
	for i, n := range a.Recruited {
		s.planned(s.id("recruited", strconv.Itoa(i+1)), d.Counted+" to be recruited"+s.inGroup(i), s.unit(s.sizeUnit()), n, planMethod)
		if n != a.Effective[i] {
			s.planned(s.id("effective", strconv.Itoa(i+1)), "independent "+d.Counted+" that remain"+s.inGroup(i), "effective "+d.Counted, a.Effective[i], planMethod)
		}
	}
	if a.Solved == power.Size {
		s.planned(s.id("unrounded"), "size before rounding up", s.unit(s.sizeUnit()), a.Unrounded, planMethod)
	}
	if d.Goal == power.Power {
		s.planned(s.id("reached"), "power at the planned size", report.UnitProbability, a.Reached, planMethod)
	} else {
		t, _ := d.Taken(power.HalfWidth)
		s.planned(s.id("reached"), "half the width of the interval at the planned size", s.unitOf(t), a.Reached, planMethod)
	}
	if a.Clusters.Effect != 1 {
		s.planned(s.id("design-effect"), "factor on the size because shoulders of a patient or a hospital are alike", report.UnitRatio, a.Clusters.Effect, planMethod)
	}
	for _, q := range a.More {
		s.planned(s.id(q.Name), q.Words, s.unit(q.Unit), q.Value, planMethod)
	}
}

func (s *planning) sizeUnit() power.Unit {
	t, _ := s.asked.Design.Taken(power.Size)
	return t.Unit
}

func (s *planning) inGroup(i int) string {
	if s.asked.Design.Groups == 1 {
		return ""
	}
	return " in " + s.asked.Groups[i]
}
