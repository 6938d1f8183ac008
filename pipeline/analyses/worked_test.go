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
