package analyses

import (
	"math"
	"slices"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/describe"
)

// audited is the audit of procedures while it is being written down.
type audited struct {
	*indication // for counts over the whole cohort
	audit       *cohorts.Audit
	covered     string
	agree       string
	share       string
}

// procedureAudit counts how often the procedure is the one that the findings would lead one to expect. It is an audit of
// records and never advice; the section says so.
func procedureAudit(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	everyone, err := withoutCriteria(p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	portrait, err := newPortrait(b, p, everyone, asked)
	if err != nil {
		return report.Section{}, err
	}
	audit, err := everyone.Audit()
	if err != nil {
		return report.Section{}, err
	}
	section := report.Section{ID: asked.ID, Heading: "Procedure against findings" + withinWords(asked),
		Question: "How often is the procedure the one that common practice would lead one to expect from the findings?"}
	if audit == nil {
		section.Answer = []report.Text{report.Words("The export has no findings that an expectation looks at, so nothing was compared.")}
		return section, nil
	}
	s := &audited{indication: &indication{portrait: portrait}, audit: audit}
	section.Sheets = []report.Sheet{s.expectationSheet(), s.flagSheet()}
	section.Answer = s.answer()
	section.Notes = []report.Text{report.Words("This is an audit of records, not advice and no judgement of a decision: what decided for a patient may not be on record. " +
		"A procedure that is not the expected one is no fault.")}
	section.Method = []report.Text{report.Words("All linked shoulders are looked at, also those that the criteria of the cohort leave out: a cohort of one procedure could not disagree with itself."),
		report.Words(audit.About)}
	return section, nil
}

// withoutCriteria returns all linked shoulders of a study that were operated on by the data cut, whatever the criteria of
// the cohort. The criterion of the analysis itself holds.
func withoutCriteria(p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (*cohorts.Cohort, error) {
	everyone, _, err := cohorts.Define(c.Registry, cohorts.Definition{Name: "All linked shoulders", Indication: c.Definition.Indication}, p.FollowUp)
	if err != nil {
		return nil, err
	}
	return within(everyone, asked)
}

func (s *audited) answer() []report.Text {
	if s.get(s.share).Status == report.NotIdentifiable {
		return []report.Text{report.Words("Of no shoulder are the findings recorded that an expectation speaks of.")}
	}
	return []report.Text{say("Of ", value(s.covered), " linked shoulders with findings that an expectation speaks of, ", value(s.agree), " had the procedure expected: ", withInterval(s.share),
		". This is an audit of records, not advice.")}
}

// expectationSheet counts what was done against each expectation.
func (s *audited) expectationSheet() report.Sheet {
	a := s.audit
	sheet := report.Sheet{ID: s.asked.ID + "-table", Title: "Procedures against expectations",
		Columns: slices.Concat([]string{"Findings, and the procedure expected", "Shoulders"}, a.Labels, []string{"As expected, n (%)", "Source"})}
	var wholes, agrees []string
	covered, agreed := 0, 0
	done := make([][]string, len(a.Procedures))
	for _, line := range a.Expectations {
		covered, agreed = covered+line.N, agreed+line.Agree
		whole, did := s.line(line)
		agree := s.one(line.ID+".as-expected", line.ID+": the procedure expected", line.Agree)
		rest := s.one(line.ID+".otherwise", line.ID+": another procedure", line.N-line.Agree)
		s.total(whole, agree, rest)
		s.total(agree, expectedOf(line, a.Procedures, did)...)
		wholes, agrees = append(wholes, whole), append(agrees, agree)
		share := s.agreed(line.ID, line.Agree, line.N, agree, whole)
		row := report.SheetRow{Label: line.Sentence, Cells: []report.Cell{number(whole)}}
		for j := range did {
			done[j] = append(done[j], did[j])
			row.Cells = append(row.Cells, number(did[j]))
		}
		if line.N == 0 {
			continue
		}
		sheet.Rows = append(sheet.Rows, withCell(withCell(row, report.Cell(say(value(agree), " (", value(share), ")"))), words(line.Source)))
	}
	s.covered, s.agree = s.one("covered", "with an expectation", covered), s.one("as-expected", "the procedure expected", agreed)
	s.total(s.covered, wholes...)
	s.total(s.agree, agrees...)
	s.total(s.one("shoulders", "shoulders", s.n[0]), s.covered, s.one("not-covered", "no expectation speaks of the findings", a.NotCovered))
	s.share = s.agreed("all", agreed, covered, s.agree, s.covered)
	sheet.Notes = []report.Text{say("No expectation speaks of the findings, as far as recorded, of ", value(s.id("not-covered")), " further shoulders. Expectations that speak of no shoulder are left out.")}
	return sheet
}

// expectedOf returns the ids of the counts of the procedures that are expected.
func expectedOf(line cohorts.Expectation, procedures []string, ids []string) []string {
	var parts []string
	for j, procedure := range procedures {
		if slices.Contains(line.Expects, procedure) {
			parts = append(parts, ids[j])
		}
	}
	return parts
}

// line records one expectation: its shoulders, and what was done in them.
func (s *audited) line(e cohorts.Expectation) (whole string, did []string) {
	whole = s.one(e.ID, e.ID, e.N)
	for j, procedure := range s.audit.Procedures {
		did = append(did, s.one(e.ID+"."+slug(procedure), e.ID+": "+s.audit.Labels[j], e.Done[j]))
	}
	s.total(whole, did...)
	return whole, did
}

func (s *audited) agreed(what string, k, n int, from ...string) string {
	e := report.Estimate{ID: s.id(what, "share"), Analysis: s.asked.ID, Cohort: s.cohort.Name, Unit: report.UnitProbability,
		Measure: what + ": the procedure expected",
		Method:  "proportion, Wilson interval", Status: report.Estimated}
	s.derived(e.ID, from...)
	return s.add(withWilson(e, k, n, s.asked.Level))
}

// withWilson fills in a proportion with its interval.
func withWilson(e report.Estimate, k, n int, level float64) report.Estimate {
	p := describe.Wilson(int64(k), int64(n), level)
	if p.Status != describe.Estimated {
		e.Status, e.Note = report.NotIdentifiable, p.Status.String()
		return e
	}
	e.Value, e.Lower, e.Upper, e.Level = report.Some(p.Value), report.Some(p.Lower), report.Some(p.Upper), report.Some(level)
	return e
}

// flagSheet lists what is pointed at beside the expectations.
func (s *audited) flagSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-flags", Title: "Flagged", Columns: []string{"What is flagged", "Shoulders", "Source"}}
	for _, f := range s.audit.Flags {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: f.Sentence, Cells: []report.Cell{number(s.one("flag."+f.ID, "flagged: "+f.ID, f.N)), words(f.Source)}})
	}
	return sheet
}

// roundDown rounds to two decimals, downward.
func roundDown(x float64) float64 { return math.Floor(x*100) / 100 }
