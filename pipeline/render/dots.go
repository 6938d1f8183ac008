package render

import (
	"math"

	"deltoid/pipeline/report"
)

// dotChart lays out values with their intervals under one another: label, dot and interval on a common axis, and in a wide
// drawing the numbers beside them.
type dotChart struct {
	b           *book
	f           *report.Figure
	l           letters
	p           *picture
	size, row   float64
	left, right float64 // of the axis
	top, bottom float64
	axis        report.Axis
}

// dotPicture draws a figure of dots in the given width.
func dotPicture(b *book, f *report.Figure, width float64) (*picture, error) {
	l, err := sans()
	if err != nil {
		return nil, err
	}
	c := &dotChart{b: b, f: f, l: l, p: &picture{width: width}, size: 9, row: 12, top: 6}
	c.axis = c.axisOf()
	labels := c.place()
	c.grid()
	y := c.top
	for i, lines := range labels {
		height := float64(len(lines))*c.row + 4
		c.dot(&f.Dots[i], lines, y, height)
		y += height
	}
	c.p.height = math.Ceil(c.axisName() + 8)
	return c.p, nil
}

// shown returns the estimates that have a value, that of the line included.
func (c *dotChart) shown() []*report.Estimate {
	ids := []string{c.f.Line}
	for _, d := range c.f.Dots {
		ids = append(ids, d.Estimate)
	}
	var out []*report.Estimate
	for _, id := range ids {
		if e := c.b.byID[id]; e != nil && e.Value.Known {
			out = append(out, e)
		}
	}
	return out
}

// mostBeyond is how many times the highest value the axis may reach for the sake of intervals: one group with next to no
// data must not press all others into a corner.
const mostBeyond = 3

// axisOf makes an axis from 0, or from the lowest limit below it, to a round number above what is shown.
func (c *dotChart) axisOf() report.Axis {
	a := c.f.X
	if a.Log {
		return logAxis(a, c.shown())
	}
	value, limit := 0.0, 0.0
	for _, e := range c.shown() {
		value, limit = max(value, e.Value.X), max(limit, e.Value.X, e.Upper.X)
		a.Min = min(a.Min, e.Value.X, e.Lower.X)
	}
	most := limit
	if value > 0 {
		most = min(limit, mostBeyond*value)
	}
	if !(most > a.Min) {
		most = a.Min + 1
	}
	step := roundStep((most - a.Min) / 5)
	first, last := math.Floor(a.Min/step), math.Ceil(most/step)
	a.Min, a.Max, a.Ticks = first*step, last*step, nil
	for k := first; k <= last; k++ {
		a.Ticks = append(a.Ticks, k*step)
	}
	return a
}

// roundStep returns the smallest of 1, 2, 5 times a power of ten that is at least x.
func roundStep(x float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, f := range []float64{1, 2, 5} {
		if f*power >= x*(1-1e-12) {
			return f * power
		}
	}
	return 10 * power
}

// place divides the width, breaks the labels into lines, and finds the height.
func (c *dotChart) place() [][]label {
	names, numbers := 0.0, 0.0
	for _, d := range c.f.Dots {
		names = max(names, indentOf(&d)+c.l.width(plain(d.Label), c.size, d.Heading))
		numbers = max(numbers, c.l.width(c.numbers(&d), c.size, false))
	}
	names = min(names, c.p.width*0.36)
	c.left, c.right = margin+names+10, c.p.width-14
	if c.p.width >= wideWidth {
		c.right = c.p.width - margin - numbers - 12
	}
	var labels [][]label
	c.bottom = c.top
	for _, d := range c.f.Dots {
		lines := c.l.wrap(split([]piece{{Text: plain(d.Label)}}), names+1-indentOf(&d), c.size, d.Heading)
		if len(lines) == 0 {
			lines = []label{{size: c.size}}
		}
		labels = append(labels, lines)
		c.bottom += float64(len(lines))*c.row + 4
	}
	return labels
}

// indentOf is how far a label stands in from the margin.
func indentOf(d *report.Dot) float64 { return 8 * float64(d.Indent) }

func (c *dotChart) numbers(d *report.Dot) string {
	if d.Heading {
		return ""
	}
	return plain(report.Format(*c.b.byID[d.Estimate], report.ShowValueAndRange))
}

func (c *dotChart) atX(x float64) float64 {
	if c.axis.Log {
		return c.left + float64(logShare(clamp(x, c.axis.Min, c.axis.Max), c.axis)*(c.right-c.left))
	}
	return c.left + float64((clamp(x, c.axis.Min, c.axis.Max)-c.axis.Min)/(c.axis.Max-c.axis.Min)*(c.right-c.left))
}

