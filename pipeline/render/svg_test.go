package render

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"deltoid/pipeline/report"
)

// wellFormed reads XML to its end.
func wellFormed(data []byte) error {
	d := xml.NewDecoder(bytes.NewReader(data))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// svgText is a text of a drawing.
type svgText struct {
	X        float64 `xml:"x,attr"`
	Y        float64 `xml:"y,attr"`
	Anchor   string  `xml:"text-anchor,attr"`
	Estimate string  `xml:"data-estimate,attr"`
	Text     string  `xml:",chardata"`
}

type svgFile struct {
	Title string    `xml:"title"`
	Desc  string    `xml:"desc"`
	Role  string    `xml:"role,attr"`
	Width string    `xml:"width,attr"`
	Texts []svgText `xml:"text"`
}

func drawingOf(t *testing.T, doc report.Document, name string) svgFile {
	t.Helper()
	files, err := drawings(mustOpen(t, doc))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if f.Name == "figures/"+name+".svg" {
			if err := wellFormed(f.Data); err != nil {
				t.Fatal(err)
			}
			var out svgFile
			if err := xml.Unmarshal(f.Data, &out); err != nil {
				t.Fatal(err)
			}
			return out
		}
	}
	t.Fatalf("there is no drawing %q", name)
	return svgFile{}
}

func TestDrawingSaysWhatItIs(t *testing.T) {
	doc := sample(threeGroups, 5)
	svg := drawingOf(t, doc, "cumulative-revision")
	f := doc.Sections[1].Figures[0]
	if svg.Title != f.Title || svg.Desc != f.Alt || svg.Role != "img" {
		t.Errorf("title %q, desc %q, role %q", svg.Title, svg.Desc, svg.Role)
	}
	if svg.Width != "170mm" {
		t.Errorf("width %q, want the text width of an A4 page", svg.Width)
	}
}

// Each number at risk is the value of its estimate and stands centred under the tick of its time, inside the drawing, in
// both widths.
func TestNumbersAtRiskStandUnderTheirTicks(t *testing.T) {
	doc := sample(threeGroups, 5)
	b := mustOpen(t, doc)
	f := &b.Sections[1].Figures[0]
	for _, width := range []float64{wideWidth, narrowWidth} {
		p, err := draw(b, f, width)
		if err != nil {
			t.Fatal(err)
		}
		ticks := map[string]float64{} // text of the tick to its x
		seen := 0
		for _, m := range p.marks {
			l, ok := m.(label)
			switch {
			case !ok || l.at != atMiddle:
			case len(l.ids) == 0:
				ticks[l.text] = l.x
			default:
				e := b.byID[l.ids[0]]
				if x, there := ticks[report.Tick(e.At.X, e.AtUnit)]; !there || x != l.x {
					t.Errorf("width %.0f: %s stands at %.1f, its tick at %.1f", width, e.ID, l.x, x)
				}
				if want := report.Format(*e, report.ShowValue); l.text != want {
					t.Errorf("%s is shown as %q, want %q", e.ID, l.text, want)
				}
				if half := mustSans(t).width(l.text, l.size, false) / 2; l.x+half > width || l.x-half < 0 {
					t.Errorf("%s is cut at the border", e.ID)
				}
				seen++
			}
		}
		if seen < 3*6 {
			t.Errorf("width %.0f: %d numbers at risk", width, seen)
		}
	}
}

