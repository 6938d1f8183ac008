package analyses

import (
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// describing are the kinds of analysis that answer what a reviewer asks about a cohort. A report that has one of them
// closes with the list of questions.
var describing = []plan.Kind{plan.Baseline, plan.BothShoulders, plan.Indication, plan.ProcedureAudit, plan.FollowUpKind}

// finished is the sections of the analyses of a report, by kind: the first of each.
type finished map[plan.Kind]report.Section

func (f finished) describes() bool {
	for _, kind := range describing {
		if _, ok := f[kind]; ok {
			return true
		}
	}
	return false
}

// questionsSection answers what a reviewer usually asks about a cohort, each by a sentence that says where the table is.
func questionsSection(b *book, p *plan.Plan, c *cohorts.Cohort, flow report.Section, done finished) report.Section {
	q := questions{plan: p, done: done, flow: flow}
	q.ask("How many patients, and how many shoulders?", b.short[flow.ID], flow)
	q.ask("Who was left out, and why?", q.leftOut(b), flow)
	q.of("How was the indication decided?", plan.Indication)
	q.revision()
	q.of("What about both sides of one patient?", plan.BothShoulders)
	q.death(b)
	q.of("How long and how complete is follow-up?", plan.FollowUpKind)
	q.missing()
	q.of("Are the groups comparable?", plan.Baseline)
	return report.Section{ID: "questions", Heading: "What a reviewer asks", Question: "Which questions about the participants does this report answer, and where?",
		Answer: []report.Text{report.Words("Each question is answered by a sentence; the section named beside it has the table.")},
		Sheets: []report.Sheet{{ID: "questions", Title: "Questions and answers", Columns: []string{"Question", "Answer", "Section"}, Rows: q.rows}},
		Notes:  []report.Text{report.Words(q.items())}}
}

type questions struct {
	plan *plan.Plan
	done finished
	flow report.Section
	rows []report.SheetRow
}

func (q *questions) ask(question string, answer report.Text, where report.Section) {
	q.rows = append(q.rows, report.SheetRow{Label: question, Cells: []report.Cell{report.Cell(answer), words(where.Heading)}})
}

// of answers a question by the first sentence of an analysis, or says that the plan did not ask for it.
func (q *questions) of(question string, kind plan.Kind) {
	s, ok := q.done[kind]
	if !ok {
		q.unasked(question, kind)
		return
	}
	q.ask(question, s.Answer[0], s)
}

func (q *questions) unasked(question string, kind plan.Kind) {
	q.rows = append(q.rows, report.SheetRow{Label: question, Cells: []report.Cell{
		words("The plan does not ask: add an analysis of the kind “" + string(kind) + "”."), {}}})
}

// leftOut lists who left at the steps of the flow, in their order.
func (q *questions) leftOut(b *book) report.Text {
	var items []report.Text
	for _, box := range q.flow.Figures[0].Boxes {
		for _, leave := range box.Left {
			items = append(items, say(inSentence(leave.Reason)+": ", leave.Count))
		}
	}
	if len(items) == 0 {
		return report.Words("Nobody was left out.")
	}
	var t report.Text
	for i, item := range items {
		if i > 0 {
			t = append(t, report.Span{Words: "; "})
		}
		t = append(t, item...)
	}
	t[0].Words = sentence(t[0].Words)
	return say(t, ".")
}

// revision says what each endpoint of the plan counts.
func (q *questions) revision() {
	const question = "What is a revision?"
	var parts []string
	for i := range q.plan.Endpoints {
		if e := &q.plan.Endpoints[i]; e.Event == cohorts.Revised || e.Event == "" {
			parts = append(parts, "“"+e.Label+"” counts "+countsWords(e))
		}
	}
	if len(parts) == 0 {
		parts = append(parts, "No endpoint of this report is a revision")
	}
	answer := report.Words(sentence(strings.Join(parts, "; ")) + ". An exchange in two stages is one revision, at its first stage.")
	for _, kind := range []plan.Kind{plan.ImplantSurvival, plan.Reasons, plan.Comparison} {
		if s, ok := q.done[kind]; ok {
			q.ask(question, say(answer, " ", shortCount(s)), s)
			return
		}
	}
	q.unasked(question, plan.ImplantSurvival)
}

// shortCount is the last sentence of a survival analysis, which says how follow-up ended.
func shortCount(s report.Section) report.Text { return s.Answer[len(s.Answer)-1] }

func countsWords(e *cohorts.Endpoint) string {
	switch {
	case len(e.Reasons) > 0:
		return "a reoperation for " + strings.ReplaceAll(strings.Join(e.Reasons, " or "), "_", " ")
	case e.Counts == cohorts.ComponentExchanged:
		return "a reoperation in which a component was added, exchanged or removed"
	}
	return "any reoperation recorded as a revision"
}

// death says how deaths are handled and how many there were.
func (q *questions) death(b *book) {
	const question = "What about death?"
	s, ok := q.done[plan.FollowUpKind]
	if !ok {
		q.unasked(question, plan.FollowUpKind)
		return
	}
	var competing, censoring []string
	for i := range q.plan.Endpoints {
		e := &q.plan.Endpoints[i]
		switch {
		case e.Event == cohorts.Died:
		case competes(e):
			competing = append(competing, e.Label)
		default:
			censoring = append(censoring, e.Label)
		}
	}
	var rules []string
	if len(competing) > 0 {
		rules = append(rules, "Death competes with "+strings.Join(competing, ", ")+": who has died cannot come to it any more, and is not taken for still at risk")
	}
	if len(censoring) > 0 {
		rules = append(rules, "Death ends the observation of "+strings.Join(censoring, ", ")+" and censors it")
	}
	q.ask(question, say(strings.Join(rules, ". ")+". The patients of ", value(s.ID+".died."+lastSlug(b, s)), " of ", value(s.ID+".shoulders."+lastSlug(b, s)),
		" shoulders had died by the end of follow-up."), s)
}

// lastSlug is the part of an id that stands for the whole cohort in a follow-up section: that of its last column.
func lastSlug(b *book, s report.Section) string {
	cells := s.Sheets[0].Rows[0].Cells
	return strings.TrimPrefix(cells[len(cells)-1][0].Estimate, s.ID+".shoulders.")
}

func competes(e *cohorts.Endpoint) bool {
	for _, c := range e.Competing {
		if c == cohorts.Died {
			return true
		}
	}
	return false
}

// missing says who is missing, at the last visit where visits are followed, and else from the records.
func (q *questions) missing() {
	const question = "Who is missing, and do they differ?"
	s, ok := q.done[plan.FollowUpKind]
	if !ok {
		q.unasked(question, plan.FollowUpKind)
		return
	}
	if len(s.Answer) == 1 {
		q.ask(question, report.Words("No visits are followed. The table of follow-up counts who was last known about before the data cut, and the table of baseline characteristics who lacks a value."), s)
		return
	}
	var t report.Text
	for i, sentence := range s.Answer[1:] {
		if i > 0 {
			t = append(t, report.Span{Words: " "})
		}
		t = append(t, sentence...)
	}
	q.ask(question, t, s)
}

// items names the reporting items on participants that the report covers. The numbers of STROBE (cohort studies) and RECORD
// are partly from memory; hold them against the published checklists before relying on them.
func (q *questions) items() string {
	strobe := []string{"6a (who is in)", "13a to 13c (numbers at each step, reasons, flow diagram)"}
	record := []string{"6.3 and 12.3 (linkage)", "13.1 (filtering, with a flow diagram)"}
	if _, ok := q.done[plan.Baseline]; ok {
		strobe = append(strobe, "14a and 14b (characteristics, and how many values are missing)")
	}
	if _, ok := q.done[plan.FollowUpKind]; ok {
		strobe = append(strobe, "14c (follow-up time)", "12d (loss to follow-up)")
	}
	if _, ok := q.done[plan.Indication]; ok {
		record = append(record, "6.1 and 7.1 (codes, and the rules that use them)")
	}
	return "Reporting items on participants that this report covers: of STROBE for cohort studies, " + strings.Join(strobe, ", ") +
		"; of RECORD, " + strings.Join(record, ", ") + "."
}
