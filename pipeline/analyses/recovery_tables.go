package analyses

import (
	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/change"
)

// byVisit makes rows: a heading for each visit with a row for each column below it, or one row for each visit where there is
// one column.
func (s *recovery) byVisit(cells func(v *visitCount, column int) []report.Cell) []report.SheetRow {
	var rows []report.SheetRow
	for _, v := range s.each {
		label := s.visits.Windows[v.k].Label
		if len(s.labels) == 1 {
			rows = append(rows, report.SheetRow{Label: label, Cells: cells(v, 0)})
			continue
		}
		width := len(cells(v, 0))
		rows = append(rows, report.SheetRow{Label: label, Strong: true, Cells: make([]report.Cell, width)})
		for column, name := range s.labels {
			rows = append(rows, report.SheetRow{Label: name, Indent: 1, Cells: cells(v, column)})
		}
	}
	return rows
}

// shareSheet shows the first threshold: who counts, who was scored, and the share in three ways.
func (s *recovery) shareSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-table", Title: "Who reached the first threshold, and what the missing scores could make of it",
		Columns: []string{"Visit", "Shoulders", "Scored", "Share of those scored", s.ruledHeader(), "Share with these, weighted for who is missing", "If no missing one had", "If all missing had"},
		Rows: s.byVisit(func(v *visitCount, column int) []report.Cell {
			return []report.Cell{number(v.counted[column]), number(v.answered[column]), report.Cell(say(inTable(v.share[0][column]))), number(v.ruled[column]),
				report.Cell(say(inTable(v.weighted[column]))), report.Cell(say(inTable(v.least[column]))), report.Cell(say(inTable(v.most[column])))}
		})}
	note := say("Threshold: ", s.says(s.goals[0]), ", "+s.goals[0].source+". Shoulders are those ")
	if s.about == change.OfChange {
		note = say(note, "with a score before the operation ")
	}
	note = say(note, "whose visit was due. "+s.rulingWords())
	sheet.Notes = []report.Text{note, report.Words("A revision is known of every shoulder, and a score only of those who came; so the share of those scored leaves revised shoulders aside, and the weighted share counts them with the weight that they have among all. The last two columns hold whatever the missing scores were.")}
	return sheet
}

// ruledHeader names those who count as not improved without a score.
func (s *recovery) ruledHeader() string {
	revised, died := s.asked.Scores.Revised == plan.NotImproved, s.asked.Scores.Died == plan.NotImproved
	switch {
	case revised && died:
		return "Revised or died, counted as not improved"
	case died:
		return "Died, counted as not improved"
	}
	return "Revised, counted as not improved"
}

// goalSheet shows every threshold of the plan side by side, in the whole cohort.
func (s *recovery) goalSheet() report.Sheet {
	last := len(s.labels) - 1
	sheet := report.Sheet{ID: s.asked.ID + "-thresholds", Title: "By threshold", Columns: []string{"Threshold", sentence(s.points())}}
	for _, v := range s.each {
		sheet.Columns = append(sheet.Columns, s.visits.Windows[v.k].Label)
	}
	for i, g := range s.goals {
		row := report.SheetRow{Label: sentence(g.source), Cells: []report.Cell{report.Cell(say(inTable(g.id)))}}
		for _, v := range s.each {
			row.Cells = append(row.Cells, report.Cell(say(inTable(v.share[i][last]))))
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	sheet.Notes = []report.Text{report.Words("Complete cases of the whole cohort. No threshold is right by itself: the answer goes with the choice, which is why several stand here.")}
	return sheet
}

// scoreSheet shows the scores themselves.
func (s *recovery) scoreSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-scores", Title: sentence(s.instrument.Title) + ", " + s.points()}
	if s.about == change.OfState {
		sheet.Columns = []string{"Visit", "With a score", "Mean (SD)", "At the best end", "At the worst end"}
		sheet.Rows = s.byVisit(func(v *visitCount, column int) []report.Cell {
			return []report.Cell{number(v.paired[column]), valueAndShare(v.mean[column], v.spread[column]), s.ofAll(column, v.ceiling), s.ofAll(column, v.floor)}
		})
		return sheet
	}
	sheet.Columns = []string{"Visit", "With both scores", "Before, mean (SD)", "At the visit, mean (SD)", "Mean improvement", "Of what was possible", "At the best end", "At the worst end before"}
	sheet.Rows = s.byVisit(func(v *visitCount, column int) []report.Cell {
		return []report.Cell{number(v.paired[column]), valueAndShare(v.meanBefore[column], v.spreadBefore[column]), valueAndShare(v.mean[column], v.spread[column]),
			report.Cell(say(inTable(v.change[column]))), report.Cell(say(inTable(v.possible[column]))), s.ofAll(column, v.ceiling), s.ofAll(column, v.floor)}
	})
	sheet.Notes = []report.Text{report.Words("Of those with both scores. What was possible is the way from the score before the operation to the best end of the scale. Who begins near an end of the scale can only move one way.")}
	return sheet
}

// ofAll is a cell that only the row of the whole cohort has.
func (s *recovery) ofAll(column int, id string) report.Cell {
	if column < len(s.labels)-1 {
		return nil
	}
	return report.Cell(say(inTable(id)))
}

// compared returns the groups that are compared: those that are recorded.
func (s *scored) compared() []int {
	var groups []int
	for i := range s.groups {
		if s.labels[i] != cohorts.NotRecorded {
			groups = append(groups, i)
		}
	}
	return groups
}
