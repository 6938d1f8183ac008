package analyses

import (
	"errors"
	"math"

	"deltoid/pipeline/report"
	"deltoid/stats/power"
)

// assumptionSheet lists what was assumed and where each comes from.
func (s *planning) assumptionSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-assumptions", Title: "What the answer rests on", Columns: []string{"Assumption", "Value", "Key", "Where it comes from"}}
	for _, t := range s.asked.Design.Takes {
		setting, ok := s.answer.Given[t.Name]
		var cell report.Cell
		switch {
		case !ok:
			continue // what is absent has nothing to rest on
		case t.Unit == power.Choice:
			cell = words(setting.Word)
		default:
			cell = report.Cell(s.assumed(t.Name))
		}
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(t.Words), Strong: t.Name == s.answer.Solved, Cells: []report.Cell{cell, words(string(t.Name)), words(s.source(t.Name))}})
	}
	return sheet
}

// resultSheet lists what follows.
func (s *planning) resultSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-follows", Title: "What follows", Columns: []string{"Quantity", "Value"}}
	row := func(id string) {
		e := s.get(id)
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(e.Measure), Cells: []report.Cell{number(id)}})
	}
	for i := range s.answer.Recruited {
		row(s.id("recruited", plain(float64(i+1))))
	}
	for i, n := range s.answer.Recruited {
		if n != s.answer.Effective[i] {
			row(s.id("effective", plain(float64(i+1))))
		}
	}
	for _, q := range s.answer.More {
		row(s.id(q.Name))
	}
	if s.answer.Clusters.Effect != 1 {
		row(s.id("design-effect"))
	}
	row(s.id("reached"))
	if s.answer.Solved == power.Size {
		row(s.id("unrounded"))
	}
	return sheet
}

// altered is one assumption changed, to see what it does.
type altered struct {
	slug  string
	words string
	name  power.Name
	to    float64
}

// changes are the neighbours of a design: each differs from it in one assumption.
func (s *planning) changes() []altered {
	var list []altered
	give := s.answer.Given
	if d := s.asked.Design; d.Effect != "" {
		list = append(list, altered{"effect-two-thirds", "The effect is two thirds", d.Effect, s.effectTimes(2. / 3)}, altered{"effect-four-thirds", "The effect is a third larger", d.Effect, s.effectTimes(4. / 3)})
	}
	for _, c := range []struct {
		slug, words string
		name        power.Name
		factor, add float64
	}{
		{"sd-larger", "The standard deviation is a quarter larger", power.SD, 1.25, 0},
		{"correlation-lower", "The correlation is lower by 0.2", power.Correlation, 1, -0.2},
		{"first-half", "Half as many of the first group come to it", power.First, 0.5, 0},
		{"loss-double", "The loss is double", power.Loss, 2, 0},
		{"deaths-double", "Twice as many die", power.Deaths, 2, 0},
		{"recruitment-longer", "Recruitment takes half as long again", power.Recruitment, 1.5, 0},
		{"follow-up-longer", "Follow-up is a year longer", power.FollowUp, 1, 1},
		{"event-share-half", "Half as many come to it", power.EventRate, 0.5, 0},
		{"shoulder-correlation-higher", "The two shoulders of a patient are more alike by 0.2", power.ShoulderLikeness, 1, 0.2},
		{"hospital-correlation-double", "Shoulders of a hospital are twice as alike", power.HospitalLikeness, 2, 0},
		{"allocation-double", "Two in the second group for each in the first", power.Allocation, 0, 2},
	} {
		old, ok := give[c.name]
		to := float64(old.Number*c.factor) + c.add
		if !ok || c.name == s.asked.Design.Effect || c.name == power.First && s.asked.Design.Effect == power.Second || to == old.Number {
			continue
		}
		list = append(list, altered{c.slug, c.words, c.name, to})
	}
	if s.asked.Design.Goal == power.Power {
		list = append(list, altered{"significance-1", "The significance level is 1%", power.Significance, 0.01}, s.otherPower())
	}
	return list
}

// otherPower is the other one of the usual two.
func (s *planning) otherPower() altered {
	if s.answer.Given[power.Power].Number > 0.85 {
		return altered{"power-80", "The power is to be 80%", power.Power, 0.8}
	}
	return altered{"power-90", "The power is to be 90%", power.Power, 0.9}
}

// effectTimes is the effect made larger or smaller: ratios on the scale of their logarithm, others by their distance from
// where there is nothing to find.
func (s *planning) effectTimes(factor float64) float64 {
	d := s.asked.Design
	x, null := s.answer.Given[d.Effect].Number, s.answer.Null()
	if t, _ := d.Taken(d.Effect); t.Unit == power.Ratio {
		return null * math.Pow(x/null, factor)
	}
	return null + float64(factor*(x-null))
}

// neighbours shows the size that each neighbour needs, and what the planned size is worth under it.
func (s *planning) neighbours() report.Sheet {
	d := s.asked.Design
	goal := "Power with the planned size"
	if d.Goal != power.Power {
		goal = "Half-width with the planned size"
	}
	sheet := report.Sheet{ID: s.asked.ID + "-neighbours", Title: "If the assumptions are wrong", Columns: []string{"What if", "Value", sentence(d.Counted) + " needed", goal}}
	sheet.Rows = append(sheet.Rows, report.SheetRow{Label: "As planned", Strong: true, Cells: []report.Cell{{}, number(s.assumedID(power.Size)), number(s.id("reached"))}})
	for _, c := range s.changes() {
		t, _ := d.Taken(c.name)
		if t.Check(power.Is(c.to)) != nil {
			continue
		}
		key := s.id("if", c.slug)
		valueID := s.planned(key, c.words, s.unitOf(t), c.to, "assumption changed")
		row := report.SheetRow{Label: c.words, Cells: []report.Cell{number(valueID), number(s.neighbour(key+".size", c, power.Size)), {}}}
		if c.name != d.Goal {
			row.Cells[2] = number(s.neighbour(key+".reached", c, d.Goal))
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	return sheet
}

// neighbour solves a design with one assumption changed, for the size or for what the planned size reaches.
func (s *planning) neighbour(id string, c altered, wanted power.Name) string {
	t, _ := s.asked.Design.Taken(wanted)
	unit := s.unitOf(t)
	e := report.Estimate{ID: id, Analysis: s.asked.ID, Measure: t.Words + ": " + c.words, Unit: unit, Method: planMethod, Status: report.Estimated}
	given := s.changed(c.name, c.to, wanted)
	if answer, err := power.Solve(s.asked.Design, given); err == nil {
		e.Value = report.Some(answer.Given[wanted].Number)
	} else {
		e.Status, e.Note = report.NotIdentifiable, "such a study cannot be: "+firstProblem(err)
	}
	return s.add(e)
}

// changed is the answer's assumptions with one changed and another left open.
func (s *planning) changed(name power.Name, to float64, open power.Name) power.Given {
	given := make(power.Given, len(s.answer.Given))
	for n, setting := range s.answer.Given {
		given[n] = setting
	}
	given[name] = power.Is(to)
	delete(given, open)
	return given
}

func firstProblem(err error) string {
	var problems power.Problems
	if errors.As(err, &problems) && len(problems) > 0 {
		return problems[0].Error()
	}
	return err.Error()
}
