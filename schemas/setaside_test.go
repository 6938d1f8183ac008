package schemas

import (
	"bytes"
	"encoding/csv"
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func someFindings() *Findings {
	fs := &Findings{}
	fs.Add(
		Finding{Rule: RuleUnknownCode, Table: "procedures", File: "b.csv", Line: 9, Column: 3, Field: "sex", Header: "Sex", Value: "=cmd()", Detail: "allowed: female, male, other"},
		Finding{Rule: RuleBadNumber, Table: "procedures", File: "a.csv", Line: 12, Column: 4, Field: "bmi", Header: "@BMI", Value: "-5", Detail: "a, \"b\""},
		Finding{Rule: RulePattern, Table: "procedures", File: "a.csv", Line: 12, Column: 1, Field: "patient", Header: "pid", Value: "secret-1", Masked: true},
		Finding{Rule: RuleNotToldApart, Table: "shoulders", File: "c.csv", Line: 3, Detail: "the other row is c.csv:2"},
		Finding{Rule: RuleUnknownCode, Table: "procedures", File: "b.csv", Line: 10, Column: 3, Field: "sex", Header: "Sex", Value: "F\x1b[2J", Detail: "allowed: female, male, other"},
	)
	return fs
}

func TestSetAsideFileHasEverythingAndNoFormulas(t *testing.T) {
	var b bytes.Buffer
	if err := WriteSetAside(&b, "procedures", someFindings()); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	sex := func(line, value string) []string {
		return []string{"b.csv", line, "3", "Sex", "sex", value, "unknown-code", RuleUnknownCode.Sentence, "allowed: female, male, other", RuleUnknownCode.Remedy, "set aside"}
	}
	want := [][]string{
		{"file", "line", "column", "header", "field", "value", "rule", "sentence", "detail", "remedy", "effect"},
		{"a.csv", "12", "1", "pid", "patient", "secret-1", "pattern", RulePattern.Sentence, "", RulePattern.Remedy, "set aside"},
		{"a.csv", "12", "4", "'@BMI", "bmi", "-5", "bad-number", RuleBadNumber.Sentence, `a, "b"`, RuleBadNumber.Remedy, "set aside"},
		sex("9", "'=cmd()"), sex("10", "F\x1b[2J"),
	}
	if diff := cmp.Diff(want, rows); diff != "" {
		t.Error(diff)
	}
}

func TestSetAsideFileHasWarningsToo(t *testing.T) {
	var b bytes.Buffer
	if err := WriteSetAside(&b, "shoulders", someFindings()); err != nil {
		t.Fatal(err)
	}
	rows, _ := csv.NewReader(&b).ReadAll()
	want := []string{"c.csv", "3", "", "", "", "", "not-told-apart", RuleNotToldApart.Sentence, "the other row is c.csv:2", RuleNotToldApart.Remedy, "warning"}
	if diff := cmp.Diff(want, rows[1]); diff != "" {
		t.Error(diff)
	}
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestSetAsideFilePassesOnErrors(t *testing.T) {
	if err := WriteSetAside(fullDisk{}, "procedures", someFindings()); err == nil {
		t.Error("a full disk was not noticed")
	}
}

func TestHarmless(t *testing.T) {
	for cell, want := range map[string]string{"=1+1": "'=1+1", "+x": "'+x", "-x": "'-x", "@x": "'@x", "\tx": "'\tx", "-5": "-5", "+1,5": "+1,5",
		"-5+1": "'-5+1", "": "", "31/02/2020": "31/02/2020"} {
		if got := harmless(cell); got != want {
			t.Errorf("harmless(%q) = %q, want %q", cell, got, want)
		}
	}
}
