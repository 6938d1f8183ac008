package analyses

import (
	"cmp"
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// describing are the kinds of analysis that answer what a reviewer asks about a cohort. A report that has one of them
// closes with the list of questions.
var describing = []plan.Kind{plan.Baseline, plan.BothShoulders, plan.Indication, plan.ProcedureAudit, plan.FollowUpKind}

// finished is the sections of the analyses of a report, by kind: the first of each that is about the whole cohort, or else
// the first.
type finished map[plan.Kind]finishedSection

type finishedSection struct {
	report.Section
	narrowed bool // to a part of the cohort
}

func (f finished) add(asked plan.Analysis, s report.Section) {
	before, there := f[asked.Kind]
	if !there || before.narrowed && asked.Within == nil {
		f[asked.Kind] = finishedSection{s, asked.Within != nil}
	}
}

func (f finished) describes() bool {
	for _, kind := range describing {
		if _, ok := f[kind]; ok {
			return true
		}
	}
	return false
}

// questionsSection answers the ten questions that a reviewer usually asks about a cohort, each by a sentence that says where
// its table and its rows of the estimates are.
func questionsSection(b *book, p *plan.Plan, flow report.Section, done finished) report.Section {
	q := questions{book: b, plan: p, done: done, flow: flow}
	kept := flow.Sheets[0].Rows[len(flow.Sheets[0].Rows)-1].Cells
	q.ask("How many patients?", say(report.Text(kept[1]), " patients are counted."), q.inFlow())
	q.ask("How many shoulders?", say(report.Text(kept[0]), " shoulders are counted."), q.inFlow())
	q.ask("Who was left out, and why?", q.leftOut(), q.inFlow())
	q.of("How was the indication decided?", plan.Indication)
	q.revision()
	q.of("What about both sides of one patient?", plan.BothShoulders)
	q.death()
	q.of("How long and how complete is follow-up?", plan.FollowUpKind)
	q.missing()
	q.of("Are the groups comparable?", plan.Baseline)
	sheets := []report.Sheet{{ID: "questions", Title: "Questions and answers", Rows: q.rows, Columns: []string{"Question", "Answer", "Table", "Rows of the estimates"},
		Notes: []report.Text{report.Words("The last column is what the names of the rows in the estimates table begin with.")}}}
	if len(p.Endpoints) > 0 {
		sheets = append(sheets, q.endpointSheet())
	}
	return report.Section{ID: "questions", Heading: "What a reviewer asks", Question: "Which questions about the participants does this report answer, and where?",
		Answer: []report.Text{report.Words("Ten questions are asked of every cohort. Each is answered by a sentence, and the table named beside it holds the numbers.")},
		Sheets: append(sheets, q.itemSheet())}
}

type questions struct {
	*book
	plan *plan.Plan
	done finished
	flow report.Section
	rows []report.SheetRow
}

// place is where the numbers of an answer are: a table, and what the names of its rows of the estimates begin with.
type place struct{ table, rows string }

func (q *questions) inFlow() place { return place{q.flow.Sheets[0].Title, "flow."} }

// placeIn is the table of a section, or the section itself where it has none.
func placeIn(s report.Section, table int) place {
	if table < len(s.Sheets) {
		return place{s.Sheets[table].Title, s.ID + "."}
	}
	return place{s.Heading, s.ID + "."}
}

func (q *questions) ask(question string, answer report.Text, at place) {
	q.rows = append(q.rows, report.SheetRow{Label: question, Cells: []report.Cell{report.Cell(answer), words(at.table), words(at.rows)}})
}

// of answers a question by the first sentence of an analysis, or says that the plan did not ask for it.
func (q *questions) of(question string, kind plan.Kind) {
	s, ok := q.done[kind]
	if !ok {
		q.unasked(question, kind)
		return
	}
	q.ask(question, s.Answer[0], placeIn(s.Section, 0))
}

func (q *questions) unasked(question string, kind plan.Kind) {
	q.rows = append(q.rows, report.SheetRow{Label: question, Cells: []report.Cell{
		words("The plan does not ask: add an analysis of the kind “" + string(kind) + "”."), nil, nil}})
}

// leftOut lists who left at the steps of the flow, in their order.
func (q *questions) leftOut() report.Text {
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

// revision says what each endpoint of the plan counts, and how many came to the first that was followed.
func (q *questions) revision() {
	const question = "What is a revision?"
	var parts []string
	for i := range q.plan.Endpoints {
		if e := &q.plan.Endpoints[i]; isRevision(e) {
			parts = append(parts, "“"+e.Label+"” counts "+countsWords(e))
		}
	}
	if len(parts) == 0 {
		q.ask(question, report.Words("No endpoint of this report is a revision."), place{endpointTitle, ""})
		return
	}
	answer := report.Words(sentence(strings.Join(parts, "; ")) + ". An exchange in two stages is one revision, at its first stage.")
	for _, kind := range []plan.Kind{plan.ImplantSurvival, plan.Reasons, plan.Comparison} {
		if s, ok := q.done[kind]; ok {
			q.ask(question, say(answer, " ", shortCount(s.Section)), place{endpointTitle, s.ID + "."})
			return
		}
	}
	q.unasked(question, plan.ImplantSurvival)
}

// shortCount is the last sentence of a survival analysis, which says how follow-up ended.
func shortCount(s report.Section) report.Text { return s.Answer[len(s.Answer)-1] }

func isRevision(e *cohorts.Endpoint) bool { return e.Event == cohorts.Revised || e.Event == "" }

const endpointTitle = "What the endpoints count"

// endpointSheet says of every endpoint what counts and what competes, and how many shoulders came to it. The number is that
// of the first analysis that follows the whole cohort to the endpoint.
func (q *questions) endpointSheet() report.Sheet {
	sheet := report.Sheet{ID: "endpoints", Title: endpointTitle, Columns: []string{"Endpoint", "What counts", "What competes", "Shoulders that came to it"}}
	for i := range q.plan.Endpoints {
		e := &q.plan.Endpoints[i]
		counts := "death"
		switch {
		case isRevision(e):
			counts = countsWords(e)
		case e.Event != cohorts.Died:
			counts = causeName([]cohorts.Cause{e.Event}, 0)
		}
		var competing []string
		for _, cause := range e.Competing {
			competing = append(competing, competitors[cause])
		}
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(e.Label), Cells: []report.Cell{words(counts),
			words(cmp.Or(strings.Join(competing, ", "), "nothing")), q.came(e)}})
	}
	return sheet
}

