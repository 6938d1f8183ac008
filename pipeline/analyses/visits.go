package analyses

import (
	"slices"

	"deltoid/cohorts"
	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// visitRows are the states of a visit in the order of the table.
var visitRows = []struct {
	state cohorts.VisitState
	slug  string
	words string
}{
	{cohorts.Assessed, "assessed", "Assessed"},
	{cohorts.NotAssessed, "missing", "Due and not assessed"},
	{cohorts.Dead, "dead", "Died before"},
	{cohorts.AlreadyRevised, "ended", "Endpoint reached before"},
	{cohorts.NotDue, "not-due", "Not due yet"},
}

// visited is what is said about one instrument.
type visited struct {
	answer []report.Text
	sheets []report.Sheet
}

// visits says who was assessed with an instrument at each visit, and whether those who were missed differ.
func (s *followUp) visits(instrument string) (visited, error) {
	v, err := s.cohort.Visits(instrument, s.plan.Visits, s.endpoint, s.plan.FollowUp)
	if err != nil {
		return visited{}, err
	}
	name := s.instrumentName(instrument)
	if v == nil {
		return visited{answer: []report.Text{report.Words("No scores were linked, so nothing can be said about visits with the " + name + ".")}}, nil
	}
	var out visited
	sheet := report.Sheet{ID: s.id(instrument, "visits"), Title: name + ": who was assessed at each visit", Columns: []string{"Visit"}}
	for _, r := range visitRows {
		sheet.Columns = append(sheet.Columns, r.words)
	}
	sheet.Columns = append(sheet.Columns, "Assessed of those due")
	last := -1
	for k := range v.Windows {
		row, share := s.visitRow(v, k, instrument)
		sheet.Rows = append(sheet.Rows, row)
		if s.get(share).Value.Known {
			last = k
			out.answer = []report.Text{say("At the visit “"+v.Windows[k].Label+"”, ", withInterval(share), " of the shoulders due were assessed with the "+name+".")}
		}
	}
	out.sheets = []report.Sheet{sheet}
	if last < 0 {
		return out, nil
	}
	apart, answer, err := s.missing(v, last, instrument)
	if err != nil || apart == nil {
		return out, err
	}
	out.sheets, out.answer = append(out.sheets, *apart), append(out.answer, answer...)
	return out, nil
}

func (s *followUp) instrumentName(code string) string {
	schema, err := schemas.Shipped("scores")
	if err != nil || schema.Field("instrument") == nil {
		return code
	}
	return schema.Field("instrument").Label(code)
}

// visitRow records the states at one visit and returns its row, and the id of the share assessed.
func (s *followUp) visitRow(v *cohorts.Visits, k int, instrument string) (row report.SheetRow, share string) {
	counts, w := v.Counts(k), v.Windows[k]
	row.Label = w.Label
	var ids []string
	for _, r := range visitRows {
		e := report.Count(s.id(instrument, w.ID, r.slug), s.asked.ID, w.Label+": "+inSentence(r.words), counts[r.state], shoulders)
		e.Cohort = s.cohort.Name
		ids = append(ids, s.add(e))
		row.Cells = append(row.Cells, number(ids[len(ids)-1]))
	}
	s.total(s.whole[len(s.whole)-1], ids...)
	due := counts[cohorts.Assessed] + counts[cohorts.NotAssessed]
	e := report.Estimate{ID: s.id(instrument, w.ID, "share"), Analysis: s.asked.ID, Cohort: s.cohort.Name,
		Measure: w.Label + ": assessed of those due", Unit: report.UnitProbability,
		Method: "proportion, Wilson interval", Status: report.Estimated}
	share = s.add(withWilson(e, counts[cohorts.Assessed], due, s.asked.Level))
	s.derived(share, ids[0], ids[1])
	row.Cells = append(row.Cells, report.Cell(say(inTable(share))))
	return row, share
}

// missing compares who was assessed at a visit with who was due and was not. It is nil when either is nobody.
func (s *followUp) missing(v *cohorts.Visits, k int, instrument string) (*report.Sheet, []report.Text, error) {
	counts := v.Counts(k)
	if counts[cohorts.Assessed] == 0 || counts[cohorts.NotAssessed] == 0 {
		return nil, nil, nil
	}
	p := &portrait{book: s.book, plan: s.plan, asked: s.asked, cohort: s.cohort, groups: 2,
		labels: []string{"Assessed", "Due and not assessed"}, group: make([]int32, len(v.State[k]))}
	p.asked.ID, p.asked.PValues, p.asked.Fields = s.id(instrument, v.Windows[k].ID, "compared"), false, nil
	for i, state := range v.State[k] {
		switch state {
		case cohorts.Assessed:
			p.group[i] = 0
		case cohorts.NotAssessed:
			p.group[i] = 1
		default:
			p.group[i] = nobody
		}
	}
	b := &baseline{portrait: p.counted(), compares: "Those assessed and those missing at the visit “" + v.Windows[k].Label + "”"}
	b.whole = b.counts("shoulders", "shoulders", shoulders, b.n)
	b.rows = append(b.rows, b.line("Shoulders", 0, func(column int) report.Cell { return number(b.whole[column]) }))
	for _, field := range s.comparedFields() {
		if err := b.characteristic(field); err != nil {
			return nil, nil, err
		}
	}
	sheet := b.sheet()
	sheet.ID, sheet.Title = p.asked.ID, "Assessed against missing at the visit “"+v.Windows[k].Label+"”"
	return &sheet, b.answer()[:1], nil
}

// comparedFields are what those assessed and those missing are compared in: what anybody has, and the groups.
func (s *followUp) comparedFields() []string {
	var fields []string
	for _, f := range []string{"age", "sex", "bmi", "asa", "indication", s.asked.Groups.By} {
		if f != "" && !slices.Contains(fields, f) && s.cohort.Registry.Column(f, s.cohort.Definition.Indication) != nil {
			fields = append(fields, f)
		}
	}
	return fields
}
