package disclose

import (
	"fmt"
	"slices"

	"deltoid/pipeline/report"
)

// checkFigures sees that each curve above numbers at risk has its row of them.
func checkFigures(doc report.Document) error {
	for _, s := range doc.Sections {
		for _, f := range s.Figures {
			n := len(f.AtRisk)
			if f.Stacked && n != 1 {
				return fmt.Errorf("disclose: the stacked figure %q has %d rows of numbers at risk, want one", f.ID, n)
			}
			if !f.Stacked && n > 0 && n != len(f.Curves) {
				return fmt.Errorf("disclose: the figure %q has %d curves but %d rows of numbers at risk", f.ID, len(f.Curves), n)
			}
		}
	}
	return nil
}

// clearSection clears the figures of a section. A figure without a curve left goes, and its notes move to the section.
func (b *board) clearSection(s report.Section) report.Section {
	kept := s.Figures[:0:0]
	for _, f := range s.Figures {
		f, touched := b.clearFigure(f)
		if touched && len(f.Curves) == 0 {
			s.Notes = append(slices.Clone(s.Notes), f.Notes...)
			continue
		}
		kept = append(kept, f)
	}
	s.Figures = kept
	return s
}

// clearFigure shortens each curve to its longest stretch that shows no more than the estimates do. A curve that loses
// more than its tail beyond the numbers at risk leaves a note; the words for those who cannot see the picture are then
// replaced, since they may tell what it no longer shows.
func (b *board) clearFigure(f report.Figure) (cleared report.Figure, touched bool) {
	if len(f.AtRisk) == 0 {
		return b.clearLines(f)
	}
	if f.Stacked {
		return b.clearStack(f)
	}
	curves, rows, notes := []report.Curve(nil), []report.RiskRow(nil), slices.Clone(f.Notes)
	for i, c := range f.Curves {
		short, note := b.clearCurve(c, f.AtRisk[i])
		if note != "" {
			touched = true
			notes = append(notes, report.Words(note))
		}
		if len(short.Steps) > 0 || note == "" {
			curves, rows = append(curves, short), append(rows, f.AtRisk[i])
		}
	}
	f.Curves, f.AtRisk = curves, rows
	if touched {
		f.Notes = notes
		f.Alt = f.Title + ". Parts of the picture are not shown because they rest on small counts; the notes below it say which."
	}
	return f, touched
}

// clearLines takes out the curves without numbers at risk of which an estimate is masked, and the marks whose value is. A
// figure of guides alone shows nothing and goes.
func (b *board) clearLines(f report.Figure) (cleared report.Figure, touched bool) {
	curves, marks, kept := []report.Curve(nil), []report.Mark(nil), 0
	for _, c := range f.Curves {
		if slices.ContainsFunc(c.Estimates, b.isMasked) {
			touched = true
			continue
		}
		if curves = append(curves, c); !c.Guide {
			kept++
		}
	}
	for _, m := range f.Marks {
		if b.isMasked(m.At) || b.isMasked(m.Estimate) {
			touched = true
			continue
		}
		marks = append(marks, m)
	}
	if !touched {
		return f, false
	}
	if kept+len(marks) == 0 {
		curves = nil
	}
	f.Curves, f.Marks = curves, marks
	f.Notes = append(slices.Clone(f.Notes), report.Words("Parts of the figure “"+f.Title+"” are not drawn: they would show a masked number."))
	f.Alt = f.Title + ". Parts of the picture are not shown because they rest on small counts."
	return f, true
}

// clearStack keeps the lowest layers as long as nothing that they show is masked, and the whole on top of them: what lies
// between is then the sum of the layers taken out. The whole is cleared as any curve, and the layers end where it does.
func (b *board) clearStack(f report.Figure) (cleared report.Figure, touched bool) {
	top := len(f.Curves) - 1
	if top < 0 {
		return f, false
	}
	whole, note := b.clearCurve(f.Curves[top], f.AtRisk[0])
	if note != "" {
		f.Curves, f.AtRisk = nil, nil
		f.Notes = append(slices.Clone(f.Notes), report.Words("The figure "+f.Title+" is not drawn: it would show a masked number."))
		return f, true
	}
	kept := 0
	for kept < top && !slices.ContainsFunc(f.Curves[kept].Estimates, b.isMasked) {
		kept++
	}
	var curves []report.Curve
	for _, c := range f.Curves[:kept] {
		c.EndX, c.End = whole.EndX, whole.End
		c.Steps = cut(c.Steps, window{start(c), whole.EndX})
		curves = append(curves, c)
	}
	if kept < top || slices.ContainsFunc(f.Curves[top].Estimates, b.isMasked) {
		whole.Measure = otherLayers
		touched = true
	}
	f.Curves = append(curves, whole)
	return f, touched
}

