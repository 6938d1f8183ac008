package render

import (
	"math"
	"slices"

	"deltoid/pipeline/report"
)

// chart lays out a figure of step curves: the axes, the curves with their bands, and the numbers at risk below. Curves
// and numbers at risk go through the same function [chart.atX], so a number stands under its tick.
type chart struct {
	b       *book
	f       *report.Figure
	l       letters
	p       *picture
	size    float64 // of type
	left    float64
	right   float64
	top     float64
	bottom  float64
	ticks   []int // which of the ticks are shown
	named   bool  // curves carry their names at their ends
	textRow float64
}

// curvePicture draws a figure of step curves in the given width.
func curvePicture(b *book, f *report.Figure, width float64) (*picture, error) {
	l, err := sans()
	if err != nil {
		return nil, err
	}
	c := &chart{b: b, f: f, l: l, p: &picture{width: width}, size: 9, textRow: 12}
	c.place()
	c.grid()
	if f.Stacked {
		c.layers()
	}
	for i := range f.Curves {
		c.band(&f.Curves[i])
	}
	for i := range f.Curves {
		c.curve(&f.Curves[i])
	}
	c.marks()
	if c.named {
		c.nameCurves()
	}
	y := c.axisName()
	if !c.named && (f.Stacked || len(f.AtRisk) == 0) {
		y = c.legend(y + 8)
	}
	if len(f.AtRisk) > 0 {
		y = c.riskRows(y + 8)
	}
	c.p.height = math.Ceil(y + 8)
	return c.p, nil
}

// margin keeps letters off the border of a drawing that stands alone.
const margin = 3.0

// wrapped breaks a label into lines as wide as the drawing.
func (c *chart) wrapped(text string, size float64) []label {
	return c.l.wrap(split([]piece{{Text: plain(text)}}), c.p.width-2*margin, size, false)
}

// axisName writes the name of the x axis and returns the y of its last base line.
func (c *chart) axisName() float64 {
	y := c.bottom + 19
	for _, line := range c.wrapped(c.f.X.Label, c.size) {
		y += c.textRow
		line.x, line.y, line.at = (c.left+c.right)/2, y, atMiddle
		if c.l.width(line.text, c.size, false) > c.right-c.left {
			line.x, line.at = margin, atStart
		}
		c.p.add(line)
	}
	return y
}

// namesRoom is the part of a wide drawing's width that names at the ends of curves may take.
const namesRoom = 0.24

// mostNamed is how many curves can carry their names without a crowd.
const mostNamed = 6

func (c *chart) place() {
	widest := 0.0
	for _, y := range c.f.Y.Ticks {
		widest = max(widest, c.l.width(report.Tick(y, c.f.Y.Unit), c.size, false))
	}
	c.left = margin + widest + 8
	edge := c.edgeWidth()
	c.right = c.p.width - edge
	c.named = c.p.width >= wideWidth && len(c.drawn()) > 0 && len(c.drawn()) <= mostNamed
	if c.named {
		c.right = min(c.right, c.p.width-c.namesWidth()-14)
	}
	c.top = 14 + c.textRow*float64(max(len(c.wrapped(c.f.Y.Label, c.size)), 1))
	c.bottom = c.top + math.Round((c.right-c.left)*0.62)
	if c.p.width < wideWidth {
		c.bottom = c.top + math.Round((c.right-c.left)*0.8)
	}
	c.chooseTicks()
}

// edgeWidth leaves room for half of what stands under the last tick.
func (c *chart) edgeWidth() float64 {
	w := 8.0
	for _, i := range allTicks(c.f) {
		w = max(w, c.columnWidth(i)/2+margin)
	}
	return w
}

// columnWidth is the width of the widest text at a tick: its own, or a number at risk.
func (c *chart) columnWidth(tick int) float64 {
	w := c.l.width(report.Tick(c.f.X.Ticks[tick], c.f.X.Unit), c.size, false)
	for _, row := range c.f.AtRisk {
		text, _ := c.riskText(row.Estimates[tick])
		w = max(w, c.l.width(text, c.size, false))
	}
	return w
}

func allTicks(f *report.Figure) []int {
	out := make([]int, len(f.X.Ticks))
	for i := range out {
		out[i] = i
	}
	return out
}

// chooseTicks shows every tick, or every second, third … where the numbers below would touch.
func (c *chart) chooseTicks() {
	all := allTicks(c.f)
	for every := 1; every <= len(all); every++ {
		c.ticks = c.ticks[:0]
		for i := 0; i < len(all); i += every {
			c.ticks = append(c.ticks, i)
		}
		if c.roomy() {
			return
		}
	}
}

func (c *chart) roomy() bool {
	for i := 1; i < len(c.ticks); i++ {
		a, b := c.ticks[i-1], c.ticks[i]
		gap := c.atX(c.f.X.Ticks[b]) - c.atX(c.f.X.Ticks[a])
		if gap < (c.columnWidth(a)+c.columnWidth(b))/2+5 {
			return false
		}
	}
	return true
}

