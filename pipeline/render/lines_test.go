package render

import (
	"math"
	"strings"
	"testing"

	"deltoid/pipeline/report"
)

// A line that goes on beyond what was seen is cut where that begins, between its points too, and the two parts meet there.
func TestLineBeyondFollowUp(t *testing.T) {
	f := &report.Figure{X: report.Axis{Max: 10}, Y: report.Axis{Max: 1}}
	c := &chart{f: f, left: 0, right: 100, top: 0, bottom: 100}
	curve := &report.Curve{Sloping: true, EndX: 10, Beyond: report.Some(5),
		Steps: []report.Step{{X: 0, Y: 1}, {X: 4, Y: 0.6}, {X: 8, Y: 0.2}, {X: 10, Y: 0.1}}}
	corners, end := c.corners(curve)
	seen, beyond := c.parts(curve, course(curve, corners, end, func(k corner) float64 { return k.y }))
	if len(seen) != 3 || len(beyond) != 3 || seen[2] != beyond[0] {
		t.Fatalf("seen %v, beyond %v", seen, beyond)
	}
	if p := seen[2]; math.Abs(p.x-50) > 1e-9 || math.Abs(p.y-50) > 1e-9 {
		t.Errorf("the parts meet at %v, want (50, 50)", p)
	}
	curve.Sloping = false
	corners, end = c.corners(curve)
	seen, beyond = c.parts(curve, course(curve, corners, end, func(k corner) float64 { return k.y }))
	if last := seen[len(seen)-1]; last != beyond[0] || math.Abs(last.y-40) > 1e-9 {
		t.Errorf("stairs meet at %v and %v, want (50, 40)", last, beyond[0])
	}
}

// A mark stands where its value and its place say, and the data behind the figure have it.
func TestMarksOverALine(t *testing.T) {
	doc := report.Document{Study: "s", Title: "t", Estimates: []report.Estimate{
		{ID: "p", Unit: report.UnitProbability, Status: report.Estimated, Value: report.Some(0.25), Measure: "predicted"},
		{ID: "o", Unit: report.UnitProbability, Status: report.Estimated, Value: report.Some(0.5), Lower: report.Some(0.4), Upper: report.Some(0.6), Measure: "observed"}}}
	f := report.Figure{ID: "calibration", Title: "Calibration", X: report.Axis{Label: "Predicted", Unit: report.UnitProbability, Max: 1, Ticks: []float64{0, 0.5, 1}},
		Y:      report.Axis{Label: "Observed", Unit: report.UnitProbability, Max: 1, Ticks: []float64{0, 0.5, 1}},
		Curves: []report.Curve{{Group: "As predicted", Guide: true, Sloping: true, EndX: 1, Steps: []report.Step{{}, {X: 1, Y: 1}}}},
		Marks:  []report.Mark{{At: "p", Estimate: "o"}}}
	doc.Sections = []report.Section{{ID: "s", Heading: "h", Figures: []report.Figure{f}}}
	b := &book{Document: doc, byID: map[string]*report.Estimate{"p": &doc.Estimates[0], "o": &doc.Estimates[1]}}
	rows := b.markRows(&f)
	if len(rows) != 1 || rows[0]["x"] != report.Some(0.25) || rows[0]["value"] != report.Some(0.5) {
		t.Errorf("%v", rows)
	}
	p, err := draw(b, &f, wideWidth)
	if err != nil {
		t.Fatal(err)
	}
	svg := svgPaint(p, captionOf(&f), f.ID, true)
	if !strings.Contains(svg, quiet.hex()) || !strings.Contains(svg, groupColours[0].hex()) {
		t.Error("the guide or the mark is not drawn")
	}
}
