package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"deltoid/schemas"
)

// awful is one study whose exports are bad, and what a person decides in the plan that draft writes.
type awful struct {
	write  func(t *testing.T, folder string) []string
	decide map[string]string // beginning of a waiting line, without its mark → the line that takes its place
	rows   []schemas.Ledger
	states []string // what check says of the files
	first  []string // what a run says of the plan before anything is decided
}

var awfulExports = map[string]awful{
	"scores in columns with semicolons and decimal commas": {write: wideScores,
		decide: map[string]string{
			`"Omarthrose mit Cuff-Defekt"`: `"Omarthrose mit Cuff-Defekt": oa_deficient_cuff`,
			"reviewed: ":                   `reviewed: {"Fallnummer": pseudonyms made for this test}`,
			"drop: ":                       `drop: [Nachname]`,
			"missing: ":                    `missing: ["k.A."]`,
			"wide:":                        "wide:",
			"ases_pre":                     "ases_pre: {instrument: ases, day: OP-Datum}",
			"ases_12m":                     "ases_12m: {instrument: ases, day: OP-Datum, after: 12 months}",
			"oss_2y":                       "oss_2y: {instrument: oxford, day: OP-Datum, after: 2 years}",
			"constant_24":                  "constant_24: {instrument: constant, day: OP-Datum, after: 24 months}",
			"data_cut":                     "data_cut: 2018-12-31"},
		// 120 rows times 4 columns are 120 + 106 + 120 scores; of ases_12m 14 are marked as missing, and one is a word.
		rows: []schemas.Ledger{{Table: "procedures", Read: 120, Used: 120}, {Table: "revisions", Read: 22, Used: 22},
			{Table: "scores", Read: 346, Used: 345, SetAside: 1}},
		states: []string{"Eingriffe.csv: encoding: Windows-1252; delimiter: semicolon", "120 rows times 4 columns = 346 scores + 134 empty cells"}},

	"UTF-16 with tabs": {write: utf16Tabs,
		decide: map[string]string{`"H"`: `"H": male`, "drop: ": `drop: [Remarque]`, "reason:": "reason:", `"descellement"`: `"descellement": other`,
			"data_cut": "data_cut: 2018-12-31"},
		rows:   []schemas.Ledger{{Table: "procedures", Read: 91, Used: 90, SetAside: 1}, {Table: "revisions", Read: 15, Used: 15}},
		states: []string{"operations.txt: encoding: UTF-16; delimiter: tab"}},

	"dates in two layouts": {write: twoLayouts,
		decide: map[string]string{"reason:": "reason:", `"loosening"`: `"loosening": loosening_glenoid`, "data_cut": "data_cut: 2018-12-31"},
		// One of the revisions lies before the change, too few to propose its layout.
		rows:   []schemas.Ledger{{Table: "procedures", Read: 150, Used: 148, SetAside: 2}, {Table: "revisions", Read: 28, Used: 27, SetAside: 1}},
		states: []string{"surgery date: dates 84 written YYYY-MM-DD, 64 written DD/MM/YYYY"}},

	"forty monthly Parquet files": {write: monthly,
		decide: map[string]string{"zones:": "zones:", "day: ???": "day: Europe/Lisbon", "data_cut": "data_cut: 2018-12-31"},
		rows:   []schemas.Ledger{{Table: "procedures", Read: 400, Used: 400}, {Table: "revisions", Read: 72, Used: 71, SetAside: 1}},
		first:  []string{`"operated_at" holds moments in a time zone`, `"revised_at" holds moments in a time zone`}},

	"a workbook": {write: clinicBook,
		decide: map[string]string{"dates:": "dates:", "day: sheet date": "day: sheet date", "data_cut": "data_cut: 2018-12-31"},
		rows:   []schemas.Ledger{{Table: "procedures", Read: 80, Used: 79, SetAside: 1}, {Table: "revisions", Read: 14, Used: 14}},
		states: []string{"Klinik.xlsx: sheet: Operationen", "OP Datum: dates 8 written DD.MM.YYYY"}},

	"a ready table in months": {write: readyInMonths,
		decide: map[string]string{`"lost"`: `"lost": unrevised`},
		rows:   []schemas.Ledger{{Table: "shoulders", Read: 103, Used: 101, SetAside: 2}},
		states: []string{"follow_up: months turned into days"}},
}

