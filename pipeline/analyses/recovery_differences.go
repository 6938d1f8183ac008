package analyses

import (
	"math"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/change"
	"deltoid/stats/covariates"
)

// differenceSheet compares each group with the first at the last visit: plainly, and as if the groups were alike in the
// characteristics that the plan adjusts for.
func (s *recovery) differenceSheet() (sheet report.Sheet, any bool, err error) {
	groups := s.compared()
	if len(groups) < 2 || len(s.each) == 0 || !s.goals[0].known {
		return sheet, false, nil
	}
	adjust, known, err := s.adjusters()
	if err != nil {
		return sheet, false, err
	}
	v := s.each[len(s.each)-1]
	sheet = report.Sheet{ID: s.asked.ID + "-differences", Title: "Differences between the groups at " + s.visitWords(v.k),
		Columns: []string{"Group", "Share that reached the threshold", "Difference, percentage points"}}
	if len(adjust) > 0 {
		sheet.Columns = append(sheet.Columns, "Adjusted difference", "Adjusted odds ratio")
	}
	for at, group := range groups {
		row := report.SheetRow{Label: s.labels[group], Cells: []report.Cell{report.Cell(say(inTable(v.share[0][group])))}}
		if at == 0 {
			row.Label += " (reference)"
			row.Cells = append(row.Cells, make([]report.Cell, len(sheet.Columns)-2)...)
			sheet.Rows = append(sheet.Rows, row)
			continue
		}
		cells, err := s.against(v, groups[0], group, adjust, known)
		if err != nil {
			return sheet, false, err
		}
		row.Cells = append(row.Cells, cells...)
		sheet.Rows = append(sheet.Rows, row)
	}
	sheet.Notes = []report.Text{report.Words("First threshold, complete cases. Adjusted: the shares that the two groups would have if both were like all the shoulders compared" + s.adjusterWords() +
		"; only shoulders count in which all of it is recorded. An adjusted odds ratio is another number than a plain one, also where the groups are alike.")}
	if len(adjust) == 0 {
		sheet.Notes = []report.Text{report.Words("First threshold, complete cases. Nothing is adjusted for: the groups may differ in who is in them.")}
	}
	return sheet, true, nil
}

// against compares a group with the reference.
func (s *recovery) against(v *visitCount, reference, group int, adjust []covariates.Column, known []bool) ([]report.Cell, error) {
	var rows []int32
	var second []bool
	for _, column := range []int{reference, group} {
		for _, i := range v.rows[column] {
			rows, second = append(rows, i), append(second, column == group)
		}
	}
	goal := change.Criterion{Scale: s.scale, About: s.about, Threshold: s.goals[0].value}
	responses, err := change.Respond(s.pairOf(v.k, rows), goal, taken(v.complete, rows))
	if err != nil {
		return nil, err
	}
	enough := v.scored[reference] > 0 && v.scored[group] > 0
	record := func(what, measure, unit, method string, x change.Estimate) report.Cell {
		e := s.estimate(s.visits.Windows[v.k].ID+"."+what, group, measure, unit)
		e.Method, e.Note = method, s.labels[group]+" against "+s.labels[reference]
		if settle(&e, x); !enough {
			e = report.Estimate{ID: e.ID, Analysis: e.Analysis, Cohort: e.Cohort, Group: e.Group, Measure: e.Measure, Unit: e.Unit, Method: e.Method,
				Status: report.NotIdentifiable, Note: "one of the two groups has no scores"}
		}
		s.derived(e.ID, v.share[0][reference], v.share[0][group])
		return report.Cell(say(inTable(s.add(e))))
	}
	plainly, err := change.ShareDifference(responses, second, taken(s.patient, rows), s.asked.Level)
	if err != nil {
		return nil, err
	}
	cells := []report.Cell{record("difference", "difference of the shares", report.UnitDifference, "Newcombe's interval"+s.clusteredWords(), plainly)}
	if len(adjust) == 0 {
		return cells, nil
	}
	var complete, of []int32
	for at, i := range rows {
		if known[i] {
			complete, of = append(complete, i), append(of, int32(at))
		}
	}
	adjusted, err := change.Adjusted(taken(responses, of), taken(second, of), varying(adjust, complete), taken(s.patient, complete), s.asked.Level)
	if err != nil {
		return nil, err
	}
	return append(cells, record("adjusted-difference", "adjusted difference of the shares", report.UnitDifference, "logistic regression, standardised", adjusted.Difference),
		record("odds-ratio", "adjusted odds ratio", report.UnitRatio, "logistic regression", adjusted.OddsRatio)), nil
}

// adjusters makes the columns that the plan adjusts for, and says of which shoulders all of them are known.
func (s *recovery) adjusters() (columns []covariates.Column, known []bool, err error) {
	known = make([]bool, len(s.group))
	for i := range known {
		known[i] = true
	}
	for _, asked := range s.asked.AdjustFor {
		more, missing, err := s.adjuster(asked)
		if err != nil {
			return nil, nil, err
		}
		columns = append(columns, more...)
		for i := range known {
			known[i] = known[i] && !missing(i)
		}
	}
	return columns, known, nil
}

func (s *recovery) adjuster(asked plan.Covariate) ([]covariates.Column, func(int) bool, error) {
	column, err := s.cohort.Baseline(asked.Field, asked.Place)
	if err != nil {
		return nil, nil, err
	}
	if t := column.Field.Type; len(asked.Bands) == 0 && (t == schemas.Number || t == schemas.Integer) {
		x := s.numbers(column)
		return []covariates.Column{{Name: asked.Field, Values: averaged(x)}}, func(i int) bool { return math.IsNaN(x[i]) }, nil
	}
	g := cohorts.Grouping{By: asked.Field, Labels: asked.Labels, Order: asked.Order, Bands: asked.Bands, Place: asked.Place}
	_, of, err := s.levelsOf(g)
	if err != nil {
		return nil, nil, err
	}
	columns, err := s.dummies(g, asked.Field)
	return columns, func(i int) bool { return of[i] < 0 }, err
}

// adjusterWords lists what is adjusted for.
func (s *recovery) adjusterWords() string {
	if len(s.asked.AdjustFor) == 0 {
		return ""
	}
	var names []string
	for _, c := range s.asked.AdjustFor {
		name := c.Field
		if column := s.cohort.Registry.Column(c.Field, s.cohort.Definition.Indication); column != nil {
			name = lowerTitle(column.Field)
		}
		names = append(names, name)
	}
	return " in " + joinWords(names)
}
