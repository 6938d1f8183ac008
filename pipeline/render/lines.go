package render

import "deltoid/pipeline/report"

// beyondDash marks what a model says beyond what was seen.
var beyondDash = []float64{1.2, 2.6}

// lookOf is the style of a curve; a guide is nobody's and has no colour of a group.
func lookOf(curve *report.Curve) style {
	if curve.Guide {
		return style{quiet, []float64{4, 2.5}}
	}
	return styleOf(curve.Style)
}

// course is the line of a curve: stairs, or straight from point to point.
func course(curve *report.Curve, corners []corner, end float64, height func(corner) float64) []point {
	if !curve.Sloping {
		return stairs(corners, end, height)
	}
	out := make([]point, len(corners))
	for i, k := range corners {
		out[i] = point{k.x, height(k)}
	}
	return out
}

// parts divides the line of a curve into what was seen and what lies beyond, which shares the point where they meet.
func (c *chart) parts(curve *report.Curve, line []point) (seen, beyond []point) {
	if !curve.Beyond.Known {
		return line, nil
	}
	at := c.atX(curve.Beyond.X)
	for i, p := range line {
		if p.x > at {
			from := point{at, p.y}
			if i > 0 {
				from.y = line[i-1].y
			}
			if i > 0 && curve.Sloping {
				before := line[i-1]
				from.y += float64((p.y - before.y) * (at - before.x) / (p.x - before.x))
			}
			return append(line[:i:i], from), append([]point{from}, line[i:]...)
		}
	}
	return line, nil
}

// marks draws the values that stand over the curves, with their intervals.
func (c *chart) marks() {
	for _, m := range c.f.Marks {
		at, e := c.b.byID[m.At], c.b.byID[m.Estimate]
		if !at.Value.Known || !e.Value.Known {
			continue
		}
		x, colour := c.atX(at.Value.X), styleOf(m.Style).colour
		if e.Lower.Known && e.Upper.Known {
			c.p.line(colour, 1.2, point{x, c.atY(e.Lower.X)}, point{x, c.atY(e.Upper.X)})
		}
		c.p.add(area{points: round(point{x, c.atY(e.Value.X)}, 2.6), colour: colour, opacity: 1})
	}
}

// markRows are the data behind the marks of a figure.
func (b *book) markRows(f *report.Figure) []map[string]any {
	var rows []map[string]any
	for _, m := range f.Marks {
		at, e := b.byID[m.At], b.byID[m.Estimate]
		rows = append(rows, map[string]any{"row": "mark", "label": e.Group, "measure": e.Measure, "x": at.Value, "value": e.Value, "lower": e.Lower, "upper": e.Upper,
			"estimate": e.ID, "shown": report.Format(*e, report.ShowValueAndRange)})
	}
	return rows
}
