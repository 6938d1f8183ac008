package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// To draft, the header of a Parquet file is read without asking for a field.
func TestDraftOfParquet(t *testing.T) {
	_, dir := invented(t)
	folder := t.TempDir()
	data, err := os.ReadFile(filepath.Join(dir, "exports", "deaths.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(folder, "toten.parquet")
	write(t, file, string(data))
	code, stdout, stderr := call("draft", file)
	if code != exitDone {
		t.Fatalf("exit code %d\n%s%s", code, stdout, stderr)
	}
	if plan, err := os.ReadFile(filepath.Join(folder, draftName)); err != nil || !strings.Contains(string(plan), "toten.parquet") {
		t.Errorf("the plan does not name the file: %v\n%s", err, plan)
	}
}

// Whoever drafts has no plan yet, and one fault of many files is told once.
func TestDraftOfMissingFiles(t *testing.T) {
	folder := t.TempDir()
	args := []string{"draft"}
	for _, name := range []string{"a.csv", "b.csv", "c.csv"} {
		args = append(args, filepath.Join(folder, name))
	}
	code, _, stderr := call(args...)
	if want := "a.csv and 2 more files: there is no such file; to mend it: correct the name, or put the file there\n"; code != exitExport || !strings.HasSuffix(stderr, want) || strings.Count(stderr, "\n") != 1 {
		t.Errorf("exit code %d, %q, want %q", code, stderr, want)
	}
}

// Where nobody is left to analyse and rules were broken, the rows that were set aside may be why.
func TestNobodyLeftPointsAtTheRows(t *testing.T) {
	path := readyPlan(t, "follow_up,outcome\n100,dead\n200,ok\n", "", "  - {id: all, kind: implant survival, endpoint: death, times: [0.1]}\n")
	code, _, stderr := call("run", path, "--out", filepath.Join(t.TempDir(), "report"))
	if want := "deltoid check " + path + "\" to see what is wrong with the rows, first of all unknown-code in shoulders, broken 2 times"; code != exitNothing || !strings.Contains(stderr, want) {
		t.Errorf("exit code %d, %q, want %q", code, stderr, want)
	}
}
