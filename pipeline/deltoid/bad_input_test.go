package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"deltoid/pipeline/demo"
)

// invented writes a small registry without defects and returns its plan and its folder.
func invented(t *testing.T) (plan, dir string) {
	t.Helper()
	dir = t.TempDir()
	plan, err := demo.Write(dir, demo.Options{Shoulders: 400, Seed: 7}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return plan, dir
}

// call runs one command line and returns the exit code with what was printed.
func call(args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = execute(context.Background(), args, &out, &err)
	return code, out.String(), err.String()
}

// edit changes a file by a function of its text.
func edit(t *testing.T, path string, change func(string) string) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	after := change(string(b))
	if after == string(b) {
		t.Fatalf("the edit changes nothing in %s", path)
	}
	if err := os.WriteFile(path, []byte(after), 0o600); err != nil {
		t.Fatal(err)
	}
}

// swap replaces the first place where an expression matches.
func swap(pattern, with string) func(string) string {
	re := regexp.MustCompile(pattern)
	return func(s string) string {
		at := re.FindStringIndex(s)
		if at == nil {
			return s
		}
		return s[:at[0]] + with + s[at[1]:]
	}
}

// TestWhatCannotBeRead: a run that cannot go on says where, what and what to do, ends with the documented code, and
// leaves no report behind.
func TestWhatCannotBeRead(t *testing.T) {
	procedures := filepath.Join("exports", "procedures.csv")
	tests := map[string]struct {
		spoil func(t *testing.T, dir string)
		code  int
		says  []string
	}{
		"missing export": {func(t *testing.T, dir string) { remove(t, filepath.Join(dir, procedures)) },
			exitPlan, []string{"plan.yaml:", "procedures.csv"}},
		"empty export": {func(t *testing.T, dir string) { write(t, filepath.Join(dir, procedures), "") },
			exitExport, []string{"procedures.csv", "empty"}},
		"folder for an export": {func(t *testing.T, dir string) {
			remove(t, filepath.Join(dir, procedures))
			if err := os.Mkdir(filepath.Join(dir, procedures), 0o700); err != nil {
				t.Fatal(err)
			}
		}, exitPlan, []string{"procedures.csv", "folder"}},
		"unreadable Parquet": {func(t *testing.T, dir string) {
			edit(t, filepath.Join(dir, "plan.yaml"), swap(`exports/deaths.csv`, "exports/deaths.parquet"))
			write(t, filepath.Join(dir, "exports", "deaths.parquet"), "PAR1 this is not Parquet PAR1")
		}, exitExport, []string{"deaths.parquet"}},
		"cut Parquet": {func(t *testing.T, dir string) {
			edit(t, filepath.Join(dir, "plan.yaml"), swap(`exports/deaths.csv`, "exports/deaths.parquet"))
			edit(t, filepath.Join(dir, "exports", "deaths.parquet"), func(s string) string { return s[:len(s)/2] })
		}, exitExport, []string{"deaths.parquet"}},
		"wrong column name": {func(t *testing.T, dir string) {
			edit(t, filepath.Join(dir, "plan.yaml"), swap(`day: OP_DATE\b`, "day: OP_DAT"))
		}, exitExport, []string{"procedures.csv", "OP_DAT", "OP_DATE"}},
		"plan with a tab": {func(t *testing.T, dir string) {
			edit(t, filepath.Join(dir, "plan.yaml"), swap(`\n  procedures:`, "\n\tprocedures:"))
		}, exitPlan, []string{"plan.yaml:", "tab"}},
		"mistyped key": {func(t *testing.T, dir string) {
			edit(t, filepath.Join(dir, "plan.yaml"), swap(`endpoints:`, "endpoint:"))
		}, exitPlan, []string{"plan.yaml:", "endpoint", "endpoints"}},
		"nobody left": {func(t *testing.T, dir string) {
			edit(t, filepath.Join(dir, "plan.yaml"), swap(`where: \{procedure: reverse\}`, "where: {procedure: reverse, age: {to: 1}}"))
		}, exitNothing, []string{"Reverse replacement"}},
		"header only": {func(t *testing.T, dir string) {
			edit(t, filepath.Join(dir, procedures), func(s string) string { return s[:strings.Index(s, "\n")+1] })
		}, exitNothing, nil},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			plan, dir := invented(t)
			test.spoil(t, dir)
			out := filepath.Join(t.TempDir(), "report")
			code, _, stderr := call("run", plan, "--out", out)
			if code != test.code {
				t.Errorf("exit code %d, want %d; it says:\n%s", code, test.code, stderr)
			}
			for _, want := range test.says {
				if !strings.Contains(stderr, want) {
					t.Errorf("the message does not hold %q:\n%s", want, stderr)
				}
			}
			if strings.Contains(stderr, "fault of the program") {
				t.Errorf("bad input is called a fault of the program:\n%s", stderr)
			}
			left, err := os.ReadDir(filepath.Dir(out))
			if err != nil || len(left) > 0 {
				t.Errorf("left behind: %v %v", left, err)
			}
		})
	}
}