// drawn returns the curves that have something to draw. The curve of a masked group has not.
func (c *chart) drawn() []*report.Curve {
	var out []*report.Curve
	for i := range c.f.Curves {
		if len(c.f.Curves[i].Steps) > 0 {
			out = append(out, &c.f.Curves[i])
		}
	}
	return out
}

func (c *chart) atX(x float64) float64 {
	share := (clamp(x, c.f.X.Min, c.f.X.Max) - c.f.X.Min) / (c.f.X.Max - c.f.X.Min)
	return c.left + float64(share*(c.right-c.left))
}

func (c *chart) atY(y float64) float64 {
	share := (clamp(y, c.f.Y.Min, c.f.Y.Max) - c.f.Y.Min) / (c.f.Y.Max - c.f.Y.Min)
	return c.bottom - float64(share*(c.bottom-c.top))
}

func clamp(x, low, high float64) float64 { return math.Max(low, math.Min(high, x)) }

func (c *chart) grid() {
	for i, line := range c.wrapped(c.f.Y.Label, c.size) {
		line.x, line.y = margin, 11+float64(i)*c.textRow
		c.p.add(line)
	}
	for _, y := range c.f.Y.Ticks {
		at := c.atY(y)
		c.p.line(faint, 0.6, point{c.left, at}, point{c.right, at})
		c.p.add(label{x: c.left - 5, y: at + c.size*0.36, text: report.Tick(y, c.f.Y.Unit), size: c.size, at: atEnd,
			colour: quiet})
	}
	c.p.line(quiet, 0.8, point{c.left, c.bottom}, point{c.right, c.bottom})
	for _, i := range c.ticks {
		at := c.atX(c.f.X.Ticks[i])
		c.p.line(quiet, 0.8, point{at, c.bottom}, point{at, c.bottom + 4})
		c.p.add(label{x: at, y: c.bottom + 15, text: report.Tick(c.f.X.Ticks[i], c.f.X.Unit), size: c.size, at: atMiddle,
			colour: quiet})
	}
}

// corner is a step of a curve in points on the drawing; the band is absent where banded is false.
type corner struct {
	x, y, lower, upper float64
	banded             bool
}

// fine is the distance along the axis within which only the last of several steps is drawn. At a fifth of a point no eye
// can tell, and a curve of a million shoulders stays a small file.
const fine = 0.2

// corners returns the steps of a curve on the drawing, and the x at which the curve ends.
func (c *chart) corners(curve *report.Curve) ([]corner, float64) {
	var out []corner
	for _, s := range curve.Steps {
		k := corner{x: c.atX(s.X), y: c.atY(s.Y)}
		if s.Lower.Known && s.Upper.Known {
			k.lower, k.upper, k.banded = c.atY(s.Lower.X), c.atY(s.Upper.X), true
		}
		if n := len(out); n > 1 && k.x-out[n-1].x < fine && k.banded == out[n-1].banded {
			k.x = out[n-1].x
			out[n-1] = k
			continue
		}
		out = append(out, k)
	}
	end := c.atX(curve.EndX)
	if n := len(out); n > 0 {
		end = max(end, out[n-1].x)
	}
	return out, end
}

func (c *chart) band(curve *report.Curve) {
	corners, end := c.corners(curve)
	colour := lookOf(curve).colour
	opacity := 0.15
	if len(c.drawn()) > mostNamed {
		opacity = 0.06 // so that many bands do not add up to a fog
	}
	for from := 0; from < len(corners); {
		if !corners[from].banded {
			from++
			continue
		}
		to := from
		for to < len(corners) && corners[to].banded {
			to++
		}
		stop := end
		if to < len(corners) {
			stop = corners[to].x
		}
		c.p.add(area{points: ribbon(curve, corners[from:to], stop), colour: colour, opacity: opacity})
		from = to
	}
}

// ribbon runs along the upper limits to the end and back along the lower ones.
func ribbon(curve *report.Curve, corners []corner, end float64) []point {
	over := course(curve, corners, end, func(k corner) float64 { return k.upper })
	under := course(curve, corners, end, func(k corner) float64 { return k.lower })
	slices.Reverse(under)
	return append(over, under...)
}

// stairs holds each height until the next corner.
func stairs(corners []corner, end float64, height func(corner) float64) []point {
	out := make([]point, 0, 2*len(corners)+1)
	for i, k := range corners {
		if i > 0 {
			out = append(out, point{k.x, height(corners[i-1])})
		}
		out = append(out, point{k.x, height(k)})
	}
	if n := len(corners); n > 0 {
		out = append(out, point{end, height(corners[n-1])})
	}
	return out
}

func (c *chart) curve(curve *report.Curve) {
	corners, end := c.corners(curve)
	if len(corners) == 0 {
		return
	}
	s := lookOf(curve)
	seen, beyond := c.parts(curve, course(curve, corners, end, func(k corner) float64 { return k.y }))
	width := 1.7
	if curve.Guide {
		width = 0.9
	}
	c.p.add(stroke{points: seen, width: width, colour: s.colour, dash: s.dash})
	if len(beyond) > 0 {
		c.p.add(stroke{points: beyond, width: 1.1, colour: s.colour, dash: beyondDash})
	}
}
