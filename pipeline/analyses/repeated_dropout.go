package analyses

import (
	"deltoid/pipeline/report"
	"deltoid/stats/mixed"
)

// shift supposes that missing scores are worse by some points in some groups of the model.
func (s *repeated) shift(points float64, in func(group int) bool) mixed.Shift {
	if s.scale.HigherIsBetter() {
		points = -points
	}
	delta := make([]float64, len(s.places)*len(s.columns))
	for v := range s.places {
		for g := range s.columns {
			if in(g) {
				delta[v*len(s.columns)+g] = points
			}
		}
	}
	return mixed.Shift{Delta: delta, Between: s.asked.Repeated.Between}
}

// dropoutSheet shows what becomes of the means and differences at the last visit if scores that are missing were worse.
func (s *repeated) dropoutSheet() (report.Sheet, bool) {
	if s.model == nil || len(s.asked.Repeated.WorseBy) == 0 {
		return report.Sheet{}, false
	}
	last := s.each[len(s.each)-1]
	sheet := report.Sheet{ID: s.asked.ID + "-dropout", Title: "If the missing had done worse: the visit " + s.visitWords(last.k), Columns: []string{"Missing scores", "Missing, of those due"}}
	for _, column := range s.columns {
		sheet.Columns = append(sheet.Columns, s.meanHeader(column))
	}
	for _, column := range s.columns[1:] {
		sheet.Columns = append(sheet.Columns, s.labels[column]+" less "+inSentence(s.labels[s.columns[0]]))
	}
	all := len(s.labels) - 1
	first := report.SheetRow{Label: "As expected of such shoulders", Cells: []report.Cell{report.Cell(say(value(last.missing[all]), " of ", value(last.due[all])))}}
	for _, column := range s.columns {
		first.Cells = append(first.Cells, report.Cell(say(inTable(last.mean[column]))))
	}
	for _, column := range s.columns[1:] {
		first.Cells = append(first.Cells, report.Cell(say(inTable(last.difference[column]))))
	}
	sheet.Rows = append(sheet.Rows, first)
	for _, points := range s.asked.Repeated.WorseBy {
		sheet.Rows = append(sheet.Rows, s.worse(last, points))
	}
	if len(s.columns) > 1 {
		sheet.Rows = append(sheet.Rows, s.tippingRow(last, "Difference lost if only the missing of the group had been worse by", "tipping", func(g, at int) bool { return g == at }),
			s.tippingRow(last, "Difference lost if only those of "+inSentence(s.labels[s.columns[0]])+" had been worse by", "tipping-reference", func(g, _ int) bool { return g == 0 }))
	}
	who := "after a shoulder's last score"
	if s.asked.Repeated.Between {
		who = "at a visit that was due"
	}
	sheet.Notes = []report.Text{report.Words("Missing are scores " + who + ". A model of repeated scores supposes that, given the scores and characteristics that are known, those who stay away do as others would; nobody can know. " +
		"A mean moves by the share of missing scores times the points by which they are worse. A difference is lost when its interval holds 0.")}
	return sheet, true
}

func (s *repeated) meanHeader(column int) string {
	if len(s.columns) == 1 {
		return "Adjusted mean"
	}
	return s.labels[column]
}

// worse is the row of one supposition, the same in every group.
func (s *repeated) worse(last *course, points float64) report.SheetRow {
	id := s.visits.Windows[last.k].ID + ".worse-" + plain(points)
	label := plain(points) + " " + s.points() + " worse"
	row := report.SheetRow{Label: sentence(label), Cells: []report.Cell{nil}}
	v, shift := len(s.places)-1, s.shift(points, func(int) bool { return true })
	measure := s.visits.Windows[last.k].Label + ": %s if missing scores were " + label + " than expected"
	for at, column := range s.columns {
		x := s.model.ShiftedMean(v, at, nil, shift, s.asked.Level)
		row.Cells = append(row.Cells, report.Cell(say(inTable(s.effect(id+".mean", column, filled(measure, "adjusted mean score"), x, last.mean[column], last.missing[column], last.due[column])))))
	}
	for at, column := range s.columns[1:] {
		x := s.model.ShiftedDifference(v, at+1, 0, shift, s.asked.Level)
		row.Cells = append(row.Cells, report.Cell(say(inTable(s.effect(id+".difference", column, filled(measure, "adjusted difference"), x,
			last.difference[column], last.missing[column], last.missing[s.columns[0]])))))
	}
	return row
}

// tippingRow says how much worse the missing of some groups would have to be for the difference of each group to be lost.
func (s *repeated) tippingRow(last *course, label, what string, in func(g, at int) bool) report.SheetRow {
	row := report.SheetRow{Label: label, Cells: make([]report.Cell, 1+len(s.columns))}
	w := s.visits.Windows[last.k]
	for at, column := range s.columns[1:] {
		e := s.estimate(w.ID+"."+what, column, w.Label+": points by which missing scores would have to be worse for the difference to be lost", s.scoreUnit())
		e.Method, e.Note = "where an end of the interval of the shifted difference is 0", s.labels[column]+" against "+s.labels[s.columns[0]]
		tip := s.model.TippingPoint(len(s.places)-1, at+1, 0, s.shift(1, func(g int) bool { return in(g, at+1) }), s.asked.Level, s.instrument.Maximum-s.instrument.Minimum)
		switch {
		case tip.Status != mixed.Converged:
			e.Status, e.Note = repeatedStatus(tip.Status), repeatedWords(tip.Status, nil)
		case !tip.Apart:
			e.Status, e.Note = report.NotIdentifiable, "there is no difference to lose: its interval holds 0 as it is"
		case !tip.Found:
			e.Status, e.Note = report.NotReached, "not by any number of points within the scale"
		default:
			e.Value = report.Some(tip.Multiple)
		}
		s.derived(e.ID, last.difference[column], last.missing[column], last.missing[s.columns[0]])
		row.Cells = append(row.Cells, report.Cell(say(inTable(s.add(e)))))
	}
	return row
}
