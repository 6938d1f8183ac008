package schemas

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestSummaryReadsLikeThis(t *testing.T) {
	fs := someFindings()
	for line := range 4 {
		fs.Add(Finding{Rule: RuleNotToldApart, Table: "shoulders", File: "c.csv", Line: 4 + line, Detail: "the other row is c.csv:2"})
	}
	want := `9 findings in the exports. Mend first: unknown-code in procedures (2).

procedures, unknown-code: 2 findings (set aside)
  The value is not one of the codes of this field.
    b.csv:9:3 sex (column "Sex") "=cmd()"; allowed: female, male, other
    b.csv:10:3 sex (column "Sex") "F\x1b[2J"; allowed: female, male, other
  To mend it: Correct the value, or add a recode from it to one of the codes in the study plan.

procedures, pattern: 1 finding (set aside)
  The text does not have the form that this field asks for.
    a.csv:12:1 patient (column "pid") (identifier)
  To mend it: Write the value in the form shown.

procedures, bad-number: 1 finding (set aside)
  The value is not a number.
    a.csv:12:4 bmi (column "@BMI") "-5"; a, "b"
  To mend it: Write the number without a unit and without marks between thousands, with the declared decimal mark; leave the cell empty when the value is not known.

shoulders, not-told-apart: 5 findings (warning)
  Nothing tells the row apart from another row; both are used.
    c.csv:3; the other row is c.csv:2
    c.csv:4; the other row is c.csv:2
    c.csv:5; the other row is c.csv:2
    and 2 more
  To mend it: If the two rows are two shoulders, add the side; if the export repeats a row, delete one of them.
`
	if diff := cmp.Diff(want, fs.Summary().String()); diff != "" {
		t.Error(diff)
	}
}

func TestSummaryOfNothingIsEmpty(t *testing.T) {
	if s := new(Findings).Summary().String(); s != "" {
		t.Errorf("got %q", s)
	}
}

func TestSummaryPutsTheLossOfRowsBeforeWarnings(t *testing.T) {
	fs := &Findings{}
	unlinked := &Rule{ID: "no-shoulder", Severity: Unlinks}
	for range 3 {
		fs.Add(Finding{Rule: RuleNotToldApart, Table: "shoulders"})
	}
	fs.Add(Finding{Rule: unlinked, Table: "deaths"}, Finding{Rule: unlinked, Table: "deaths"}, Finding{Rule: RuleBadDate, Table: "deaths"})
	var order []string
	for _, c := range fs.Summary().Counts {
		order = append(order, c.Rule.ID)
	}
	if diff := cmp.Diff([]string{"bad-date", "no-shoulder", "not-told-apart"}, order); diff != "" {
		t.Error(diff)
	}
}

// The order in which goroutines report does not show.
func TestSummaryDoesNotDependOnTheOrderOfFindings(t *testing.T) {
	forward, backward := &Findings{}, &Findings{}
	for i := range 40 {
		f := func(i int) Finding {
			return Finding{Rule: Rules()[i%5], Table: Names()[i%3], File: "a.csv", Line: i + 2, Value: fmt.Sprint(i)}
		}
		forward.Add(f(i))
		backward.Add(f(39 - i))
	}
	if diff := cmp.Diff(forward.Summary().String(), backward.Summary().String()); diff != "" {
		t.Error(diff)
	}
}

func TestSummaryShortensLongValues(t *testing.T) {
	fs := &Findings{}
	fs.Add(Finding{Rule: RuleBadDate, Table: "deaths", File: "a.csv", Line: 2, Field: "day", Value: strings.Repeat("ü", 500)})
	if s := fs.Summary().String(); strings.Count(s, "ü") != 60 || !strings.Contains(s, "…") {
		t.Errorf("got %q", s)
	}
}

func TestThousands(t *testing.T) {
	for n, want := range map[int]string{0: "0", 999: "999", 1000: "1,000", 1234567: "1,234,567"} {
		if got := thousands(n); got != want {
			t.Errorf("%d: %q", n, got)
		}
	}
}

// One look at the values is enough to write the recodes: each once, with how often, the most frequent first; ten of them.
func TestUnknownCodesAreListedByValue(t *testing.T) {
	var fs Findings
	for i := range 30 {
		value := "unver\u00e4ndert"
		if i >= 18 {
			value = string(rune('a' + i - 18))
		}
		fs.Add(Finding{Rule: RuleUnknownCode, Table: "procedures", File: "a.csv", Line: 2 + i, Column: 1, Field: "sex", Header: "sex", Value: value})
	}
	fs.Add(Finding{Rule: RuleUnknownCode, Table: "procedures", File: "a.csv", Line: 40, Column: 1, Field: "sex", Header: "sex", Value: "c"})
	got := fs.Summary().String()
	for _, want := range []string{"  Values found:\n    sex \"unver\u00e4ndert\": 18 times\n    sex \"c\": 2 times\n    sex \"a\": once\n    sex \"b\": once\n    sex \"d\": once\n", "    and 3 more values\n"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing from\n%s", want, got)
		}
	}
}
