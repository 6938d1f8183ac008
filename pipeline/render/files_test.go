package render

import (
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"deltoid/pipeline/disclose"
	"deltoid/pipeline/report"
)

var update = flag.Bool("update", false, "write the golden files anew")

func cleared(t *testing.T, doc report.Document) disclose.Cleared {
	t.Helper()
	c, err := disclose.Clear(doc, disclose.Policy{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestFilesOfAReport(t *testing.T) {
	files, err := Files(cleared(t, sample(threeGroups, 5)))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range files {
		names = append(names, f.Name)
	}
	want := []string{
		"figures/cumulative-revision.csv", "figures/cumulative-revision.pdf", "figures/cumulative-revision.svg",
		"figures/flow.csv", "figures/flow.pdf", "figures/flow.svg",
		"figures/survival-revision.csv", "figures/survival-revision.pdf", "figures/survival-revision.svg",
		"report.html", "report.ipynb", "report.md", "tables/estimates.csv", "tables/estimates.parquet"}
	if diff := cmp.Diff(want, names); diff != "" {
		t.Error(diff)
	}
	if !slices.IsSorted(names) {
		t.Error("the names are not sorted")
	}
}

func TestFilesRefusesABrokenDocument(t *testing.T) {
	doc := sample(threeGroups, 5)
	doc.Lead[0][1].Estimate = "nowhere"
	if _, err := Files(cleared(t, doc)); err == nil || !strings.Contains(err.Error(), `"nowhere"`) {
		t.Errorf("error %v", err)
	}
}

// What disclosure hides stays hidden in every file: the figures, the tables and the words.
func TestMaskedNumbersAreNowhere(t *testing.T) {
	doc := sample(append(slices.Clone(threeGroups), sampleGroup{"Tumour", 3, 0.4, 0.2, 6}), 5)
	c, err := disclose.Clear(doc, disclose.Policy{MaskBelow: disclose.DefaultMaskBelow})
	if err != nil {
		t.Fatal(err)
	}
	files, err := Files(c)
	if err != nil {
		t.Fatal(err)
	}
	shown := map[string]report.Estimate{}
	for _, e := range c.Document().Estimates {
		shown[e.ID] = e
	}
	masked := 0
	for _, e := range doc.Estimates {
		if shown[e.ID].Status != report.Masked || !e.Value.Known || e.Unit != report.UnitProbability {
			continue
		}
		masked++
		for _, f := range files {
			if strings.Contains(string(f.Data), exact(e.Value)) {
				t.Errorf("%s holds the masked value of %s", f.Name, e.ID)
			}
		}
	}
	if masked == 0 {
		t.Error("nothing was masked")
	}
}

// The golden files are a whole small report as text; a change of wording or layout is read in their diff. They are
// written anew by: go test ./pipeline/render -run Golden -update
func TestGolden(t *testing.T) {
	files, err := Files(cleared(t, sample(threeGroups[1:], 6)))
	if err != nil {
		t.Fatal(err)
	}
	golden := []string{"report.html", "report.md", "tables/estimates.csv", "figures/flow.csv", "figures/cumulative-revision.csv"}
	for _, f := range files {
		if !slices.Contains(golden, f.Name) {
			continue
		}
		path := filepath.Join("testdata", strings.ReplaceAll(f.Name, "/", "-"))
		if *update {
			if err := os.WriteFile(path, f.Data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(string(want), string(f.Data)); diff != "" {
			t.Errorf("%s:\n%s", f.Name, diff)
		}
	}
}