func remove(t *testing.T, path string) {
	t.Helper()
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestRowsThatAreWrong: one wrong row becomes a finding with its place, leaves by a door, and the account still closes.
func TestRowsThatAreWrong(t *testing.T) {
	first := func(values ...string) func(string) string { // appends a row below the header's columns
		return func(s string) string { return s + strings.Join(values, ",") + "\n" }
	}
	tests := map[string]struct {
		file  string
		spoil func(string) string
		rule  string
	}{
		"unknown code":      {"procedures.csv", swap(`,(L|R),`, ",X,"), "unknown-code"},
		"31 February":       {"procedures.csv", swap(`\d\d\.\d\d\.\d\d\d\d`, "31.02.2015"), "bad-date"},
		"row twice":         {"procedures.csv", func(s string) string { return s + lastLine(s) }, "same-row-twice"},
		"too many cells":    {"procedures.csv", func(s string) string { return strings.TrimSuffix(s, "\n") + ",more\n" }, "ragged-row"},
		"unlinked revision": {"revisions.csv", first("NOBODY", "L", "2020-01-01", "INF", "ALL"), "no-index-procedure"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			plan, dir := invented(t)
			edit(t, filepath.Join(dir, "exports", test.file), test.spoil)
			code, stdout, stderr := call("check", plan, "--json")
			if code != exitFindings {
				t.Fatalf("check ends with %d, want %d\n%s%s", code, exitFindings, stdout, stderr)
			}
			var got checked
			if err := json.Unmarshal([]byte(stdout), &got); err != nil {
				t.Fatal(err)
			}
			found := false
			for _, f := range got.Findings {
				found = found || f.Rule == test.rule && f.Count == 1 && strings.Contains(f.First[0], test.file+":")
			}
			if !found {
				t.Errorf("no finding %s in %s: %+v", test.rule, test.file, got.Findings)
			}
			for _, l := range got.Ledgers {
				if l.Close() != nil {
					t.Error(l.Close())
				}
			}
		})
	}
}

func lastLine(s string) string {
	s = strings.TrimSuffix(s, "\n")
	return s[strings.LastIndex(s, "\n")+1:] + "\n"
}

// TestOneRowLessIsAccountedFor deletes one row of an export: the ledger and the flow each hold one row less, and nothing
// else disappears.
func TestOneRowLessIsAccountedFor(t *testing.T) {
	plan, dir := invented(t)
	before := deltoidRun(t, plan)
	edit(t, filepath.Join(dir, "exports", "procedures.csv"), func(s string) string {
		return strings.TrimSuffix(s, lastLine(s))
	})
	after := deltoidRun(t, plan)
	for _, id := range []string{"accounts.procedures.read", "accounts.procedures.used", "flow.read"} {
		if b, a := before[id].number(t, "value"), after[id].number(t, "value"); a != b-1 {
			t.Errorf("%s was %v and is %v", id, b, a)
		}
	}
}

// TestCommandLine holds the exit codes and that usage mistakes are told.
func TestCommandLine(t *testing.T) {
	plan, _ := invented(t)
	tests := []struct {
		args []string
		code int
		says string
	}{
		{[]string{"version"}, exitDone, ""},
		{[]string{"--help"}, exitDone, ""},
		{[]string{"check", plan}, exitDone, ""},
		{[]string{"run"}, exitPlan, "one study plan"},
		{[]string{"version", "extra"}, exitPlan, "no argument"},
		{[]string{"fly"}, exitPlan, "fly"},
		{[]string{"run", plan, "--wings"}, exitPlan, "wings"},
		{[]string{"run", filepath.Join(t.TempDir(), "plan.yaml")}, exitPlan, "does not exist"},
		{[]string{"demo", "--shoulders", "0"}, exitPlan, "1 to 1000000"},
	}
	for _, test := range tests {
		code, _, stderr := call(append(test.args, "--out", filepath.Join(t.TempDir(), "report"))...)
		if code != test.code || !strings.Contains(stderr, test.says) {
			t.Errorf("deltoid %s: exit code %d, want %d; it says %q, which should hold %q", strings.Join(test.args, " "), code, test.code,
				stderr, test.says)
		}
	}
}

