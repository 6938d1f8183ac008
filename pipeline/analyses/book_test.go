package analyses

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"deltoid/pipeline/report"
	"deltoid/schemas"
)

func TestSlugsAreDistinctWhateverTheLabels(t *testing.T) {
	labels := []string{"Hemi", "hemi", "HEMI!", "肩", "", "a=b", "a,b", "Proximal humerus fracture", "hemi-2"}
	want := []string{"hemi", "hemi-2", "hemi-3", "group", "group-2", "a-b", "a-b-2", "proximal-humerus-fracture", "hemi-2-2"}
	if diff := cmp.Diff(want, slugs(labels)); diff != "" {
		t.Errorf("slugs (-want +got):\n%s", diff)
	}
}

func TestTwoEstimatesCannotShareAnID(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("a second estimate took the id of the first")
		}
	}()
	b := newBook(&report.Document{})
	b.add(report.Count("a", "", "", 1, "rows"))
	b.add(report.Count("a", "", "", 2, "rows"))
}

func TestTicksAreRoundAndFew(t *testing.T) {
	for end, want := range map[float64][]float64{
		10:  {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10},
		12:  {0, 2, 4, 6, 8, 10, 12},
		5:   {0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5},
		23:  {0, 5, 10, 15, 20},
		730: {0, 100, 200, 300, 400, 500, 600, 700},
	} {
		if got := ticksTo(end); !slices.Equal(got, want) {
			t.Errorf("ticks to %v are %v, want %v", end, got, want)
		}
	}
}

// TestWidenKeepsNames spreads cells whose names a data frame could mistake for numbers or for missing values.
func TestWidenKeepsNames(t *testing.T) {
	rows := []string{"NaN", "NA", "1e3", "007", "a.b", ""}
	columns := []string{"10", "2", "0.5"}
	var cells []long
	for _, r := range rows {
		for _, c := range columns {
			cells = append(cells, long{r, c, report.Cell(report.Words(r + "/" + c))})
		}
	}
	wide, err := widen(cells, columns)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		for i, c := range columns {
			if got := wide[r]; len(got) != len(columns) || len(got[i]) == 0 || got[i][0].Words != r+"/"+c {
				t.Errorf("row %q, column %q: %v", r, c, got)
			}
		}
	}
}

func TestOnlyOurOwnLabelsLoseTheirCapital(t *testing.T) {
	say := speaker(&schemas.Field{Codes: []schemas.CodeValue{{Value: "f", Label: "Fracture"}, {Value: "a", Label: "ASA 3"}}})
	for label, want := range map[string]string{"Fracture": "fracture", "ASA 3": "ASA 3", "Hospital Nord": "Hospital Nord", "": ""} {
		if got := say(label); got != want {
			t.Errorf("%q in a sentence is %q, want %q", label, got, want)
		}
	}
}
