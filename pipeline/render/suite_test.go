package render

import (
	"bytes"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"deltoid/pipeline/report"
)

// hostile are labels as people type them, and as people who mean harm do.
var hostile = []string{
	"<script>alert(1)</script>", `"quoted" & 'single' &amp;`, "a|b$c=d,e\\f", "Schulterarthrose — Größe ≥ 3", "عظم العضد",
	"שבר בזרוע", strings.Repeat("very long label ", 12) + "end", strings.Repeat("Unbreakable", 12), "=SUM(A1:A9)",
	"股骨 🦴", "`code` *em* _em_ [l](x) #h ~s~ ![i](y)", "1. item\nnext \u202eturned\x00", "-- --> ]]> <!--", "${x} {{.Title}} %s",
}

func hostileGroups() []sampleGroup {
	var groups []sampleGroup
	for i, label := range hostile {
		groups = append(groups, sampleGroup{label, 1000 - 60*i, 0.004 * float64(i+1), 0.002 + 0.0005*float64(i), 10 - 0.3*float64(i)})
	}
	return groups
}

// maskedSample is a report as disclosure leaves it when the third group is too small to be shown.
func maskedSample() report.Document {
	doc := sample(threeGroups, 20)
	for i := range doc.Estimates {
		if e := &doc.Estimates[i]; e.Group == threeGroups[2].label {
			none := report.Optional{}
			e.Value, e.Lower, e.Upper, e.N, e.Events = none, none, none, none, none
			e.Status, e.Note = report.Masked, "fewer than 5"
		}
	}
	for i := range doc.Sections {
		for j := range doc.Sections[i].Figures {
			if f := &doc.Sections[i].Figures[j]; len(f.Curves) > 0 {
				f.Curves[2].Steps = nil
			}
		}
	}
	return doc
}

// dotSample is a report of rates: one that is shown, one without events, one whose interval goes far beyond the others, one
// that is masked, and labels of every kind.
func dotSample() report.Document {
	f := report.Figure{ID: "rates", Title: "Rates", Alt: "Dots with intervals", Line: "rate.0", X: report.Axis{Label: "Revisions per 100 prosthesis-years", Unit: "per 100 prosthesis-years"}}
	doc := report.Document{Title: "Rates"}
	values := [][3]float64{{0.9, 0.7, 1.2}, {0, 0, 2.4}, {1.5, 0.2, 5569}, {1.1, 0.9, 1.3}}
	for i, name := range hostile {
		v := values[i%len(values)]
		e := report.Estimate{ID: fmt.Sprintf("rate.%d", i), Analysis: "rates", Group: name, Measure: "rate", Unit: f.X.Unit, Status: report.Estimated, Method: "exact",
			Value: report.Some(v[0]), Lower: report.Some(v[1]), Upper: report.Some(v[2]), Level: report.Some(0.95)}
		if i == 4 {
			none := report.Optional{}
			e.Value, e.Lower, e.Upper, e.Status, e.Note = none, none, none, report.Masked, "fewer than 5"
		}
		doc.Estimates = append(doc.Estimates, e)
		f.Dots = append(f.Dots, report.Dot{Label: name, Estimate: e.ID})
	}
	doc.Sections = []report.Section{{ID: "rates", Heading: "Rates", Figures: []report.Figure{f}}}
	return doc
}

// documents are what every renderer must cope with.
func documents() map[string]report.Document {
	bare := report.Document{Title: "Nothing yet"}
	hollow := report.Document{Title: "Hollow", Sections: []report.Section{{ID: "empty", Heading: "Empty",
		Figures: []report.Figure{{ID: "empty"}}, Sheets: []report.Sheet{{ID: "empty"}}}}}
	hollow.Sections[0].Figures[0].X.Max, hollow.Sections[0].Figures[0].Y.Max = 1, 1
	return map[string]report.Document{
		"three groups":  sample(threeGroups, 200),
		"one group":     sample(threeGroups[:1], 1),
		"many groups":   sample(hostileGroups(), 30),
		"masked":        maskedSample(),
		"dots":          dotSample(),
		"no sections":   bare,
		"empty section": hollow,
	}
}

