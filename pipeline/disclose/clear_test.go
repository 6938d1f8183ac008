package disclose

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"deltoid/pipeline/report"

	"github.com/google/go-cmp/cmp"
)

// counts makes a document with one total: the first value is the whole.
func counts(whole int, parts ...int) report.Document {
	doc := report.Document{Estimates: []report.Estimate{report.Count("whole", "flow", "shoulders", whole, "shoulders")}}
	t := report.Total{Whole: "whole"}
	for i, p := range parts {
		id := fmt.Sprintf("part.%d", i)
		doc.Estimates = append(doc.Estimates, report.Count(id, "flow", "shoulders", p, "shoulders"))
		t.Parts = append(t.Parts, id)
	}
	doc.Totals = []report.Total{t}
	return doc
}

func cleared(t *testing.T, doc report.Document, below int) report.Document {
	t.Helper()
	c, err := Clear(doc, Policy{MaskBelow: below})
	if err != nil {
		t.Fatal(err)
	}
	return c.Document()
}

func maskedIDs(doc report.Document) []string {
	var ids []string
	for _, e := range doc.Estimates {
		if e.Status == report.Masked {
			ids = append(ids, e.ID)
		}
	}
	return ids
}

// The expected cells are worked out by hand from the rule in the package comment.
func TestOneTotal(t *testing.T) {
	for _, c := range []struct {
		name  string
		below int
		whole int
		parts []int
		want  []string
	}{
		{"nothing small", 5, 150, []int{5, 138, 7}, nil},
		{"zero is shown", 5, 60, []int{0, 60}, nil},
		{"138 is not below 5 though its text is", 5, 143, []int{138, 5}, nil},
		{"one small part takes the smallest other", 5, 113, []int{3, 60, 50}, []string{"part.0", "part.2"}},
		{"equal neighbours by id", 5, 103, []int{3, 50, 50}, []string{"part.0", "part.1"}},
		{"zero is no neighbour while there is another", 5, 53, []int{3, 0, 50}, []string{"part.0", "part.2"}},
		{"no other part but zero: the whole", 5, 3, []int{3, 0}, []string{"whole", "part.0"}},
		{"two small parts hide each other: 2+3=5 leaves 1 to 4 for both", 5, 105, []int{2, 3, 100}, []string{"part.0", "part.1"}},
		{"two small parts too small together: 2+2=4 leaves no 4", 5, 104, []int{2, 2, 100}, []string{"part.0", "part.1", "part.2"}},
		{"two small parts at their limit: 4+4=8 is solved", 5, 108, []int{4, 4, 100}, []string{"part.0", "part.1", "part.2"}},
		{"threshold 11 takes 10", 11, 120, []int{10, 110}, []string{"part.0", "part.1"}},
		{"threshold 1 masks nothing", 1, 104, []int{1, 103}, nil},
		{"threshold 0 masks nothing", 0, 104, []int{1, 103}, nil},
		{"threshold 2 takes 1 and its neighbour", 2, 104, []int{1, 103}, []string{"part.0", "part.1"}},
	} {
		got := maskedIDs(cleared(t, counts(c.whole, c.parts...), c.below))
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: masked %v, want %v", c.name, got, c.want)
		}
	}
}

func TestMaskedEstimateKeepsNoNumber(t *testing.T) {
	doc := cleared(t, counts(113, 3, 60, 50), 5)
	for _, e := range doc.Estimates {
		if e.Status != report.Masked {
			continue
		}
		if e.Value.Known || e.N.Known || e.Events.Known || !strings.Contains(e.Note, "fewer than 5") {
			t.Errorf("%s is masked and still says %+v", e.ID, e)
		}
	}
	if len(doc.Cautions) != 1 || !strings.Contains(doc.Cautions[0], "Counts from 1 to 4 are masked") {
		t.Errorf("cautions are %q", doc.Cautions)
	}
}

