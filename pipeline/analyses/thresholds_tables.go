package analyses

import (
	"strconv"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/change"
)

// anchorSheet shows whether the answers can carry a threshold.
func (s *thresholds) anchorSheet(a *asking) report.Sheet {
	c := a.table.Anchor
	sheet := report.Sheet{ID: s.asked.ID + "-" + string(a.of) + "-checks", Title: "Can " + instrumentSpoken(a.code) + " carry it?", Columns: []string{"Check", "Value"}}
	count := func(what, label string, n int) {
		e := report.Count(s.id(string(a.of), "checks", what), s.asked.ID, label, n, shoulders)
		e.Cohort = s.cohort.Name
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(label), Cells: []report.Cell{number(s.add(e))}})
	}
	row := func(what, label, unit string, x change.Estimate) {
		e := report.Estimate{ID: s.id(string(a.of), "checks", what), Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: label, Unit: unit, Method: "rank correlation", Status: report.Estimated}
		if settle(&e, x); e.Status == report.Estimated {
			e.N = report.Some(float64(c.N))
		}
		s.derived(e.ID, a.n)
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(label), Cells: []report.Cell{report.Cell(say(inTable(s.add(e))))}})
	}
	sheet.Rows = append(sheet.Rows, report.SheetRow{Label: "Shoulders with the scores and an answer", Cells: []report.Cell{number(a.n)}})
	count("no-answer", "with the scores and no answer", c.NoAnswer)
	count("no-score", "with an answer and not all the scores", c.NoScore)
	row("by-rank", "rank correlation of the answers with the "+a.question.About.String()+" (Spearman)", report.UnitCorrelation, c.ByRank)
	row("polyserial", "polyserial correlation", report.UnitCorrelation, c.Polyserial)
	row("with-before", "rank correlation with the score before the operation", report.UnitCorrelation, c.WithBaseline)
	row("with-after", "rank correlation with the score at the visit", report.UnitCorrelation, c.WithFollowUp)
	row("area", "area under the curve of the "+a.question.About.String(), report.UnitArea, a.table.Area)
	sheet.Notes = s.supportNotes(a)
	return sheet
}

// supportNotes say what follows from the checks. They hold no counts.
func (s *thresholds) supportNotes(a *asking) []report.Text {
	c := a.table.Anchor
	notes := []report.Text{report.Words("The least correlation that supports a threshold is " + plain(a.question.Floor) + " here (Revicki and others, J Clin Epidemiol 2008;61:102, ask for 0.30 to 0.35).")}
	if !c.Support.OK() {
		notes = append(notes, report.Words("Not supported: "+s.refusal(a)+"."))
	}
	if c.RecallRisk != "" {
		notes = append(notes, report.Words("Risk of recall: the answers go with the present state more than they should if they were about the change. Who began worse should report more change for the same result."))
	}
	if len(c.Falling) > 0 {
		notes = append(notes, report.Words("In two neighbouring answers the better one has the lower mean: the answers are not in the order that they should have, or are few."))
	}
	return notes
}

// refusal says why the answers support no threshold, and what to look at.
func (s *thresholds) refusal(a *asking) string {
	c := a.table.Anchor
	switch {
	case c.Support.Status == change.NoRows:
		return "no shoulder has the scores and an answer at " + s.visitWords(s.last()) + "; ask about a visit at which the question was put"
	case c.Support.Status == change.NoSpread:
		return "all answers are the same, and what does not vary says nothing"
	case c.ByRank.OK() && c.ByRank.Value < 0:
		return "the answers run against the score. The scale, or its direction, or the order of the answers is declared the wrong way round, or the score is of another version (scales)"
	case c.Support.Status == change.NotSupported:
		return "the answers do not go with the " + a.question.About.String() + " closely enough to be about what the score measures"
	}
	_, why := notFound(c.Support)
	return why
}

