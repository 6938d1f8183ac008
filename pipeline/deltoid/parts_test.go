package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// In parts check counts the same rows, recodes and findings as with all rows at hand, but for the rules that need those.
func TestCheckInParts(t *testing.T) {
	plan, dir := invented(t)
	edit(t, filepath.Join(dir, "exports", "procedures.csv"), func(s string) string {
		lines := strings.SplitAfter(s, "\n")
		lines[3] = strings.Replace(lines[3], "L", "Q", 1)
		return strings.Join(lines, "") + lines[5]
	})
	var whole, parts checked
	for into, args := range map[*checked][]string{&whole: {"check", plan, "--json"}, &parts: {"check", plan, "--json", "--in-parts", "--out", filepath.Join(t.TempDir(), "out")}} {
		code, stdout, stderr := call(args...)
		if err := json.Unmarshal([]byte(stdout), into); err != nil || code != exitFindings {
			t.Fatalf("exit code %d, %v: %s", code, err, stderr)
		}
	}
	if len(parts.Recodes) != len(whole.Recodes) || len(parts.Ledgers) != len(whole.Ledgers) {
		t.Fatalf("%d recodes and %d tables, want %d and %d", len(parts.Recodes), len(parts.Ledgers), len(whole.Recodes), len(whole.Ledgers))
	}
	for i := range whole.Recodes {
		if parts.Recodes[i] != whole.Recodes[i] {
			t.Errorf("%v, want %v", parts.Recodes[i], whole.Recodes[i])
		}
	}
	for i, l := range parts.Ledgers {
		if l.Read != whole.Ledgers[i].Read || l.Read != l.Used+l.SetAside {
			t.Errorf("%+v, want %+v", l, whole.Ledgers[i])
		}
	}
	if parts.Stated[0] != leftOut || parts.Quality != "" {
		t.Errorf("it does not say what is left out: %q %q", parts.Stated, parts.Quality)
	}
	rules := map[string]int{}
	for _, f := range parts.Findings {
		rules[f.Rule] = f.Count
	}
	for _, f := range whole.Findings {
		switch f.Rule {
		case "same-row-twice":
			if rules[f.Rule] != 0 {
				t.Errorf("a rule about all rows was applied to a part")
			}
		case "unknown-code":
			if rules[f.Rule] != f.Count || f.Count != 1 {
				t.Errorf("%d unknown codes, want %d", rules[f.Rule], f.Count)
			}
		}
	}
	if _, err := os.Stat(parts.List); err != nil {
		t.Error(err)
	}
	// A column that may identify people stops it as well.
	edit(t, filepath.Join(dir, "exports", "deaths.csv"), func(s string) string {
		return strings.ReplaceAll(strings.Replace(s, "\n", ",SURNAME\n", 1), "\nP", ",Doe\nP")
	})
	if code, _, stderr := call("check", plan, "--in-parts"); code != exitIdentifiers || !strings.Contains(stderr, "SURNAME") {
		t.Errorf("exit code %d: %s", code, stderr)
	}
}