func (c *dotChart) grid() {
	for _, x := range c.axis.Ticks {
		at := c.atX(x)
		c.p.line(faint, 0.6, point{at, c.top}, point{at, c.bottom})
		c.p.add(label{x: at, y: c.bottom + 15, text: report.Tick(x, c.axis.Unit), size: c.size, at: atMiddle, colour: quiet})
	}
	c.p.line(quiet, 0.8, point{c.left, c.bottom}, point{c.right, c.bottom})
	if e := c.b.byID[c.f.Line]; e != nil && e.Value.Known {
		at := c.atX(e.Value.X)
		c.p.add(stroke{points: []point{{at, c.top}, {at, c.bottom}}, width: 0.9, colour: quiet, dash: []float64{4, 2.5}})
	}
}

// dot draws one row.
func (c *dotChart) dot(d *report.Dot, lines []label, y, height float64) {
	for i, line := range lines {
		line.x, line.y = margin+indentOf(d), y+2+c.row/2+c.size*0.36+float64(i)*c.row
		c.p.add(line)
	}
	if d.Heading {
		return
	}
	e := c.b.byID[d.Estimate]
	middle := y + height/2
	if c.p.width >= wideWidth || !e.Value.Known {
		x := c.right + 10
		if !e.Value.Known {
			x = c.left + 4
		}
		c.p.add(label{x: x, y: middle + c.size*0.36, text: c.numbers(d), size: c.size, colour: ink, ids: []string{plain(e.ID)},
			trace: plain(report.Trace(*e))})
	}
	if !e.Value.Known {
		return
	}
	colour := groupColours[0]
	if e.Lower.Known && e.Upper.Known {
		c.interval(e, middle, colour)
	}
	if e.Value.X >= c.axis.Min && e.Value.X <= c.axis.Max {
		c.p.add(area{points: round(point{c.atX(e.Value.X), middle}, 2.6), colour: colour, opacity: 1})
	}
}

// interval draws the line from limit to limit, with an arrow where it goes on beyond the axis.
func (c *dotChart) interval(e *report.Estimate, y float64, colour colour) {
	c.p.line(colour, 1.4, point{c.atX(e.Lower.X), y}, point{c.atX(e.Upper.X), y})
	if e.Upper.X > c.axis.Max {
		tip := point{c.right + 4, y}
		c.p.add(area{points: []point{tip, {tip.x - 5, y - 3}, {tip.x - 5, y + 3}}, colour: colour, opacity: 1})
	}
	if e.Lower.X < c.axis.Min {
		tip := point{c.left - 4, y}
		c.p.add(area{points: []point{tip, {tip.x + 5, y - 3}, {tip.x + 5, y + 3}}, colour: colour, opacity: 1})
	}
}

// round returns a disc as a shape of many corners, which every painter knows.
func round(centre point, radius float64) []point {
	const corners = 16
	out := make([]point, corners)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		out[i] = point{centre.x + float64(radius*cos), centre.y + float64(radius*sin)}
	}
	return out
}

// axisName writes the name of the axis and returns the y of its last base line.
func (c *dotChart) axisName() float64 {
	y := c.bottom + 19
	for _, line := range c.l.wrap(split([]piece{{Text: plain(c.axis.Label)}}), c.p.width-2*margin, c.size, false) {
		y += c.row
		line.x, line.y, line.at = (c.left+c.right)/2, y, atMiddle
		if c.l.width(line.text, c.size, false) > c.right-c.left {
			line.x, line.at = margin, atStart
		}
		c.p.add(line)
	}
	return y
}

// dotRows are the data behind a figure of dots.
func (b *book) dotRows(f *report.Figure) []map[string]any {
	var rows []map[string]any
	add := func(kind, label, id string) {
		if e := b.byID[id]; e != nil {
			rows = append(rows, map[string]any{"row": kind, "label": label, "measure": e.Measure, "value": e.Value, "lower": e.Lower, "upper": e.Upper,
				"estimate": e.ID, "shown": report.Format(*e, report.ShowValueAndRange)})
		}
	}
	for _, d := range f.Dots {
		if d.Heading {
			rows = append(rows, map[string]any{"row": "heading", "label": d.Label})
			continue
		}
		add("dot", d.Label, d.Estimate)
	}
	add("line", "", f.Line)
	return rows
}
