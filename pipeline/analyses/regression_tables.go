package analyses

import (
	"deltoid/cohorts"
	"deltoid/pipeline/report"
)

func (s *modelled) endpointWord() string {
	if s.endpoint.Event == cohorts.Revised || s.endpoint.Event == "" {
		return "Revisions"
	}
	return "Events"
}

// effectSheet shows every term with its reference, the shoulders and events of each level, and the ratios alone and adjusted.
func (s *modelled) effectSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-effects", Title: sentence(s.ratioWords()) + "s", Columns: []string{"Characteristic", "Shoulders", s.endpointWord()}}
	if len(s.terms) > 1 {
		sheet.Columns = append(sheet.Columns, "Unadjusted")
	}
	sheet.Columns = append(sheet.Columns, s.adjustedWord(), "p")
	for i, t := range s.terms {
		if heads(t) {
			row := report.SheetRow{Label: t.title, Strong: true, Cells: make([]report.Cell, len(sheet.Columns)-1)}
			if len(t.columns) > 1 {
				row.Cells[len(row.Cells)-1] = number(s.id("test", t.slug) + ".p")
			}
			sheet.Rows = append(sheet.Rows, row)
		}
		for _, e := range t.effects {
			sheet.Rows = append(sheet.Rows, s.effectRow(t, e, s.alone[i] != nil))
		}
	}
	sheet.Notes = []report.Text{say("All models of this table are fitted to the same ", value(s.usedID()), " shoulders. Beside the name of a "+
		"characteristic with several levels stands the p-value of all of them together.")}
	return sheet
}

// heads says whether a term has a row of its own above its effects.
func heads(t *term) bool { return len(t.effects) > 1 || t.between[0] != nil }

func (s *modelled) adjustedWord() string {
	if len(s.terms) > 1 {
		return "Adjusted (" + plain(100*s.asked.Level) + "% interval)"
	}
	return sentence(s.ratioWords()) + " (" + plain(100*s.asked.Level) + "% interval)"
}

// effectRow is the row of one effect.
func (s *modelled) effectRow(t *term, e effect, alone bool) report.SheetRow {
	row := report.SheetRow{Label: rowLabel(t, e)}
	if heads(t) {
		row.Indent = 1
	}
	n, events := number(s.usedID()), number(s.eventID())
	if e.counted {
		n, events = number(s.effectID("shoulders", t, e)), number(s.effectID("events", t, e))
	}
	row.Cells = []report.Cell{n, events}
	if len(s.terms) > 1 {
		cell := report.Cell{}
		if alone {
			cell = s.ratioCell("unadjusted", t, e)
		}
		row.Cells = append(row.Cells, cell)
	}
	row.Cells = append(row.Cells, s.ratioCell("ratio", t, e))
	if e.reference {
		row.Cells = append(row.Cells, report.Cell{})
		return row
	}
	row.Cells = append(row.Cells, number(s.effectID("p", t, e)))
	return row
}

func (s *modelled) ratioCell(what string, t *term, e effect) report.Cell {
	if e.reference {
		return report.Cell(say(value(s.effectID(what, t, e)), " (reference)"))
	}
	return report.Cell(say(inTable(s.effectID(what, t, e))))
}

// rowLabel names an effect; one that stands without a heading names its characteristic too.
func rowLabel(t *term, e effect) string {
	if heads(t) {
		return e.label
	}
	return t.title + ", " + inSentence(e.label)
}

// completeSheet shows how many shoulders each characteristic costs.
func (s *modelled) completeSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-missing", Title: "Shoulders with every value of the model", Columns: []string{"", "Shoulders"},
		Notes: []report.Text{report.Words("A shoulder may lack several values. Models use those with all; when they differ from those left out, so may the ratios.")}}
	row := func(label, id string, indent int) {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: label, Indent: indent, Cells: []report.Cell{number(id)}})
	}
	row("Followed", s.allID(), 0)
	for _, t := range s.terms {
		if t.between[0] == nil {
			row("Without "+inSentence(t.title), s.id("missing", t.slug), 1)
		}
	}
	row("Left out: at least one value is missing", s.lostID(), 0)
	if s.tellsUnknown() {
		row("Left out: "+s.unknownWords(), s.unknownID(), 0)
	}
	row("In the model", s.usedID(), 0)
	return sheet
}

// effectFigures draws the ratios of the model under one another.
func (s *modelled) effectFigures() []report.Figure {
	f := report.Figure{ID: s.asked.ID, Title: sentence(s.ratioWords()) + "s of " + s.what(),
		X: report.Axis{Label: sentence(s.ratioWords()) + " (equal distances are equal ratios)", Unit: report.UnitRatio, Log: true}, Line: s.noneID(),
		Notes: []report.Text{report.Words("Dots are ratios, lines their " + plain(100*s.asked.Level) + "% intervals; a dot without a line is the reference, and an " +
			"arrow marks an interval that goes on. At the upright line the ratio is 1: no difference.")}}
	f.Alt = f.Title + ": one dot with its interval for each level, below the name of its characteristic. The table gives the values."
	for _, t := range s.terms {
		if heads(t) {
			f.Dots = append(f.Dots, report.Dot{Label: t.title, Heading: true})
		}
		for _, e := range t.effects {
			dot := report.Dot{Label: rowLabel(t, e), Estimate: s.effectID("ratio", t, e)}
			if heads(t) {
				dot.Indent = 1
			}
			f.Dots = append(f.Dots, dot)
		}
	}
	if len(f.Dots) > mostDots || len(f.Dots) == 0 {
		return nil
	}
	return []report.Figure{f}
}