func mustOpen(t testing.TB, doc report.Document) *book {
	t.Helper()
	b, err := open(doc)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Every renderer: gives the same bytes twice and on one core, leaves the document alone, and names its files so that
// they fall inside the report's folder.
func TestRenderers(t *testing.T) {
	for name, doc := range documents() {
		for _, r := range renderers {
			t.Run(name+"/"+r.name, func(t *testing.T) {
				first, err := r.render(mustOpen(t, doc))
				if err != nil {
					t.Fatal(err)
				}
				before := runtime.GOMAXPROCS(1)
				again, err := r.render(mustOpen(t, doc))
				runtime.GOMAXPROCS(before)
				if err != nil {
					t.Fatal(err)
				}
				if len(first) != len(again) {
					t.Fatalf("%d files, then %d", len(first), len(again))
				}
				for i := range first {
					checkFile(t, first[i])
					if first[i].Name != again[i].Name || !bytes.Equal(first[i].Data, again[i].Data) {
						t.Errorf("%s changes from one time to the next", first[i].Name)
					}
				}
			})
		}
		if diff := cmp.Diff(documents()[name], doc); diff != "" {
			t.Errorf("%s: a renderer changed the document:\n%s", name, diff)
		}
	}
}

func checkFile(t *testing.T, f File) {
	t.Helper()
	if len(f.Data) == 0 {
		t.Errorf("%s is empty", f.Name)
	}
	for _, part := range strings.Split(f.Name, "/") {
		if !safeID.MatchString(part) {
			t.Errorf("file name %q", f.Name)
		}
	}
}

// No label, whatever it holds, makes a renderer fail or lets markup through into a drawing.
func FuzzLabel(f *testing.F) {
	for _, label := range hostile {
		f.Add(label)
	}
	f.Fuzz(func(t *testing.T, label string) {
		s := sampler{steps: 3, groups: []sampleGroup{{label, 500, 0.01, 0.005, 9}}}
		s.curves("a", label, label, label, false)
		s.doc.Title, s.doc.About = label, label
		b := mustOpen(t, s.doc)
		for _, r := range renderers {
			files, err := r.render(b)
			if err != nil {
				t.Fatalf("%s: %v", r.name, err)
			}
			for _, f := range files {
				if strings.HasSuffix(f.Name, ".svg") {
					if err := wellFormed(f.Data); err != nil {
						t.Fatalf("%s: %v", f.Name, err)
					}
				}
			}
		}
	})
}

func TestBrokenDocumentsAreRefused(t *testing.T) {
	for _, c := range []struct {
		spoil func(*report.Document)
		want  string
	}{
		{func(d *report.Document) { d.Estimates = append(d.Estimates, d.Estimates[0]) }, "is there twice"},
		{func(d *report.Document) { d.Lead[0][1].Estimate = "nowhere" }, `the lead: there is no estimate "nowhere"`},
		{func(d *report.Document) { d.Sections[1].ID = "../up" }, "the id may hold"},
		{func(d *report.Document) { d.Sections[1].Figures[0].ID = "flow" }, `figure "flow": the id is taken`},
		{func(d *report.Document) { d.Sections[1].Figures[0].X.Ticks = nil }, "numbers at risk for 0 ticks"},
		{func(d *report.Document) { d.Sections[1].Figures[0].X.Max = 0 }, "an axis has no length"},
		{func(d *report.Document) { d.Sections[1].Sheets[0].Columns = []string{"Indication"} }, "5 cells, the header has room for 0"},
		{func(d *report.Document) { d.Sections[0].Figures[0].Boxes[0].Left[0].Count[0].Estimate = "gone" }, `no estimate "gone"`},
	} {
		doc := sample(threeGroups, 3)
		c.spoil(&doc)
		if _, err := open(doc); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("error %v, want %q in it", err, c.want)
		}
	}
}

func BenchmarkFiles(b *testing.B) {
	for _, steps := range []int{100, 3650} {
		b.Run(fmt.Sprint("steps=", steps), func(b *testing.B) {
			book := mustOpen(b, sample(threeGroups, steps))
			for b.Loop() {
				for _, r := range renderers {
					if _, err := r.render(book); err != nil {
						b.Fatal(err)
					}
				}
			}
		})
	}
}
