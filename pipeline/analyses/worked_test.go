package analyses_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"deltoid/cohorts"
	"deltoid/pipeline/analyses"
	"deltoid/pipeline/ingest"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// reported runs a plan on the tables of a folder and returns the report as data, before disclosure.
func reported(t *testing.T, folder, text string) report.Document {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(filepath.Join(dir, "exports"), os.DirFS(folder)); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "plan.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := plan.Read(path)
	if err != nil {
		t.Fatal(err)
	}
	x := analyses.Exports{Findings: &schemas.Findings{}}
	tables := map[string]*schemas.Table{}
	for _, source := range p.Sources {
		schema, err := schemas.Shipped(source.Table)
		if err != nil {
			t.Fatal(err)
		}
		table, err := ingest.Read(context.Background(), schema, source, x.Findings, nil)
		if err != nil {
			t.Fatal(err)
		}
		schemas.Check(table, x.Findings)
		x.Tables, tables[source.Table] = append(x.Tables, table), table
	}
	registry, err := cohorts.Link(tables, p.FollowUp, x.Findings)
	if err != nil {
		t.Fatal(err)
	}
	c, flow, err := cohorts.Define(registry, p.Cohort, p.FollowUp)
	if err != nil {
		t.Fatal(err)
	}
	doc, err := analyses.Assemble(p, x, c, flow, "test")
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

const decisions = "../../testdata/worked/decisions"

const decisionsPlan = `plan: 1
study: worked
title: Worked out on paper
invented: true
exports:
  procedures: {files: exports/procedures.csv, dates: {day: day number}}
  revisions: {files: exports/revisions.csv, dates: {day: day number}}
  deaths: {files: exports/deaths.csv, dates: {day: day number}}
  contacts: {files: exports/contacts.csv, dates: {day: day number}}
  scores: {files: exports/scores.csv, dates: {day: day number}}
data_cut: 3000
endpoints:
  revision: {competing: [died]}
visits:
  - {label: Before, at: 0, from: -180, to: 0, unit: days}
  - {label: 12 months, at: 365, from: 274, to: 457, unit: days}
  - {label: 24 months, at: 730, from: 640, to: 820, unit: days}
disclosure: {mask_below: 1, reason: The data are invented.}
analyses:
  - {id: survival, kind: implant survival, endpoint: revision, times: [1]}
  - {id: baseline, kind: baseline characteristics, by: procedure, fields: [age, head, acromiohumeral_distance], medians: [acromiohumeral_distance], p_values: true}
  - {id: sides, kind: both shoulders, by: procedure}
  - {id: indication, kind: indication}
  - {id: audit, kind: procedure audit}
  - {id: follow-up, kind: follow-up, endpoint: revision, instruments: [constant]}
`

// The expected numbers were worked out on paper: those of the indication, the audit, the pairs, completeness and the visits
// stand in testdata/worked/decisions/README.md; ages, heads and distances are counted from procedures.csv there.
func TestDecisionsWorkedOutOnPaper(t *testing.T) {
	doc := reported(t, decisions, decisionsPlan)
	values := map[string]report.Estimate{}
	for _, e := range doc.Estimates {
		values[e.ID] = e
	}
	for id, want := range map[string]float64{
		"indication.shoulders":                          21,
		"indication.recorded-proximal-humerus-fracture": 7,
		"indication.settled-cuff-tear-arthropathy":      5,
		"indication.compared":                           20,
		"indication.agree":                              16,
		"indication.differ":                             4,
		"indication.agreement":                          16.0 / 20,
		"indication.rule.acute-fracture":                4,
		"indication.rule.no-findings":                   1,
		"indication.rule.no-rule":                       1,
		"indication.rule.tuberosities-cut-off.changed":  1,
		"audit.covered":                                 7,
		"audit.as-expected":                             5,
		"audit.all.share":                               5.0 / 7,
		"audit.not-covered":                             14,
		"audit.tuberosities-heal-head-does-not.hemi":    1,
		"audit.flag.deltoid-not-working":                1,
		"sides.patients":                                16,
		"sides.both-sides":                              3,
		"sides.unlike":                                  2,
		"sides.alike":                                   1,
		"sides.pairs":                                   2,
		"sides.first-anatomic-total-shoulder-replacement.second-reverse-total-shoulder-replacement": 1,
		"follow-up.observed.all":                                                     (7500 + 365 + 1800 + 1800 + 1800 + 2100 + 400 + 365) / 365.25,
		"follow-up.completeness.all":                                                 (7500 + 8630.0) / (7500 + 18400),
		"follow-up.lost.all":                                                         10,
		"follow-up.died.all":                                                         3,
		"follow-up.constant.before.assessed":                                         4,
		"follow-up.constant.12-months.assessed":                                      6,
		"follow-up.constant.12-months.ended":                                         1,
		"follow-up.constant.12-months.dead":                                          1,
		"follow-up.constant.12-months.not-due":                                       1,
		"follow-up.constant.24-months.ended":                                         5,
		"follow-up.constant.24-months.dead":                                          1,
		"baseline.shoulders.reverse-total-shoulder-replacement":                      17,
		"baseline.shoulders.plate-fixation":                                          1,
		"baseline.age.missing.reverse-total-shoulder-replacement":                    1,
		"baseline.age.known.reverse-total-shoulder-replacement":                      16,
		"baseline.age.mean.hemiarthroplasty":                                         (60 + 70) / 2.0,
		"baseline.age.sd.hemiarthroplasty":                                           math.Sqrt(50),
		"baseline.acromiohumeral_distance.median.reverse-total-shoulder-replacement": 5,
		"baseline.head.missing.reverse-total-shoulder-replacement":                   2,
	} {
		e, ok := values[id]
		if !ok || !e.Value.Known || math.Abs(e.Value.X-want) > 1e-12*max(1, math.Abs(want)) {
			t.Errorf("%s: %+v (there: %v), want %v", id, e.Value, ok, want)
		}
	}
}

// Cohen's kappa by hand from the same table: with 20 shoulders that have both, the margins give an expected agreement of
// (4·2 + 4·5 + 7·6 + 2·3 + 1·2 + 1·1 + 1·1)/400 = 80/400, so kappa is (0.8 − 0.2)/(1 − 0.2) = 0.75.
func TestKappaWorkedOutOnPaper(t *testing.T) {
	for _, e := range reported(t, decisions, decisionsPlan).Estimates {
		if e.ID == "indication.kappa" && math.Abs(e.Value.X-0.75) > 1e-12 {
			t.Errorf("kappa %v, on paper 0.75", e.Value)
		}
	}
}

// The sensitivity analysis is one word of the plan. By hand, from testdata/worked/decisions/README.md: settled fractures are
// D01, D02, D11, D13, D15 and D16, recorded ones D01, D02, D09 (left), D12, D13, D15 and D16; nobody of them dies. D02 is revised
// on day 700 and D01 on day 1000, the day on which D15 is censored; D16 is censored on day 100. So by day 1100
//
//	settled:  1 − 4/5 · 3/4 = 2/5    recorded:  1 − 5/6 · 4/5 = 1/3.
func TestSensitivityToTheIndicationByHand(t *testing.T) {
	text, _, _ := strings.Cut(decisionsPlan, "analyses:")
	doc := reported(t, decisions, text+"analyses:\n  - {id: basis, kind: implant survival, endpoint: revision, times: [1100], unit: days, "+
		"within: {keep: Fracture, where: {indication: fracture}}, sensitivity: [recorded indication]}\n")
	values := map[string]report.Estimate{}
	for _, e := range doc.Estimates {
		values[e.ID] = e
	}
	for id, want := range map[string]float64{
		"basis.shoulders.all":                           6,
		"basis.incidence.all.1100d":                     2.0 / 5,
		"basis.recorded-indication.shoulders.all":       7,
		"basis.recorded-indication.incidence.all.1100d": 1.0 / 3,
		"basis.recorded-indication.ended-revised.all":   2,
		"basis.recorded-indication.ended-censored.all":  5,
	} {
		if e := values[id]; !e.Value.Known || math.Abs(e.Value.X-want) > 1e-12 {
			t.Errorf("%s: %+v, want %v", id, e.Value, want)
		}
	}
	sheets := doc.Sections[0].Sheets
	at := slices.IndexFunc(sheets, func(s report.Sheet) bool { return s.ID == "basis-sensitivity" })
	if at < 0 || len(sheets[at].Rows) != 3 || sheets[at].Rows[2].Label != "Recorded indication" {
		t.Errorf("the two do not stand side by side in a table: %+v", sheets)
	}
	if h := doc.Sections[0].Heading; !strings.Contains(h, "within “Fracture”") {
		t.Errorf("the heading %q does not say that it is about a part of the cohort", h)
	}
}

// Every section about a part of the cohort says so in its heading, and counts that part alone: of the reverse replacements
// without criteria, 17 (D07's left and D08's right shoulder, the hemiarthroplasty of D01 and the plate of D02 are not).
func TestSectionsSayThatTheyAreNarrowed(t *testing.T) {
	text, _, _ := strings.Cut(decisionsPlan, "analyses:")
	text += "analyses:\n"
	for _, kind := range []string{"baseline characteristics", "both shoulders", "indication", "procedure audit", "follow-up, endpoint: revision"} {
		text += "  - {kind: " + kind + ", within: {keep: Reverse, where: {procedure: reverse}}}\n"
	}
	doc := reported(t, decisions, text)
	for _, s := range doc.Sections[:5] {
		if !strings.HasSuffix(s.Heading, ", within “Reverse”") {
			t.Errorf("heading %q", s.Heading)
		}
	}
	for _, e := range doc.Estimates {
		if whole := strings.HasSuffix(e.ID, ".shoulders") || strings.HasSuffix(e.ID, ".shoulders.all"); whole && e.Value.X != 17 {
			t.Errorf("%s is %v, want 17", e.ID, e.Value.X)
		}
	}
}

// Each of the reviewer's ten questions has a sentence with numbers, and names a table that the report has and what the names
// of some rows of the estimates begin with.
func TestEveryQuestionIsAnswered(t *testing.T) {
	doc := reported(t, decisions, decisionsPlan)
	tables := map[string]bool{}
	var questions report.Section
	for _, s := range doc.Sections {
		for _, sheet := range s.Sheets {
			tables[sheet.Title] = true
		}
		if s.ID == "questions" {
			questions = s
		}
	}
	if len(questions.Sheets) != 3 || len(questions.Sheets[0].Rows) != 10 {
		t.Fatalf("the section of questions is %+v", questions)
	}
	for _, row := range questions.Sheets[0].Rows {
		words, numbers := "", 0
		for _, span := range row.Cells[0] {
			words += span.Words
			if span.Estimate != "" {
				numbers++
			}
		}
		if numbers == 0 && words != "Nobody was left out." || strings.Contains(words, "does not ask") || !tables[row.Cells[1][0].Words] {
			t.Errorf("%s: %q with %d numbers, in the table %q", row.Label, words, numbers, row.Cells[1][0].Words)
		}
		if !slices.ContainsFunc(doc.Estimates, func(e report.Estimate) bool { return strings.HasPrefix(e.ID, row.Cells[2][0].Words) }) {
			t.Errorf("%s: no row of the estimates begins with %q", row.Label, row.Cells[2][0].Words)
		}
	}
}

// A plan that asks for one of the describing kinds alone is told how to have the other questions answered.
func TestQuestionsNotAskedSayHow(t *testing.T) {
	text, _, _ := strings.Cut(decisionsPlan, "analyses:")
	doc := reported(t, decisions, text+"analyses:\n  - {kind: indication}\n")
	said := fmt.Sprint(doc.Sections)
	for _, kind := range []string{"follow-up", "both shoulders", "baseline characteristics", "implant survival"} {
		if !strings.Contains(said, "add an analysis of the kind “"+kind+"”") {
			t.Errorf("nothing says how to ask for %s", kind)
		}
	}
}
