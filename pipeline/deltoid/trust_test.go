package main

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// elsewhere are the rules that no text export can break, and where they are tested.
var elsewhere = map[string]string{
	"pattern":        "no table that can be read has a field with a pattern; pipeline/ingest",
	"time-of-day":    "only typed files hold moments; pipeline/ingest",
	"error-cell":     "only workbooks hold errors; pipeline/ingest",
	"merged-cell":    "only workbooks merge cells; pipeline/ingest",
	"rounded-number": "only workbooks round numbers; pipeline/ingest",
}

// TestPlantedDefects: the findings about exports with planted defects are the planted ones, each at its file, line and
// column, and no others; and every rule is planted at least twice. The lists were written by hand with the exports.
func TestPlantedDefects(t *testing.T) {
	planted := map[string]int{}
	for _, study := range []string{"linked", "ready", "items"} {
		folder := filepath.Join(testdata, "broken", "exports", study)
		out := filepath.Join(t.TempDir(), "check")
		code, stdout, stderr := call("check", filepath.Join(folder, "plan.yaml"), "--out", out)
		if code != exitFindings {
			t.Fatalf("exit code %d\n%s%s", code, stdout, stderr)
		}
		want := places(t, filepath.Join(folder, "planted.csv"))
		if diff := cmp.Diff(want, places(t, filepath.Join(out, "set-aside", "findings.csv"))); diff != "" {
			t.Errorf("%s (-planted +found):\n%s", study, diff)
		}
		for _, place := range want {
			planted[place[strings.LastIndex(place, " ")+1:]]++
		}
	}
	for _, rule := range slices.Concat(schemas.Rules(), cohorts.Rules()) {
		if n := planted[rule.ID]; n < 2 && elsewhere[rule.ID] == "" {
			t.Errorf("the rule %s is planted %d times; plant it twice in testdata/broken/exports, or say where it is tested", rule.ID, n)
		} else if n > 0 && elsewhere[rule.ID] != "" {
			t.Errorf("the rule %s is planted, and also said to be tested elsewhere", rule.ID)
		}
	}
}

// places reads findings as "table file line column rule", sorted.
func places(t *testing.T, path string) []string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, r := range records[1:] {
		cell := func(name string) string { return r[slices.Index(records[0], name)] }
		list = append(list, fmt.Sprintf("%s %s %3s %2s %s", cell("table"), cell("file"), cell("line"), cell("column"), cell("rule")))
	}
	slices.Sort(list)
	return list
}

// readyStudy writes a small ready table with its plan; more is added to the export's keys, and rules to the plan's.
func readyStudy(t *testing.T, rows, more, rules string) (plan, export string) {
	t.Helper()
	dir := t.TempDir()
	export = filepath.Join(dir, "shoulders.csv")
	plan = filepath.Join(dir, "plan.yaml")
	write(t, export, rows)
	write(t, plan, `plan: 1
study: small
title: Small
exports:
  shoulders:
    files: shoulders.csv
`+more+`endpoints:
  revision: {competing: [died]}
analyses:
  - {kind: implant survival, endpoint: revision, times: [1]}
`+rules)
	return plan, export
}

const readyRows = "patient,follow_up,outcome,sex,E-MAIL\n" +
	"p1,400,unrevised,female,jo@example.org\np2,500,revised,male,jo@example.org\np3,600,died,x,jo@example.org\n"

// TestAnotherFile: a file that is not the one with the plan's hash is not read.
func TestAnotherFile(t *testing.T) {
	sum := sha256.Sum256([]byte(readyRows))
	plan, export := readyStudy(t, readyRows, "    sha256: \""+hex.EncodeToString(sum[:])+"\"\n    drop: [E-MAIL]\n", "")
	if code, _, stderr := call("run", plan, "--out", filepath.Join(t.TempDir(), "r")); code != exitDone {
		t.Fatalf("the right file: exit code %d\n%s", code, stderr)
	}
	edit(t, export, swap("400", "401"))
	out := filepath.Join(t.TempDir(), "r")
	code, _, stderr := call("run", plan, "--out", out)
	if code != exitExport || !strings.Contains(stderr, "shoulders.csv: the file is another one than the plan says") || !strings.Contains(stderr, hex.EncodeToString(sum[:])) {
		t.Errorf("exit code %d\n%s", code, stderr)
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("there is a report about another file")
	}
}

// TestIdentifiersStopTheRun: until the plan speaks, and no message, log or file holds a value of the column.
func TestIdentifiersStopTheRun(t *testing.T) {
	for name, test := range map[string]struct {
		keys string
		code int
	}{
		"nothing said":   {"    extra: {mail: {type: text, column: E-MAIL}}\n", exitIdentifiers},
		"not read":       {"", exitIdentifiers},
		"dropped":        {"    drop: [E-MAIL]\n", exitDone},
		"reviewed":       {"    extra: {mail: {type: text, column: E-MAIL}}\n    reviewed: {E-MAIL: The addresses are invented.}\n", exitDone},
		"misnamed":       {"    drop: [E-MAIL, EMAILS]\n", exitPlan},
		"refused values": {"    extra: {n: {type: number, column: E-MAIL}}\n    reviewed: {E-MAIL: The addresses are invented.}\n", exitNothing},
	} {
		t.Run(name, func(t *testing.T) {
			plan, _ := readyStudy(t, readyRows, test.keys, "")
			for _, command := range []string{"run", "check"} {
				out := filepath.Join(t.TempDir(), "r")
				code, stdout, stderr := call(command, plan, "--out", out)
				want := test.code
				if command == "check" && (want == exitDone || want == exitNothing) {
					want = exitFindings // one row has an unknown code
				}
				if code != want {
					t.Errorf("%s: exit code %d, want %d\n%s%s", command, code, want, stdout, stderr)
				}
				if text := stdout + stderr + everything(t, out); strings.Contains(text, "example.org") {
					t.Errorf("%s gives a value away:\n%s", command, text)
				}
				if code == exitIdentifiers && !strings.Contains(stderr, `the column "E-MAIL" may identify people`) {
					t.Error(stderr)
				}
			}
		})
	}
}