// answerSheet shows what those who gave each answer are like.
func (s *thresholds) answerSheet(a *asking) report.Sheet {
	what := "Mean improvement (SD)"
	if a.question.About == change.OfState {
		what = "Mean score (SD)"
	}
	sheet := report.Sheet{ID: s.asked.ID + "-" + string(a.of) + "-answers", Title: "By answer to " + instrumentSpoken(a.code), Columns: []string{"Answer", "Shoulders", what, "Counts as"}}
	var ids []string
	for _, category := range a.table.Anchor.Categories {
		name := "answer-" + slug(answerWords(a.code, category.Answer))
		e := report.Count(s.id(string(a.of), name), s.asked.ID, "answer: "+answerWords(a.code, category.Answer), int(category.Values.N), shoulders)
		e.Cohort = s.cohort.Name
		n := s.add(e)
		ids = append(ids, n)
		part := func(slug, measure string, x change.Estimate) string {
			e := report.Estimate{ID: n + "." + slug, Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: measure, Unit: s.scoreUnit(), Method: "of those who gave the answer", Status: report.Estimated}
			settle(&e, x)
			s.derived(e.ID, n)
			return s.add(e)
		}
		cell := valueAndShare(part("mean", "mean by answer", mean(category.Values)), part("sd", "standard deviation by answer", spread(category.Values)))
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: answerWords(a.code, category.Answer), Cells: []report.Cell{number(n), cell, words(a.role(category.Answer))}})
	}
	if len(ids) > 0 {
		s.total(a.n, ids...)
	}
	return sheet
}

// role says what an answer counts as.
func (a *asking) role(answer int32) string {
	q := a.question
	switch {
	case q.About == change.OfState && answer >= q.Improved:
		return "acceptable"
	case q.About == change.OfState:
		return "not acceptable"
	case answer == q.Minimal:
		return map[bool]string{true: "just improved enough", false: "just benefited enough"}[a.of == plan.Minimal]
	case answer > q.Improved:
		return "improved"
	case answer == q.Unchanged:
		return "unchanged"
	}
	return "not improved"
}

func instrumentSpoken(code string) string {
	i, _ := schemas.InstrumentOf(code)
	return i.Spoken
}

// listSheet lists published thresholds beside the own ones.
func (s *thresholds) listSheet() (report.Sheet, bool) {
	sheet := report.Sheet{ID: s.asked.ID + "-published", Title: "Published thresholds of " + s.instrument.Spoken, Columns: []string{"Published by", "Kind", sentence(s.points()), "Patients", "Method", "Follow-up", "Read at"}}
	for i, p := range schemas.PublishedFor(s.instrument.Code) {
		e := report.Estimate{ID: s.id("published-" + strconv.Itoa(i+1)), Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: "published threshold", Unit: s.scoreUnit(), Status: report.Estimated,
			Value: report.Some(p.Ours()), Method: "published: " + p.ID, Note: publishedWords(p)}
		if p.To != nil {
			e.Lower, e.Upper = report.Some(p.Value), report.Some(*p.To)
		}
		row := publishedRow(p, s.add(e), "")
		row.Cells = append(row.Cells[:2:2], row.Cells[3:]...)
		sheet.Rows = append(sheet.Rows, row)
	}
	sheet.Notes = []report.Text{report.Words("None of these is a default; a plan names one by its id, which stands in the table of estimates. A value from memory was not read at its source and cannot be chosen.")}
	return sheet, len(sheet.Rows) > 0
}

// dots draws the methods of what is asked for first side by side.
func (s *thresholds) dots() []report.Figure {
	a := s.asking[0]
	f := report.Figure{ID: s.asked.ID, Title: benefitWords[a.of] + " of " + s.instrument.Spoken + " by method", X: report.Axis{Label: sentence(s.points()), Unit: s.scoreUnit()},
		Alt: "Each method with its interval; the table gives the values."}
	any := false
	for _, t := range a.table.Rows {
		if s.shows(a, t.Method) && !t.Method.Ratio() && t.OK() {
			any = true
			f.Dots = append(f.Dots, report.Dot{Label: sentence(t.Method.String()), Estimate: thresholdID(s.asked.ID, a.of, t.Method)})
		}
	}
	if !any {
		return nil
	}
	return []report.Figure{f}
}
