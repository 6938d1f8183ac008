package analyses

import (
	"fmt"
	"math"
	"slices"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/survival"
)

// projectionFigure draws the curves and what was seen as dots over them, dotted beyond the follow-up of their group.
func (s *projected) projectionFigure(p *plan.Plan) (report.Figure, bool, error) {
	until := s.until()
	f := report.Figure{ID: s.asked.ID, Title: "1 − survival, " + s.endpoint.Label + s.projectionBy() + ": seen and projected",
		X: report.Axis{Label: sentence(string(s.asked.Unit)) + " since the index procedure", Unit: string(s.asked.Unit), Max: until, Ticks: ticksTo(until)}}
	highest := 0.0
	for i, g := range s.parts() {
		if s.fits[i].why != "" {
			continue
		}
		c, err := s.projectedCurve(g, s.fits[i], until)
		if err != nil {
			return f, false, err
		}
		c.Style = i
		f.Curves = append(f.Curves, c)
		for _, step := range c.Steps {
			highest = max(highest, step.Y, step.Upper.X)
		}
		for _, t := range s.seenTimes(g, p, until) {
			at, seen, err := s.seenMark(g, t)
			if err != nil {
				return f, false, err
			}
			f.Marks = append(f.Marks, report.Mark{At: at, Estimate: seen, Style: i})
			highest = max(highest, s.get(seen).Upper.X)
		}
	}
	f.Y = s.yAxis(measure{slug: "net", name: "1 − survival"}, highest)
	f.Alt = f.Title + ", against " + string(s.asked.Unit) + " since the index procedure: a curve for each group, dotted where it is extrapolated, with dots for what was seen."
	f.Notes = []report.Text{report.Words("Lines are what the model says, with " + plain(100*s.asked.Level) + "% intervals; dotted they go beyond the follow-up of their group, where nothing was seen. " +
		"Dots are the product-limit estimate with its interval.")}
	return f, len(f.Curves) > 0, nil
}

// marksSeen is at how many times what was seen is marked.
const marksSeen = 8

// seenTimes are even times up to which enough were at risk.
func (s *projected) seenTimes(g group, p *plan.Plan, until float64) (out []float64) {
	least := int64(max(fewAtRisk, p.Disclosure.MaskBelow))
	step := niceStep(min(until, s.inUnit(g.counts.LastTime(0))) / marksSeen)
	for k := 1; float64(k)*step <= until; k++ {
		t := math.Round(float64(k)*step*1e9) / 1e9
		if g.counts.AtRisk(0, s.days(t)) < least {
			break
		}
		out = append(out, t)
	}
	return out
}

// seenMark records what was seen at a time, and the time itself.
func (s *projected) seenMark(g group, t float64) (at, seen string, err error) {
	at = s.id("mark", s.timeMark(t))
	if _, there := s.seen[at]; !there {
		e := report.Estimate{ID: at, Analysis: s.asked.ID, Measure: "time of a mark in the figure", Value: report.Some(t), Unit: string(s.asked.Unit), Method: "chosen evenly", Status: report.Estimated}
		s.add(e)
	}
	net := measure{slug: "net", name: "1 − survival", method: "1 − product-limit, " + s.limitVariance(), curve: func(g group) curve { return g.limit }, flip: true}
	if slices.Contains(s.asked.Times, t) {
		return at, s.pointID(net, g, t), nil
	}
	e, err := s.estimate(net, g, t)
	if err != nil {
		return "", "", err
	}
	return at, s.add(e), nil
}

// projectedCurve draws the curve of a group through even times, and through the last day that was seen.
func (s *projected) projectedCurve(g group, p parametric, until float64) (report.Curve, error) {
	last := s.inUnit(p.last)
	c := report.Curve{Group: g.label, Measure: "projected 1 − survival", Sloping: true, EndX: until, End: "end of the figure", Steps: []report.Step{{}}}
	times := []float64{}
	for i := 1; i <= gridPoints; i++ {
		times = append(times, until*float64(i)/gridPoints)
	}
	if last < until {
		c.Beyond = report.Some(last)
	}
	for _, t := range times {
		x, err := s.at(p, t)
		if err != nil {
			return c, fmt.Errorf("%s: %w", s.asked.Place, err)
		}
		step := report.Step{X: t, Y: 1 - x.Value}
		if x.Limits == survival.Estimated {
			step.Lower, step.Upper = report.Some(1-x.Upper), report.Some(1-x.Lower)
		}
		c.Steps = append(c.Steps, step)
	}
	for _, t := range s.asked.Times {
		c.Estimates = append(c.Estimates, s.projectedID(g, t))
	}
	return c, nil
}
