package render

import (
	"math"
	"slices"

	"deltoid/pipeline/report"
)

// nameWidth is the room for one line of a curve's name.
func (c *chart) nameWidth() float64 { return c.p.width * namesRoom }

// namesWidth is the width of the widest line of the curves' names.
func (c *chart) namesWidth() float64 {
	w := 0.0
	for _, curve := range c.drawn() {
		for _, line := range c.name(curve) {
			w = max(w, c.l.width(line.text, c.size, false))
		}
	}
	return w
}

// mostLines is how many lines the name of a curve may take at its end; the numbers at risk below repeat it whole.
const mostLines = 3

// nameOf is what a curve stands for: its group, or in a stacked figure, which is of one group, its measure.
func (c *chart) nameOf(curve *report.Curve) string {
	if c.f.Stacked {
		return curve.Measure
	}
	return curve.Group
}

func (c *chart) name(curve *report.Curve) []label {
	lines := c.l.wrap(split([]piece{{Text: plain(c.nameOf(curve))}}), c.nameWidth(), c.size, false)
	if len(lines) > mostLines {
		lines = lines[:mostLines]
		last := &lines[mostLines-1]
		head, _ := c.l.cut(last.text, c.nameWidth()-c.l.width("…", c.size, false), c.size, false)
		last.text = head + "…"
	}
	return lines
}

// tag is the name of one curve and where it goes.
type tag struct {
	curve  *report.Curve
	lines  []label
	endX   float64
	endY   float64
	top    float64
	height float64
}

// nameCurves writes each curve's name beside its end, moved up or down where two would touch, and joins name and end by
// a thin line.
func (c *chart) nameCurves() {
	var tags []tag
	below := c.bottom
	for _, curve := range c.drawn() {
		corners, end := c.corners(curve)
		t := tag{curve: curve, lines: c.name(curve), endX: end, endY: corners[len(corners)-1].y}
		if c.f.Stacked { // a layer is named at its middle, not at its upper edge
			t.endY, below = (t.endY+below)/2, t.endY
		}
		t.height = float64(len(t.lines)) * (c.size + 2)
		t.top = t.endY - t.height/2
		tags = append(tags, t)
	}
	slices.SortStableFunc(tags, func(a, b tag) int { return compare(a.endY, b.endY) })
	spread(tags, c.top-8, c.bottom)
	for _, t := range tags {
		c.writeTag(t)
	}
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// spread moves tags apart, first downwards, then back up from the lower border.
func spread(tags []tag, top, bottom float64) {
	const gap = 4
	floor := top
	for i := range tags {
		tags[i].top = math.Max(tags[i].top, floor)
		floor = tags[i].top + tags[i].height + gap
	}
	ceiling := bottom
	for i := len(tags) - 1; i >= 0; i-- {
		tags[i].top = math.Min(tags[i].top, ceiling-tags[i].height)
		ceiling = tags[i].top - gap
	}
}

func (c *chart) writeTag(t tag) {
	x := c.right + 10
	middle := t.top + t.height/2
	colour := lookOf(t.curve).colour
	c.p.line(colour, 0.6, point{t.endX + 1, t.endY}, point{max(t.endX+1, c.right+1), t.endY}, point{x - 2, middle})
	for i, line := range t.lines {
		line.x = x
		line.y = t.top + float64(i)*(c.size+2) + c.size*0.86 + 0.5
		c.p.add(line)
	}
}
