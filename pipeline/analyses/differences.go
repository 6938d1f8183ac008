package analyses

import (
	"deltoid/pipeline/report"
	"deltoid/stats/survival"
)

// differenceSheet shows the headline measure at fixed times, and how each group differs from the reference.
func (s *comparison) differenceSheet() (sheet report.Sheet, any bool, err error) {
	if len(s.asked.Times) == 0 {
		return sheet, false, nil
	}
	if err := s.points(s.measure); err != nil {
		return sheet, false, err
	}
	sheet = report.Sheet{ID: s.asked.ID + "-differences",
		Notes: []report.Text{report.Words(sentence(s.measure.name) + "; differences are in percentage points.")}, Title: "At fixed times, with differences",
		Columns: []string{s.groupHeader()}}
	for _, t := range s.asked.Times {
		sheet.Columns = append(sheet.Columns, plain(t)+" "+unitWord(string(s.asked.Unit), t))
	}
	for i, g := range s.parts() {
		label := g.label
		if i == 0 {
			label += " (reference)"
		}
		row := report.SheetRow{Label: label}
		for _, t := range s.asked.Times {
			row.Cells = append(row.Cells, report.Cell{{Estimate: s.pointID(s.measure, g, t), Show: report.ShowValueAndRange}})
		}
		sheet.Rows = append(sheet.Rows, row)
		if i == 0 || i >= len(s.compared()) {
			continue
		}
		difference := report.SheetRow{Label: "Difference from the reference", Indent: 1}
		p := report.SheetRow{Label: "p of no difference then", Indent: 1}
		for _, t := range s.asked.Times {
			if err := s.difference(g, t); err != nil {
				return sheet, false, err
			}
			difference.Cells = append(difference.Cells, report.Cell{{Estimate: s.differenceID(g, t), Show: report.ShowValueAndRange}})
			p.Cells = append(p.Cells, number(s.differenceID(g, t)+".p"))
		}
		sheet.Rows = append(sheet.Rows, difference, p)
	}
	return sheet, true, nil
}

func (s *comparison) differenceID(g group, t float64) string {
	return s.id("difference", g.slug, s.timeMark(t))
}

// difference records by how much a group differs from the reference at a time, and the test of no difference.
func (s *comparison) difference(g group, t float64) error {
	a, err := s.pointAt(g, t)
	if err != nil {
		return err
	}
	b, err := s.pointAt(s.reference(), t)
	if err != nil {
		return err
	}
	shared := s.shared(g, t)
	c, err := a.Minus(b, shared)
	if err != nil {
		return err
	}
	from := []string{s.pointID(s.measure, g, t), s.pointID(s.measure, s.reference(), t)}
	id := s.differenceID(g, t)
	e := s.at(s.contrasted(id, g, s.reference(), "difference in "+s.measure.name, report.UnitDifference, c, from...), t)
	e.Method = "difference of two estimates (" + s.measure.method + "), " + s.together() + ", interval on the plain scale"
	s.add(e)
	return s.differs(id, g, [2]survival.Point{a, b}, shared, t, from)
}

// shared is the covariance of the measure in a group and in the reference at a time, because of patients with shoulders in
// both; 0 where shoulders are taken as independent.
func (s *comparison) shared(g group, t float64) float64 {
	at := s.days(t)
	return s.measure.curve(g).Influence(at).With(s.measure.curve(s.reference()).Influence(at))
}

// differs records the p-value of no difference at a time.
func (s *comparison) differs(id string, g group, points [2]survival.Point, shared, t float64, from []string) error {
	test, err := points[0].Differs(points[1], survival.LogLog, shared)
	if err != nil {
		return err
	}
	c := survival.Contrast{Value: test.P, Status: test.Status, Limits: survival.NoVariance}
	e := s.at(s.contrasted(id+".p", g, s.reference(), "p value of no difference in "+s.measure.name, report.UnitPValue, c, from...), t)
	if test.Status == survival.Estimated {
		e.Note = ""
	}
	e.Method = "two estimates (" + s.measure.method + ") compared on the complementary log-log scale, " + s.together()
	s.add(e)
	return nil
}

// pointAt is the measure of a group at a time, turned round where the measure is.
func (s *comparison) pointAt(g group, t float64) (survival.Point, error) {
	p, err := s.measure.curve(g).Interval(s.days(t), s.asked.Level, scaleOf(s.asked.Interval))
	if s.measure.flip {
		p = p.Complement()
	}
	return p, err
}