// otherLayers names what lies between the layers that are shown and the whole.
const otherLayers = "all others together"

// clearCurve returns what of a curve may be shown and a note when masked numbers take some of it; no steps if nothing is
// left.
func (b *board) clearCurve(c report.Curve, row report.RiskRow) (report.Curve, string) {
	if start(c) >= c.EndX {
		return c, ""
	}
	limits := b.limitsOf(c, row)
	w, ok := limits.longest(c, b.below)
	if !ok {
		c.Steps = nil
		return c, fmt.Sprintf("The curve of %s is not drawn: it would show a masked number.", groupWords(c.Group))
	}
	note := ""
	if w.from > start(c) || w.to < limits.last {
		note = fmt.Sprintf("The curve of %s is drawn only as far as it shows no masked number.", groupWords(c.Group))
	}
	if w.to < c.EndX {
		c.EndX, c.End = w.to, fmt.Sprintf("fewer than %d may be at risk beyond this point, or a number there is masked", b.below)
	}
	c.Steps = cut(c.Steps, w)
	return c, note
}

func start(c report.Curve) float64 {
	if len(c.Steps) == 0 {
		return c.EndX
	}
	return c.Steps[0].X
}

// cut keeps the steps within a window; the one in force at its start moves there.
func cut(steps []report.Step, w window) []report.Step {
	var kept []report.Step
	for _, s := range steps {
		switch {
		case s.X > w.to:
		case s.X <= w.from:
			s.X = w.from
			kept = []report.Step{s}
		default:
			kept = append(kept, s)
		}
	}
	return kept
}

// limits is what bounds a curve: the times at which its group's estimates are masked and shown, and the last time up to
// which enough are at risk.
type limits struct {
	hidden []hiddenTime // ascending
	shown  []float64    // ascending
	last   float64
}

// hiddenTime is a time at which an estimate is masked. Few says that its events are a small count, not a neighbour of
// one.
type hiddenTime struct {
	at  float64
	few bool
}

// window is a stretch of the time axis.
type window struct{ from, to float64 }

// longest returns the longest window without a hidden time, the earliest of equals.
//
// Between two hidden times a window runs from one shown time to another, since the estimates there tell as much. After
// a time at which few had their event it may also start where the curve has risen below times: each rise is one event
// at least.
func (l limits) longest(c report.Curve, below int) (best window, ok bool) {
	from := start(c)
	consider := func(w window) {
		if w.from < w.to && (!ok || w.to-w.from > best.to-best.from) {
			best, ok = w, true
		}
	}
	for _, h := range l.hidden {
		if to, any := lastBefore(l.shown, h.at); any {
			consider(window{from, min(to, l.last)})
		}
		next, any := firstAfter(l.shown, h.at)
		if h.few {
			if x, rises := riseAt(c, below); rises && x > h.at && (!any || x < next) {
				next, any = x, true
			}
		}
		if !any {
			return best, ok
		}
		from = next
	}
	consider(window{from, l.last})
	return best, ok
}

func lastBefore(ascending []float64, x float64) (float64, bool) {
	i, _ := slices.BinarySearch(ascending, x)
	if i == 0 {
		return 0, false
	}
	return ascending[i-1], true
}

func firstAfter(ascending []float64, x float64) (float64, bool) {
	for _, a := range ascending {
		if a > x {
			return a, true
		}
	}
	return 0, false
}

// riseAt returns where a curve leaves its level for the nth time. A first step at 0 or 1 is the start, not a rise.
func riseAt(c report.Curve, n int) (x float64, ok bool) {
	rises := 0
	for i, s := range c.Steps {
		if i > 0 && s.Y != c.Steps[i-1].Y || i == 0 && s.Y != 0 && s.Y != 1 {
			rises++
		}
		if rises == n {
			return s.X, true
		}
	}
	return 0, false
}