// everything is the text of all files below a folder that may not be there.
func everything(t *testing.T, dir string) string {
	var b strings.Builder
	_ = filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			b.Write(text)
		}
		return nil
	})
	return b.String()
}

// TestAgesOver89StopTheRun: the published data hold ages over 89; without the plan's word they stop the run.
func TestAgesOver89StopTheRun(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(testdata, "published", "mgus2.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.CopyFS(filepath.Join(dir, "data"), os.DirFS(filepath.Join(testdata, "published", "data"))); err != nil {
		t.Fatal(err)
	}
	plan := filepath.Join(dir, "plan.yaml")
	write(t, plan, regexp.MustCompile(`(?m)^    reviewed:.*\n`).ReplaceAllString(string(text), ""))
	code, _, stderr := call("check", plan)
	if code != exitIdentifiers || !strings.Contains(stderr, "ages over 89 in 38 of 1,384 rows") {
		t.Errorf("exit code %d\n%s", code, stderr)
	}
}

// TestLoweredRule: a rule that the plan lowers lets its row be used, and report and record say so with the reason.
func TestLoweredRule(t *testing.T) {
	const rules = "rules:\n  unknown-code: {severity: warn, reason: The sex is not needed here.}\n"
	used := func(rules string) (int, string) {
		plan, _ := readyStudy(t, readyRows, "    drop: [E-MAIL]\n", rules)
		out := filepath.Join(t.TempDir(), "r")
		code, stdout, stderr := call("run", plan, "--json", "--out", out)
		var got outcome
		if err := json.Unmarshal([]byte(stdout), &got); err != nil || code != exitDone {
			t.Fatalf("exit code %d, %v\n%s", code, err, stderr)
		}
		return got.Ledgers[0].Used, everything(t, out)
	}
	if n, _ := used(""); n != 2 {
		t.Errorf("%d rows are used without the plan's word, want 2", n)
	}
	n, text := used(rules)
	if n != 3 {
		t.Errorf("%d rows are used, want 3", n)
	}
	for _, want := range []string{"Rules that the plan lowers to a warning", "The sex is not needed here.", `"rules.unknown-code"`} {
		if !strings.Contains(text, want) {
			t.Errorf("neither report nor record holds %q", want)
		}
	}
	// A value that every row needs cannot be waved through.
	plan, _ := readyStudy(t, strings.Replace(readyRows, "died", "dead", 1), "    drop: [E-MAIL]\n", rules)
	code, stdout, _ := call("check", plan, "--json")
	var got checked
	if err := json.Unmarshal([]byte(stdout), &got); err != nil || code != exitFindings || got.Ledgers[0].SetAside != 1 {
		t.Errorf("exit code %d, %v, %+v", code, err, got.Ledgers)
	}
}

// TestDraftToCheck: the plan that draft writes for the invented registry, with nothing decided but what it needs, is read,
// and every row is accounted for.
func TestDraftToCheck(t *testing.T) {
	_, dir := invented(t)
	remove(t, filepath.Join(dir, "plan.yaml"))
	files, err := filepath.Glob(filepath.Join(dir, "exports", "*.csv"))
	if err != nil || len(files) < 5 {
		t.Fatal(files, err)
	}
	code, stdout, stderr := call(append([]string{"draft", "--out", dir}, files...)...)
	plan := filepath.Join(dir, "plan.yaml")
	if code != exitDone || !strings.Contains(stdout, plan) {
		t.Fatalf("exit code %d\n%s%s", code, stdout, stderr)
	}
	edit(t, plan, func(s string) string {
		s = regexp.MustCompile(`#\? reviewed: \{(.*)\}`).ReplaceAllStringFunc(s, func(line string) string {
			return strings.ReplaceAll(strings.TrimPrefix(line, "#? "), "???", "Nobody here exists.")
		})
		return strings.NewReplacer("#? data_cut", "data_cut", "#? missing", "missing").Replace(s)
	})
	code, stdout, stderr = call("check", plan, "--json")
	var got checked
	if err := json.Unmarshal([]byte(stdout), &got); err != nil {
		t.Fatalf("exit code %d, %v\n%s", code, err, stderr)
	}
	if len(got.Ledgers) != len(files) {
		t.Errorf("%d tables of %d files", len(got.Ledgers), len(files))
	}
	for _, l := range got.Ledgers {
		if l.Close() != nil || l.Read == 0 {
			t.Errorf("%+v: %v", l, l.Close())
		}
	}
	if code, _, stderr := call("draft", files[0], "--out", dir); code != exitPlan || !strings.Contains(stderr, "a plan here already") {
		t.Errorf("a plan is written over: exit code %d, %s", code, stderr)
	}
}
