package analyses

import (
	"strings"

	"deltoid/pipeline/report"
)

func (s *reasons) reasonsHeading() string {
	h := "Reasons for revision"
	if by := s.byWords(); by != "" {
		h += ", by " + by
	}
	return h + s.chosen()
}

// named is how many reasons a sentence names.
const named = 3

func (s *reasons) answer() []report.Text {
	t, ok := s.latest(s.all)
	if len(s.list) == 0 || !ok {
		return []report.Text{report.Words("No revision tells a reason by the times asked for.")}
	}
	g := s.total()
	var values []report.Text
	for _, r := range s.list[:min(named, len(s.list))] {
		values = append(values, say(uncapped(r.label)+" ", shown{s.reasonID(r, g, t), report.ShowValueAndRange}))
	}
	at := shown{s.pointID(s.all, g, t), report.ShowAt}
	most := say("Within ", at, " the most frequent reasons for revision were ", join(values), " of all shoulders, out of ",
		shown{s.pointID(s.all, g, t), report.ShowValueAndRange}, " for any reason.")
	s.short[s.asked.ID] = most
	return []report.Text{most}
}

func (s *reasons) methodText() []report.Text {
	return []report.Text{
		report.Words("Each reason is a cause of its own, with which the other reasons" + s.alsoCompeting() + " compete. The cumulative incidences are Aalen–Johansen " +
			"estimates (Aalen and Johansen, Scand J Stat 1978;5:141) with " + s.incidenceVariance() + ". At every time they add up to the incidence of any reason.")}
}

func (s *reasons) alsoCompeting() string {
	if c := s.competingClause(); c != "" {
		return " and" + strings.TrimPrefix(c, ",")
	}
	return ""
}

func (s *followed) incidenceVariance() string {
	if s.byRows() {
		return "a " + s.varianceWords("") + " (infinitesimal jackknife; Efron 1982)"
	}
	return "the delta-method variance (Dinse and Larson, Biometrika 1986;73:379)"
}

// absentNote lists the reasons that are put together, and those that nobody was revised for.
func (s *reasons) absentNote() []report.Text {
	var notes []report.Text
	if len(s.rare) > 0 {
		notes = append(notes, report.Words("Put together as other reasons, because some of their numbers are too small to be shown by themselves: "+
			uncappedList(s.rare)+"."))
	}
	if len(s.ended.Absent) > 0 {
		notes = append(notes, report.Words("No shoulder was revised for: "+uncappedList(s.ended.Absent)+"."))
	}
	return notes
}

func uncappedList(labels []string) string {
	out := make([]string, len(labels))
	for i, l := range labels {
		out[i] = uncapped(l)
	}
	return strings.Join(out, "; ") // a label may hold a comma
}

// sheets shows, for each time, every reason by group; where the groups are many, the whole cohort by time.
func (s *reasons) sheets() []report.Sheet {
	if len(s.parts()) > manyGroups || len(s.groups) == 1 {
		return []report.Sheet{s.byTime()}
	}
	var sheets []report.Sheet
	for _, t := range s.asked.Times {
		sheet := report.Sheet{ID: s.asked.ID + "-" + slug(s.timeMark(t)),
			Title:   "Cumulative incidence at " + plain(t) + " " + unitWord(string(s.asked.Unit), t),
			Columns: []string{"Reason"}}
		for _, g := range s.groups {
			sheet.Columns = append(sheet.Columns, g.label)
		}
		s.reasonRows(&sheet, func(id func(g group, t float64) string) []report.Cell {
			var cells []report.Cell
			for _, g := range s.groups {
				cells = append(cells, report.Cell{{Estimate: id(g, t), Show: report.ShowValueAndRange}})
			}
			return cells
		})
		sheets = append(sheets, sheet)
	}
	return sheets
}

// byTime shows the whole cohort at every time.
func (s *reasons) byTime() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-times", Title: "Cumulative incidence", Columns: []string{"Reason"}}
	for _, t := range s.asked.Times {
		sheet.Columns = append(sheet.Columns, plain(t)+" "+unitWord(string(s.asked.Unit), t))
	}
	s.reasonRows(&sheet, func(id func(g group, t float64) string) []report.Cell {
		var cells []report.Cell
		for _, t := range s.asked.Times {
			cells = append(cells, report.Cell{{Estimate: id(s.total(), t), Show: report.ShowValueAndRange}})
		}
		return cells
	})
	if len(s.groups) > 1 {
		sheet.Notes = []report.Text{report.Words("The estimates of every group are in the estimates table.")}
	}
	return sheet
}

// reasonRows adds a row for each reason, and those for any reason and the numbers at risk.
func (s *reasons) reasonRows(sheet *report.Sheet, cells func(id func(g group, t float64) string) []report.Cell) {
	for _, r := range s.list {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: r.label, Cells: cells(func(g group, t float64) string { return s.reasonID(r, g, t) })})
	}
	sheet.Rows = append(sheet.Rows,
		report.SheetRow{Label: "Any reason", Strong: true, Cells: cells(func(g group, t float64) string { return s.pointID(s.all, g, t) })},
		report.SheetRow{Label: "Numbers at risk", Cells: plainCells(cells(s.riskID))})
}

// plainCells shows counts bare.
func plainCells(cells []report.Cell) []report.Cell {
	for _, c := range cells {
		c[0].Show = report.ShowValue
	}
	return cells
}
