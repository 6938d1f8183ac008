package render

import (
	"slices"
	"testing"

	"deltoid/pipeline/report"
)

// stackedSample is the invented report with the curves of its first figure as layers of one group.
func stackedSample() report.Document {
	doc := sample(threeGroups, 40)
	f := &doc.Sections[1].Figures[0]
	f.Stacked, f.AtRisk = true, f.AtRisk[:1]
	for i := range f.Curves {
		f.Curves[i].Measure = []string{"Infection", "Instability", "Other reasons"}[i]
		f.Curves[i].Group = f.AtRisk[0].Group
		f.Curves[i].EndX = 8
		for j := range f.Curves[i].Steps {
			f.Curves[i].Steps[j] = report.Step{X: 8 * float64(j) / 40, Y: float64(i+1) * float64(j) / 1000}
		}
	}
	return doc
}

// Layers are named by what they stand for, once each, with one row of numbers at risk; on a phone the list below runs from the
// top layer down, as they lie.
func TestLayersAreNamed(t *testing.T) {
	doc := stackedSample()
	b := mustOpen(t, doc)
	f := &b.Sections[1].Figures[0]
	for _, width := range []float64{wideWidth, narrowWidth} {
		p, err := draw(b, f, width)
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		filled, numbers := 0, 0
		for _, m := range p.marks {
			switch m := m.(type) {
			case label:
				if m.text == "Infection" || m.text == "Instability" || m.text == "Other reasons" {
					names = append(names, m.text)
				}
				numbers += len(m.ids)
			case area:
				filled++
			}
		}
		want := []string{"Other reasons", "Instability", "Infection"}
		if !slices.Equal(names, want) {
			t.Errorf("at width %v the layers are named %v, want %v", width, names, want)
		}
		if filled < 3 || numbers == 0 || numbers > len(f.X.Ticks) {
			t.Errorf("at width %v there are %d filled areas and %d numbers at risk", width, filled, numbers)
		}
	}
}

// A layer begins where the one below it ends: every point of its lower edge is a point of the upper edge below.
func TestLayersLieOnOneAnother(t *testing.T) {
	doc := stackedSample()
	b := mustOpen(t, doc)
	p, err := draw(b, &b.Sections[1].Figures[0], wideWidth)
	if err != nil {
		t.Fatal(err)
	}
	var layers []area
	for _, m := range p.marks {
		if a, ok := m.(area); ok && len(a.points) > 10 {
			layers = append(layers, a)
		}
	}
	if len(layers) != 3 {
		t.Fatalf("%d layers", len(layers))
	}
	for i := 1; i < len(layers); i++ {
		below := layers[i-1].points
		lower := layers[i].points[len(layers[i].points)/2:]
		for _, at := range lower {
			if !slices.Contains(below, at) {
				t.Fatalf("layer %d has the point %v, which the layer below has not", i, at)
			}
		}
	}
}
