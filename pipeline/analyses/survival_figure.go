package analyses

import (
	"math"
	"slices"

	"deltoid/pipeline/report"
	"deltoid/stats/competing"
	"deltoid/stats/survival"
)

// ticksTo returns round ticks from 0 to end, at most eleven.
func ticksTo(end float64) []float64 {
	step := niceStep(end / 10)
	var ticks []float64
	for i := 0; float64(i)*step <= end*(1+1e-12); i++ {
		ticks = append(ticks, float64(i)*step)
	}
	return ticks
}

// niceStep returns the smallest of 1, 2, 5 times a power of ten that is at least x.
func niceStep(x float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, f := range []float64{1, 2, 5} {
		if f*power >= x*(1-1e-12) {
			return f * power
		}
	}
	return 10 * power
}

// merged returns the values of two rising lists as one rising list.
func merged(a, b []float64) []float64 {
	all := slices.Concat(a, b)
	slices.Sort(all)
	return slices.Compact(all)
}

// figure draws a measure of every group, without the total where there are groups.
func (s *followed) figure(m measure, ticks []float64) (report.Figure, error) {
	f := report.Figure{
		ID:    s.asked.ID,
		Title: s.figureTitle(m),
		X: report.Axis{Label: sentence(string(s.asked.Unit)) + " since the index procedure", Unit: string(s.asked.Unit),
			Max: s.until(), Ticks: ticks},
	}
	highest := 0.0
	for i, g := range s.parts() {
		c, err := s.drawn(m, g)
		if err != nil {
			return f, err
		}
		c.Style = i
		f.Curves = append(f.Curves, c)
		for _, step := range c.Steps {
			highest = max(highest, step.Y, step.Upper.X)
		}
		row := report.RiskRow{Group: g.label}
		for _, t := range ticks {
			row.Estimates = append(row.Estimates, s.riskID(g, t))
		}
		f.AtRisk = append(f.AtRisk, row)
	}
	f.Y = s.yAxis(m, highest)
	f.Alt = s.figureAlt(m)
	f.Notes = []report.Text{report.Words("Shaded: " + plain(100*s.asked.Level) + "% intervals, for each time taken by itself. " +
		"A shoulder is at risk at a time when it came under observation before it and was still under observation then; " +
		"at 0, all who were under observation from the start.")}
	return f, nil
}

// yAxis shows survival on its whole scale and a cumulative measure up to a round number above its highest limit.
func (s *followed) yAxis(m measure, highest float64) report.Axis {
	top := 1.0
	if m.slug != "free" {
		top = min(1, math.Ceil(max(highest, 0.01)/niceStep(max(highest, 0.01)/5))*niceStep(max(highest, 0.01)/5))
	}
	step := niceStep(top / 6)
	a := report.Axis{Label: sentence(m.name), Unit: "probability", Max: top}
	for i := 0; float64(i)*step <= top*(1+1e-12); i++ {
		a.Ticks = append(a.Ticks, float64(i)*step)
	}
	return a
}

// figureTitle names what is drawn and the groups; the axis names the measure alone.
func (s *followed) figureTitle(m measure) string {
	title := sentence(m.name) + " of " + s.endpoint.Label
	if m.slug != "incidence" {
		title = sentence(m.name) + ", " + s.endpoint.Label
	}
	if by := s.byWords(); by != "" {
		title += ", by " + by
	}
	return title
}

// until is the end of the curves in the plan's unit: the end of follow-up where the plan names no time.
func (s *followed) until() float64 {
	if s.asked.Until > 0 {
		return s.asked.Until
	}
	return max(s.inUnit(s.total().counts.LastTime(0)), s.inUnit(1))
}

// figureAlt says in words what the figure shows.
func (s *followed) figureAlt(m measure) string {
	groups := "one curve"
	if n := len(s.parts()); n > 1 {
		groups = plain(float64(n)) + " curves, one for each group"
	}
	return s.figureTitle(m) + ", against " + string(s.asked.Unit) + " since the index procedure: " + groups +
		", with numbers at risk below the axis. The table gives the values."
}

// drawn returns the curve of a group as the figure shows it: a step for each day with an event of the endpoint (or, for
// the incidence, any day at which it changes), up to the end of the figure or the last shoulder at risk.
func (s *followed) drawn(m measure, g group) (report.Curve, error) {
	c := report.Curve{Group: g.label, Measure: m.name}
	end := min(s.until(), s.inUnit(g.counts.LastTime(0)))
	c.EndX, c.End = end, "end of the figure"
	if end < s.until() {
		c.End = "last shoulder at risk"
	}
	estimator := m.curve(g)
	start, err := s.step(m, estimator, 0)
	if err != nil {
		return c, err
	}
	c.Steps = append(c.Steps, start)
	for _, day := range eventTimes(estimator) {
		if day == 0 || s.inUnit(day) > end {
			continue
		}
		step, err := s.step(m, estimator, day)
		if err != nil {
			return c, err
		}
		c.Steps = append(c.Steps, step)
	}
	return c, nil
}

func (s *followed) step(m measure, c curve, day float64) (report.Step, error) {
	p, err := c.Interval(day, s.asked.Level, scaleOf(s.asked.Interval))
	if err != nil {
		return report.Step{}, err
	}
	step := report.Step{X: s.inUnit(day)}
	v, lower, upper := m.read(p)
	step.Y, step.Lower, step.Upper = v.X, lower, upper
	return step, nil
}

// eventTimes returns the times at which a curve steps.
func eventTimes(c curve) []float64 {
	var times, events = []float64(nil), []int64(nil)
	switch c := c.(type) {
	case *survival.Curve:
		times, events = c.Time, c.Events
	case *competing.Curve:
		times, events = c.Time, c.Events
	}
	var at []float64
	for i, d := range events {
		if d > 0 {
			at = append(at, times[i])
		}
	}
	return at
}