func TestNothingSmallChangesNothing(t *testing.T) {
	doc := followed(group{"fracture", 100, []int{6, 9}, []int{80, 60}})
	if diff := cmp.Diff(doc, cleared(t, doc, 5)); diff != "" {
		t.Error(diff)
	}
}

func TestThresholdReasonIsPrinted(t *testing.T) {
	c, err := Clear(counts(104, 1, 103), Policy{MaskBelow: 0, Reason: "published data"})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"Small counts are not masked in this report. Reason given in the plan: published data"}
	if got := c.Document().Cautions; !slices.Equal(got, want) {
		t.Errorf("cautions are %q", got)
	}
}

func TestContradictionsAreErrors(t *testing.T) {
	twice := counts(10, 5, 5)
	twice.Estimates[2].ID = "part.0"
	unknown := counts(10, 5, 5)
	unknown.Totals[0].Parts[0] = "nobody"
	valueless := counts(10, 5, 5)
	valueless.Estimates[1].Value = report.Optional{}
	rows := followed(group{"a", 100, []int{6, 9}, []int{80, 60}})
	rows.Sections[0].Figures[0].AtRisk = append(rows.Sections[0].Figures[0].AtRisk, report.RiskRow{})
	for want, doc := range map[string]report.Document{
		`two estimates have the id "part.0"`: twice,
		"add up to 11":                       counts(10, 5, 6),
		`names "nobody"`:                     unknown,
		`names "part.0", which is not`:       valueless,
		"1 curves but 2 rows":                rows,
	} {
		_, err := Clear(doc, Policy{MaskBelow: 5})
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error is %v, want one with %q", err, want)
		}
	}
	if _, err := Clear(counts(1, 1), Policy{MaskBelow: -1}); err == nil {
		t.Error("a negative threshold was accepted")
	}
}

func TestInputIsNotChanged(t *testing.T) {
	make := func() report.Document {
		return followed(group{"a", 40, []int{2, 9}, []int{30, 3}}, group{"b", 90, []int{9, 20}, []int{70, 50}})
	}
	doc := make()
	cleared(t, doc, 5)
	if diff := cmp.Diff(make(), doc); diff != "" {
		t.Error(diff)
	}
}

// A report with almost nothing left says first what can be done, once; one with a single masked number does not.
func TestMostlyMaskedSaysWhatToDo(t *testing.T) {
	doc := followed(group{"a", 4, []int{0, 1}, []int{4, 3}}, group{"b", 5, []int{1, 2}, []int{4, 2}})
	doc.Lead = []report.Text{report.Words("Nine shoulders.")}
	got := cleared(t, doc, 5)
	if len(got.Lead) != 2 || !strings.Contains(got.Lead[0][0].Words, "combine groups") || !strings.Contains(got.Lead[0][0].Words, "disclosure.mask_below") {
		t.Errorf("the lead is %v", got.Lead)
	}
	if diff := cmp.Diff(got, cleared(t, got, 5)); diff != "" {
		t.Error("clearing a cleared document changes it: " + diff)
	}
	few := followed(group{"a", 100, []int{3, 9}, []int{80, 60}})
	if lead := cleared(t, few, 5).Lead; len(lead) != 0 {
		t.Errorf("the lead with one masked number is %v", lead)
	}
}

// Of a row of 1, 1 and 1 none can be 4 to who knows that their sum is at most 4, whatever is hidden; so the sums of the
// columns are not hidden in vain. By hand: each column needs a second hidden cell, and the row sum a second one; those in the
// second row keep only the two values that the ones leave them, not four, so a third row is hidden as well.
func TestNothingIsHiddenInVain(t *testing.T) {
	doc, _ := table(3, 3, []int{1, 1, 1, 60, 70, 80, 90, 95, 99})
	var want []string
	for _, e := range doc.Estimates {
		if !strings.HasPrefix(e.ID, "cell.3.") {
			want = append(want, e.ID)
		}
	}
	wantMasked(t, cleared(t, doc, 5), want...)
}