// Six exports as bad as they come, all of them invented, go all the way from draft to report. The plan is changed only
// where draft left something to decide, and every row that was read is used or set aside.
func TestAwfulExportsRunFromADraft(t *testing.T) {
	for name, test := range awfulExports {
		t.Run(name, func(t *testing.T) {
			folder := filepath.Join(t.TempDir(), "invented")
			plan := draftOf(t, test.write(t, folder))
			if test.first != nil {
				edit(t, plan, func(s string) string { return strings.ReplaceAll(s, "#? data_cut", "data_cut") })
				_, _, stderr := call("run", plan, "--out", filepath.Join(t.TempDir(), "report"))
				says(t, stderr, test.first)
				edit(t, plan, func(s string) string { return strings.ReplaceAll(s, "data_cut:", "#? data_cut:") })
			}
			edit(t, plan, func(s string) string { return decided(t, s, test.decide) })
			_, stdout, stderr := call("check", plan)
			says(t, stdout+stderr, test.states)
			test.runs(t, plan)
		})
	}
}

// draftOf drafts a plan and returns its path.
func draftOf(t *testing.T, exports []string) (plan string) {
	t.Helper()
	code, stdout, stderr := call(append([]string{"draft", "--json"}, exports...)...)
	var d drafted
	if code != exitDone || json.Unmarshal([]byte(stdout), &d) != nil {
		t.Fatalf("exit code %d: %s%s", code, stdout, stderr)
	}
	return d.Plan
}

// decided puts what somebody has decided in the place of the lines that wait, and deletes those that do not apply. No other
// line changes.
func decided(t *testing.T, plan string, answers map[string]string) string {
	const mark = "#? "
	var b strings.Builder
	met := map[string]bool{}
	for line := range strings.Lines(plan) {
		indent, waiting, ok := strings.Cut(line, mark)
		if !ok || strings.TrimSpace(indent) != "" {
			b.WriteString(line)
			continue
		}
		for begins, answer := range answers {
			if strings.HasPrefix(strings.TrimSpace(waiting), begins) {
				met[begins] = true
				b.WriteString(indent + waiting[:len(waiting)-len(strings.TrimLeft(waiting, " "))] + answer + "\n")
			}
		}
	}
	for begins := range answers {
		if !met[begins] {
			t.Errorf("no line waits that begins with %q:\n%s", begins, plan)
		}
	}
	return b.String()
}

func says(t *testing.T, text string, words []string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("%q is missing from\n%s", w, text)
		}
	}
}

// runs runs the plan and holds its account of rows against the one made by hand.
func (a *awful) runs(t *testing.T, plan string) {
	t.Helper()
	out := filepath.Join(t.TempDir(), "report")
	code, stdout, stderr := call("run", plan, "--out", out, "--json")
	var got outcome
	if code != exitDone || json.Unmarshal([]byte(stdout), &got) != nil {
		text, err := os.ReadFile(plan)
		t.Fatalf("exit code %d: %s%s\n%s%v", code, stdout, stderr, text, err)
	}
	if fmt.Sprint(got.Ledgers) != fmt.Sprint(a.rows) {
		t.Errorf("rows: %+v, by hand %+v", got.Ledgers, a.rows)
	}
	for _, l := range got.Ledgers {
		if l.Read != l.Used+l.SetAside {
			t.Errorf("%s: %d rows read, %d used, %d set aside", l.Table, l.Read, l.Used, l.SetAside)
		}
	}
	if info, err := os.Stat(filepath.Join(out, "report.html")); err != nil || info.Size() == 0 {
		t.Errorf("no report: %v", err)
	}
}