func mustSans(t testing.TB) letters {
	t.Helper()
	l, err := sans()
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// A group's name, line and numbers belong together whatever the order of the curves: the sample of the line beside a
// name has the style that the curve carries.
func TestNamesAndStylesBelongTogether(t *testing.T) {
	doc := sample(hostileGroups()[:6], 5)
	f := &doc.Sections[1].Figures[0]
	slices.Reverse(f.Curves)
	b := mustOpen(t, doc)
	p, err := draw(b, &b.Sections[1].Figures[0], wideWidth)
	if err != nil {
		t.Fatal(err)
	}
	for i, m := range p.marks {
		l, ok := m.(label)
		if !ok || l.x != margin+30 {
			continue
		}
		if line, isLine := p.marks[i-1].(stroke); isLine {
			at := slices.IndexFunc(f.Curves, func(c report.Curve) bool { return plain(c.Group) == l.text })
			if at < 0 {
				continue // the name takes several lines
			}
			if want := styleOf(f.Curves[at].Style); line.colour != want.colour || !slices.Equal(line.dash, want.dash) {
				t.Errorf("%q is drawn with %v %v, its curve with %v", l.text, line.colour, line.dash, want)
			}
		}
	}
}

// The drawn line passes through the corners of the step function, read back from the path by the inverse of the axes.
func TestCurveIsTheStepFunction(t *testing.T) {
	doc := sample(threeGroups[:1], 4)
	b := mustOpen(t, doc)
	f := &b.Sections[1].Figures[0]
	c := &chart{b: b, f: f, l: mustSans(t), p: &picture{width: wideWidth}, size: 9, textRow: 12}
	c.place()
	corners, end := c.corners(&f.Curves[0])
	points := stairs(corners, end, func(k corner) float64 { return k.y })
	back := func(p point) (x, y float64) {
		return f.X.Min + (p.x-c.left)/(c.right-c.left)*(f.X.Max-f.X.Min),
			f.Y.Min + (c.bottom-p.y)/(c.bottom-c.top)*(f.Y.Max-f.Y.Min)
	}
	steps := f.Curves[0].Steps
	for i, s := range steps {
		x, y := back(points[2*i])
		if math.Abs(x-s.X) > 1e-9 || math.Abs(y-s.Y) > 1e-9 {
			t.Errorf("step %d is drawn at (%v, %v), want (%v, %v)", i, x, y, s.X, s.Y)
		}
		if x, y = back(points[2*i+1]); math.Abs(y-s.Y) > 1e-9 {
			t.Errorf("step %d does not hold its height up to %v", i, x)
		}
	}
	if x, _ := back(points[len(points)-1]); math.Abs(x-f.Curves[0].EndX) > 1e-9 {
		t.Errorf("the curve ends at %v, want %v", x, f.Curves[0].EndX)
	}
}

// Merging steps too close to see moves no part of the line by more than a fifth of a point sideways.
func TestThinningIsInvisible(t *testing.T) {
	b := mustOpen(t, sample(threeGroups[:1], 20000))
	f := &b.Sections[1].Figures[0]
	c := &chart{b: b, f: f, l: mustSans(t), p: &picture{width: wideWidth}, size: 9, textRow: 12}
	c.place()
	corners, _ := c.corners(&f.Curves[0])
	if len(corners) > int((c.right-c.left)/fine)+2 {
		t.Errorf("%d corners are drawn on %.0f points", len(corners), c.right-c.left)
	}
	k := 0
	for _, s := range f.Curves[0].Steps {
		x, y := c.atX(s.X), c.atY(s.Y)
		for k+1 < len(corners) && corners[k+1].x <= x {
			k++
		}
		if corners[k].y > y+1e-9 || k > 0 && corners[k-1].y < y-1e-9 {
			t.Fatalf("the step at %v is drawn between %v and %v, want %v", s.X, corners[k-1].y, corners[k].y, y)
		}
	}
}

// A band that is absent for a while leaves a gap, and nothing is drawn outside the axes.
func TestBandHasGapsAndStaysInside(t *testing.T) {
	doc := sample(threeGroups[:1], 6)
	f := &doc.Sections[1].Figures[0]
	f.Curves[0].Steps[2].Lower = report.Optional{}
	f.Curves[0].Steps[4].Upper = report.Some(7)
	b := mustOpen(t, doc)
	p, err := draw(b, &b.Sections[1].Figures[0], wideWidth)
	if err != nil {
		t.Fatal(err)
	}
	bands := 0
	for _, m := range p.marks {
		if a, ok := m.(area); ok {
			bands++
			for _, q := range a.points {
				if q.x < 0 || q.x > p.width || q.y < 0 || q.y > p.height {
					t.Errorf("a corner at %v lies outside", q)
				}
			}
		}
	}
	if bands != 2 {
		t.Errorf("%d pieces of band, want 2", bands)
	}
}

// Every count of the flow is in the drawing, with its estimate, and boxes do not overlap.
func TestFlowShowsEveryCount(t *testing.T) {
	for _, width := range []float64{wideWidth, narrowWidth} {
		b := mustOpen(t, sample(threeGroups, 3))
		p, err := draw(b, &b.Sections[0].Figures[0], width)
		if err != nil {
			t.Fatal(err)
		}
		shown := map[string]string{}
		floor := math.Inf(-1)
		for _, m := range p.marks {
			switch m := m.(type) {
			case label:
				for _, id := range m.ids {
					shown[id] = m.text
				}
			case area:
				if m.edge == 0 {
					continue
				}
				if m.points[0].y < floor {
					t.Errorf("a box begins at %v, the one above ends at %v", m.points[0].y, floor)
				}
				floor = m.points[2].y
			}
		}
		for _, e := range b.Estimates {
			if e.Analysis == "flow" && !strings.Contains(shown[e.ID], report.Format(e, report.ShowValue)) {
				t.Errorf("%s is shown as %q", e.ID, shown[e.ID])
			}
		}
	}
}

func TestPathKeepsItsCorners(t *testing.T) {
	got := svgPath([]point{{1, 2}, {3, 2}, {3, 4.006}, {3, 4.0061}, {5.123, 6}})
	if want := "M1 2H3V4.01L5.12 6"; got != want {
		t.Errorf("path %q, want %q", got, want)
	}
}
