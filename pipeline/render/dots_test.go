package render

import (
	"math"
	"strings"
	"testing"

	"deltoid/pipeline/report"
)

// Worked out by hand: 0.9 stands at 0.9/5 of the axis, since three times the highest value, 4.5, is below the longest
// interval, and steps of 1 then end at 5.
func TestDotsStandWhereTheirValuesAre(t *testing.T) {
	doc := dotSample()
	b := mustOpen(t, doc)
	f := &doc.Sections[0].Figures[0]
	for _, width := range []float64{wideWidth, narrowWidth} {
		l, err := sans()
		if err != nil {
			t.Fatal(err)
		}
		c := &dotChart{b: b, f: f, l: l, p: &picture{width: width}, size: 9, row: 12, top: 6}
		if c.axis = c.axisOf(); c.axis.Min != 0 || c.axis.Max != 5 || len(c.axis.Ticks) != 6 {
			t.Fatalf("the axis is %+v", c.axis)
		}
		c.place()
		if got, want := c.atX(0.9), c.left+(c.right-c.left)*0.9/5; math.Abs(got-want) > 1e-9 {
			t.Errorf("0.9 stands at %v, want %v", got, want)
		}
		if c.right-c.left < 0.25*width {
			t.Errorf("in %v points the axis has %v", width, c.right-c.left)
		}
		p, err := dotPicture(b, f, width)
		if err != nil {
			t.Fatal(err)
		}
		discs := 0
		for _, m := range p.marks {
			if a, ok := m.(area); ok && len(a.points) == 16 {
				discs++
			}
		}
		if want := len(f.Dots) - 1; discs != want {
			t.Errorf("%d dots are drawn, want %d: all but the masked one", discs, want)
		}
	}
}

func TestMaskedDotSaysSo(t *testing.T) {
	doc := dotSample()
	p, err := dotPicture(mustOpen(t, doc), &doc.Sections[0].Figures[0], narrowWidth)
	if err != nil {
		t.Fatal(err)
	}
	svg := svgPaint(p, caption{title: "Rates"}, "rates", true)
	if strings.Count(svg, "[masked]") != 1 {
		t.Errorf("the masked dot is marked %d times", strings.Count(svg, "[masked]"))
	}
}

func TestFigureOfUnknownDotsIsRefused(t *testing.T) {
	for _, change := range []func(*report.Figure){
		func(f *report.Figure) { f.Dots[0].Estimate = "" },
		func(f *report.Figure) { f.Dots[0].Estimate = "gone" },
		func(f *report.Figure) { f.Line = "gone" },
	} {
		doc := dotSample()
		change(&doc.Sections[0].Figures[0])
		if _, err := open(doc); err == nil || !strings.Contains(err.Error(), "there is no estimate") {
			t.Errorf("error is %v", err)
		}
	}
}