// competitors name what can make an endpoint impossible, as things.
var competitors = map[cohorts.Cause]string{cohorts.Died: "death", cohorts.OtherRevision: "revision for another reason", cohorts.OtherEvent: "another event"}

// came shows how many shoulders came to an endpoint, as an analysis of the report has counted them.
func (q *questions) came(e *cohorts.Endpoint) report.Cell {
	for _, asked := range q.plan.Analyses {
		if asked.Endpoint != e.ID || asked.Within != nil || asked.Groups.Landmark > 0 {
			continue
		}
		id := asked.ID + ".ended-" + slug(string(cmp.Or(e.Event, cohorts.Revised))) + "." + slug(cohorts.All)
		if _, counted := q.seen[id]; counted {
			return number(id)
		}
	}
	return words("not followed in the whole cohort")
}

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
func (q *questions) death() {
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
	last := lastSlug(s.Section)
	q.ask(question, say(strings.Join(rules, ". ")+". The patients of ", value(s.ID+".died."+last), " of ", value(s.ID+".shoulders."+last),
		" shoulders had died by the end of follow-up."), placeIn(s.Section, 0))
}

// lastSlug is the part of an id that stands for the whole cohort in a follow-up section: that of its last column.
func lastSlug(s report.Section) string {
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
		q.ask(question, report.Words("No visits are followed. The table of follow-up counts who was last known about before the data cut, and the table of baseline characteristics who lacks a value."), placeIn(s.Section, 0))
		return
	}
	var t report.Text
	for i, sentence := range s.Answer[1:] {
		if i > 0 {
			t = append(t, report.Span{Words: " "})
		}
		t = append(t, sentence...)
	}
	q.ask(question, t, placeIn(s.Section, 1))
}

// item is a reporting item on participants. The numbers and the wording are from memory of the published checklists; the
// sheet says so.
type item struct {
	checklist, number, asks string
	kind                    plan.Kind // of the analysis that covers it; empty where every report does
	at                      string    // heading, where every report covers it
}

const (
	strobe = "STROBE"
	record = "RECORD"
)

// items are the reporting items on participants that a report can cover.
var items = []item{
	{strobe, "6a", "who was eligible, and how they were selected and followed", "", "Participant flow"},
	{strobe, "12c", "how missing values were addressed", plan.Baseline, ""},
	{strobe, "12d", "how loss to follow-up was addressed", plan.FollowUpKind, ""},
	{strobe, "13a", "numbers at each stage", "", "Participant flow"},
	{strobe, "13b", "reasons for leaving at each stage", "", "Participant flow"},
	{strobe, "13c", "flow diagram", "", "Participant flow"},
	{strobe, "14a", "characteristics of the participants", plan.Baseline, ""},
	{strobe, "14b", "numbers with missing values, by characteristic", plan.Baseline, ""},
	{strobe, "14c", "length and amount of follow-up", plan.FollowUpKind, ""},
	{strobe, "15", "numbers of outcome events", plan.ImplantSurvival, ""},
	{record, "6.1", "the codes and rules by which participants were selected", plan.Indication, ""},
	{record, "6.3", "numbers linked at each stage", "", "Participant flow"},
	{record, "12.2", "how the data were cleaned", "", "What came in"},
	{record, "12.3", "how the tables were linked", "", "What came in"},
	{record, "13.1", "selection of the participants, with filtering and linkage, as a diagram", "", "Participant flow"},
}

// itemSheet names the reporting items on participants that the report covers, and where.
func (q *questions) itemSheet() report.Sheet {
	sheet := report.Sheet{ID: "reporting-items", Title: "Reporting items on participants that this report covers",
		Columns: []string{"Item", "What it asks for", "Section"},
		Notes: []report.Text{report.Words("STROBE for cohort studies: von Elm and others, Lancet 2007;370:1453. RECORD: Benchimol and others, PLoS Med 2015;12:e1001885. Numbers and wording " +
			"are from memory and shortened: hold them against the published checklists.")}}
	for _, i := range items {
		at := i.at
		if i.kind != "" {
			at = q.done[i.kind].Heading
		}
		if at != "" {
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: i.checklist + " " + i.number, Cells: []report.Cell{words(sentence(i.asks)), words(at)}})
		}
	}
	return sheet
}
