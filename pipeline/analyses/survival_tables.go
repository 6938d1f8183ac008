package analyses

import (
	"deltoid/pipeline/report"
)

// table shows every measure of every group at the times asked for, with the numbers at risk.
func (s *implant) table() (report.Sheet, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-values", Title: "At the times asked for", Columns: []string{s.groupHeader()}}
	var columns []string
	for _, t := range s.asked.Times {
		columns = append(columns, plain(t))
		sheet.Columns = append(sheet.Columns, plain(t)+" "+unitWord(string(s.asked.Unit), t))
	}
	wide, err := widen(s.longCells(), columns)
	if err != nil {
		return sheet, err
	}
	for _, g := range s.groups {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: g.label, Strong: true, Cells: make([]report.Cell, len(columns))})
		for _, m := range s.measures {
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(m.name), Indent: 1, Cells: wide[s.id(m.slug, g.slug)]})
		}
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: "Numbers at risk", Indent: 1, Cells: wide[s.id("at-risk", g.slug)]})
	}
	for _, m := range s.measures {
		sheet.Notes = append(sheet.Notes, report.Words(sentence(m.name)+": "+m.question))
	}
	return sheet, nil
}

// longCells lists the cells of the table, one after the other.
func (s *implant) longCells() []long {
	var cells []long
	for _, g := range s.groups {
		for _, t := range s.asked.Times {
			for _, m := range s.measures {
				cells = append(cells, long{s.id(m.slug, g.slug), plain(t),
					report.Cell{{Estimate: s.pointID(m, g, t), Show: report.ShowValueAndRange}}})
			}
			cells = append(cells, long{s.id("at-risk", g.slug), plain(t),
				report.Cell{{Estimate: s.riskID(g, t), Show: report.ShowValue}}})
		}
	}
	return cells
}

// countTable shows how the episodes of each group ended.
func (s *followed) countTable() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-counts", Title: "How follow-up ended", Columns: []string{s.groupHeader(), "Shoulders"}}
	for i := range s.episodes.Causes {
		sheet.Columns = append(sheet.Columns, sentence(causeName(s.episodes.Causes, i)))
	}
	sheet.Columns = append(sheet.Columns, "Still under observation")
	if s.episodes.Divided > 0 {
		sheet.Columns = append(sheet.Columns, "Went on in another group")
	}
	for _, g := range s.groups {
		row := report.SheetRow{Label: g.label, Strong: len(s.groups) > 1 && g.slug == s.total().slug}
		cell := func(what string) {
			row.Cells = append(row.Cells, report.Cell(say(value(s.countID(g, what)))))
		}
		cell("shoulders")
		for _, cause := range s.episodes.Causes {
			cell("ended-" + slug(string(cause)))
		}
		cell("ended-censored")
		if s.episodes.Divided > 0 {
			cell("passed")
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	return sheet
}

// groupHeader heads the column of the groups.
func (s *followed) groupHeader() string {
	if by := s.byWords(); by != "" {
		return sentence(by)
	}
	return "Group"
}

// unitWord is a unit after a number: 1 year, 2 years.
func unitWord(unit string, n float64) string {
	if n == 1 {
		return unit[:len(unit)-1]
	}
	return unit
}
