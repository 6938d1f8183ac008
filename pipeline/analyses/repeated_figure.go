package analyses

import (
	"math"

	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// pictures draws the adjusted means over the visits.
func (s *repeated) pictures() []report.Figure {
	if s.model == nil || len(s.columns) > mostCourses {
		return nil
	}
	f := report.Figure{ID: s.asked.ID + "-course", Title: "Adjusted mean score at each visit", X: report.Axis{Label: "Months since the operation", Unit: "months"},
		Y: report.Axis{Label: sentence(s.instrument.Title) + ", " + s.points(), Unit: s.scoreUnit()}}
	if len(s.columns) > 1 {
		f.Title += ", by " + s.byWords()
	}
	per, _ := schemas.DaysPer(schemas.Months)
	for _, c := range s.each {
		f.X.Ticks = append(f.X.Ticks, math.Round(float64(s.visits.Windows[c.k].Target)/per))
	}
	f.X.Min, f.X.Max = f.X.Ticks[0], f.X.Ticks[len(f.X.Ticks)-1]
	if f.X.Max <= f.X.Min {
		return nil
	}
	low, high := s.instrument.Minimum, s.instrument.Maximum
	step := niceStep((high - low) / 8)
	for y := math.Ceil(low/step) * step; y <= high*(1+1e-12); y += step {
		f.Y.Ticks = append(f.Y.Ticks, y)
	}
	f.Y.Min, f.Y.Max = low, high
	for at, column := range s.columns {
		if c, ok := s.line(column, at, f.X.Ticks); ok {
			f.Curves = append(f.Curves, c)
		}
	}
	if len(f.Curves) == 0 {
		return nil
	}
	f.Alt = f.Title + ", with intervals: " + s.instrument.Spoken + " against months since the operation. The table of adjusted means gives the values."
	f.Notes = []report.Text{report.Words(sentence(s.meansWords()) + ", with " + plain(100*s.asked.Level) + "% intervals of each mean by itself. Whether two groups differ is in the table of differences, not in whether their intervals touch.")}
	return []report.Figure{f}
}

// line joins the means of one group.
func (s *repeated) line(column, style int, months []float64) (report.Curve, bool) {
	c := report.Curve{Group: s.labels[column], Measure: "adjusted mean score", Sloping: true, Style: style, End: "last visit"}
	for v, one := range s.each {
		e := s.get(one.mean[column])
		if !e.Value.Known || s.small(int(s.get(one.scores[column]).Value.X)) {
			continue // a mean of few would be masked, and take the line with it
		}
		c.Estimates = append(c.Estimates, e.ID)
		c.Steps, c.EndX = append(c.Steps, report.Step{X: months[v], Y: e.Value.X, Lower: e.Lower, Upper: e.Upper}), months[v]
	}
	return c, len(c.Steps) > 0
}
