package analyses

import (
	"errors"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// again is an analysis repeated on a variant of the cohort.
type again struct {
	*followed
	label string
}

// repeat follows every variant of the cohort that the plan asks for. A variant that leaves nobody is left out.
func (s *followed) repeat(p *plan.Plan) ([]again, error) {
	var all []again
	for _, v := range s.asked.Sensitivity {
		cohort, _, err := s.cohort.Vary(p.FollowUp, cohorts.Variant(v))
		var problem *schemas.Problem
		if errors.As(err, &problem) && problem.Kind == schemas.CohortProblem {
			continue
		}
		if err != nil {
			return nil, err
		}
		varied := *cohort
		varied.Name = variantName(s.cohort, v)
		f, err := follow(s.book, p, &varied, s.asked)
		if err != nil {
			return nil, err
		}
		f.variant = "." + slug(string(v))
		if err := f.count(); err != nil {
			return nil, err
		}
		all = append(all, again{f, sentence(string(v))})
	}
	return all, nil
}

// variantName names a variant of a cohort.
func variantName(c *cohorts.Cohort, v plan.Sensitivity) string { return c.Name + ", " + string(v) }

// like returns the group of a label, and whether there is one.
func (s *followed) like(label string) (group, bool) {
	for _, g := range s.groups {
		if g.label == label {
			return g, true
		}
	}
	return group{}, false
}

// sensitivitySheet shows the headline of the analysis beside that of each variant.
func (s *implant) sensitivitySheet(p *plan.Plan) (report.Sheet, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-sensitivity", Title: "Sensitivity: other choices of shoulders",
		Columns: []string{s.groupHeader(), "Shoulders"},
		Notes:   []report.Text{report.Words(sentence(s.measures[0].name) + " of " + s.endpoint.Label + ".")}}
	for _, t := range s.asked.Times {
		sheet.Columns = append(sheet.Columns, plain(t)+" "+unitWord(string(s.asked.Unit), t))
	}
	others, err := s.repeat(p)
	if err != nil {
		return sheet, err
	}
	for _, o := range others {
		o.countEstimates()
		o.risks(merged(nil, s.asked.Times))
		if err := o.points(o.chooseMeasures()[0]); err != nil {
			return sheet, err
		}
	}
	row := func(f *followed, g group, label string) report.SheetRow {
		r := report.SheetRow{Label: label, Indent: 1, Cells: []report.Cell{number(f.countID(g, "shoulders"))}}
		for _, t := range s.asked.Times {
			r.Cells = append(r.Cells, report.Cell{{Estimate: f.pointID(s.measures[0], g, t), Show: report.ShowValueAndRange}})
		}
		return r
	}
	for _, g := range s.groups {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: g.label, Strong: true}, row(s.followed, g, "Main analysis"))
		for _, o := range others {
			if same, there := o.like(g.label); there {
				sheet.Rows = append(sheet.Rows, row(o.followed, same, o.label))
			}
		}
	}
	return sheet, nil
}

// sensitivitySheet shows the tests of the comparison beside those of each variant.
func (s *comparison) sensitivitySheet(p *plan.Plan) (sheet report.Sheet, any bool, err error) {
	if len(s.asked.Sensitivity) == 0 || s.variant != "" {
		return sheet, false, nil
	}
	others, err := s.repeat(p)
	if err != nil {
		return sheet, false, err
	}
	sheet = report.Sheet{ID: s.asked.ID + "-sensitivity", Title: "Sensitivity: the tests under other choices",
		Columns: []string{"Test", "Shoulders", "Events", "χ²", "p"}}
	compared := []*comparison{s}
	labels := []string{"Main analysis"}
	for _, o := range others {
		c := &comparison{followed: o.followed, measure: s.measure}
		c.countEstimates()
		if err := c.runTests(p); err != nil {
			return sheet, false, err
		}
		compared, labels = append(compared, c), append(labels, o.label)
	}
	for i, t := range s.tests {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(t.name), Strong: true})
		for j, c := range compared {
			if i >= len(c.tests) {
				continue
			}
			id := c.tests[i].id
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: labels[j], Indent: 1, Cells: []report.Cell{
				{{Estimate: id, Show: report.ShowN}}, {{Estimate: id, Show: report.ShowEvents}}, number(c.tests[i].chiID()), number(id)}})
		}
	}
	return sheet, true, nil
}
