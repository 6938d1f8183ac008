package render

import (
	"math"
	"slices"
	"testing"

	"deltoid/pipeline/report"
)

// ratio is an estimate of a ratio with its interval.
func ratio(value, lower, upper float64) *report.Estimate {
	return &report.Estimate{Value: report.Some(value), Lower: report.Some(lower), Upper: report.Some(upper), Unit: report.UnitRatio}
}

// Worked out by hand: the ends are the nearest of 1, 2 and 5 times powers of ten (or their reciprocals) that hold all, but no more
// than ten times beyond the outermost value; halves and doubles are always in.
func TestLogAxis(t *testing.T) {
	for _, c := range []struct {
		shown []*report.Estimate
		ticks []float64
	}{
		{nil, []float64{0.5, 1, 2}},
		{[]*report.Estimate{ratio(1.1, 0.9, 1.3)}, []float64{0.5, 1, 2}},
		{[]*report.Estimate{ratio(0.3, 0.25, 0.4), ratio(3, 2, 4)}, []float64{0.2, 0.5, 1, 2, 5}},
		{[]*report.Estimate{ratio(4, 0.001, 1e9)}, []float64{0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50}},
	} {
		a := logAxis(report.Axis{Log: true}, c.shown)
		if !slices.Equal(a.Ticks, c.ticks) || a.Min != c.ticks[0] || a.Max != c.ticks[len(c.ticks)-1] {
			t.Errorf("the axis is %+v, want the ticks %v", a, c.ticks)
		}
	}
}

// Equal ratios are equal distances, and headings have neither dot nor number.
func TestRatiosStandWhereTheyAre(t *testing.T) {
	doc := dotSample()
	f := &doc.Sections[0].Figures[0]
	f.X.Log = true
	f.Dots = append([]report.Dot{{Label: "Hospitals", Heading: true}}, f.Dots...)
	b := mustOpen(t, doc)
	l, err := sans()
	if err != nil {
		t.Fatal(err)
	}
	c := &dotChart{b: b, f: f, l: l, p: &picture{width: wideWidth}, size: 9, row: 12, top: 6}
	c.axis = c.axisOf()
	c.place()
	if up, down := c.atX(2)-c.atX(1), c.atX(1)-c.atX(0.5); math.Abs(up-down) > 1e-9 || up <= 0 {
		t.Errorf("from 1 to 2 are %v points, from 0.5 to 1 %v", up, down)
	}
	p, err := dotPicture(b, f, wideWidth)
	if err != nil {
		t.Fatal(err)
	}
	bold := 0
	for _, m := range p.marks {
		if x, ok := m.(label); ok && x.text == "Hospitals" {
			bold++
			if len(x.ids) > 0 {
				t.Error("a heading claims an estimate")
			}
		}
	}
	if bold != 1 {
		t.Errorf("the heading is drawn %d times", bold)
	}
	if rows := b.dotRows(f); rows[0]["row"] != "heading" || rows[0]["label"] != "Hospitals" {
		t.Errorf("the first row of the data is %v", rows[0])
	}
}