// TestForeignFolderIsLeftAlone: a report never replaces somebody's files.
func TestForeignFolderIsLeftAlone(t *testing.T) {
	plan, _ := invented(t)
	dir := t.TempDir()
	write(t, filepath.Join(dir, "thesis.txt"), "years of work")
	if code, _, stderr := call("run", plan, "--out", dir); code == exitDone || stderr == "" {
		t.Errorf("a folder with somebody's files was taken, exit code %d", code)
	}
	if b, err := os.ReadFile(filepath.Join(dir, "thesis.txt")); err != nil || string(b) != "years of work" {
		t.Errorf("the file is %q, %v", b, err)
	}
}

// TestJSONIsOneObject: with --json, stdout is one object and nothing else.
func TestJSONIsOneObject(t *testing.T) {
	plan, _ := invented(t)
	code, stdout, stderr := call("run", plan, "--json", "--out", filepath.Join(t.TempDir(), "report"))
	var got outcome
	if err := json.Unmarshal([]byte(stdout), &got); err != nil || code != exitDone {
		t.Fatalf("exit code %d, %v\n%s%s", code, err, stdout, stderr)
	}
	if len(got.Sentences) == 0 || got.Shoulders == 0 || len(got.Files) < 8 {
		t.Errorf("the object says too little: %+v", got)
	}
}

// TestQuietIsQuiet: with --quiet nothing is printed, and a pipe never sees progress.
func TestQuietIsQuiet(t *testing.T) {
	plan, _ := invented(t)
	if code, stdout, stderr := call("run", plan, "--quiet", "--out", filepath.Join(t.TempDir(), "r")); code != exitDone || stdout+stderr != "" {
		t.Errorf("exit code %d, printed %q", code, stdout+stderr)
	}
	if code, _, stderr := call("run", plan, "--out", filepath.Join(t.TempDir(), "r")); code != exitDone || stderr != "" {
		t.Errorf("exit code %d, stderr has %q", code, stderr)
	}
}

// TestInterruptedRunLeavesNothing: a run that is interrupted says so, ends with its own code, and leaves no half report.
func TestInterruptedRunLeavesNothing(t *testing.T) {
	plan, _ := invented(t)
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var stdout, stderr bytes.Buffer
	code := execute(ctx, []string{"run", plan, "--out", filepath.Join(dir, "report")}, &stdout, &stderr)
	left, err := os.ReadDir(dir)
	if code != exitInterrupted || !strings.Contains(stderr.String(), "interrupted") || err != nil || len(left) > 0 {
		t.Errorf("exit code %d, %q, left behind %v %v", code, stderr.String(), left, err)
	}
}

// TestEventsThatNoExportTellsOf: a study without revisions is refused where revision is waited for, since it would find
// that nobody is revised; without deaths, and where much of a table was lost, the report says so before anything else.
func TestEventsThatNoExportTellsOf(t *testing.T) {
	plan, dir := invented(t)
	drop := func(table string) func(string) string {
		return func(s string) string {
			from := strings.Index(s, "\n  "+table+":")
			to := from + 1 + strings.Index(s[from+1:], "\n  ") // the next line with the same indent or less
			for strings.HasPrefix(s[to:], "\n   ") {
				to += 1 + strings.Index(s[to+1:], "\n")
			}
			return s[:from] + s[to:]
		}
	}
	edit(t, plan, drop("deaths"))
	edit(t, plan, func(s string) string { return strings.ReplaceAll(s, "competing: [died]", "competing: []") })
	edit(t, filepath.Join(dir, "exports", "contacts.csv"), func(s string) string { return strings.ReplaceAll(s, "\nP", "\nQ") })
	code, stdout, stderr := call("run", plan, "--out", filepath.Join(t.TempDir(), "r"))
	if code != exitDone || !strings.Contains(stdout, "no export tells of deaths") || !strings.Contains(stdout, "rows of contacts") {
		t.Errorf("exit code %d:\n%s%s", code, stdout, stderr)
	}
	alone := filepath.Join(t.TempDir(), "plan.yaml")
	write(t, alone, "plan: 1\nstudy: alone\ntitle: Procedures alone\ndata_cut: 2020-12-31\nexports:\n  procedures: {files: p.csv}\n"+
		"endpoints:\n  revision: {}\nanalyses:\n  - {kind: implant survival, endpoint: revision, times: [1]}\n")
	write(t, filepath.Join(filepath.Dir(alone), "p.csv"), "patient,side,day,procedure,occasion\nA,left,2015-01-01,reverse,primary\n")
	code, _, stderr = call("run", alone, "--out", filepath.Join(t.TempDir(), "r"))
	if code != exitPlan || !strings.Contains(stderr, "no export tells of any") {
		t.Errorf("exit code %d: %s", code, stderr)
	}
}
