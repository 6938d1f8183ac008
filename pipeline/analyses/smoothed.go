package analyses

import (
	"fmt"

	"deltoid/pipeline/report"
	"deltoid/stats/survival"
)

// hazardPer is how many prosthesis-years a hazard is for.
const hazardPer = 100

// hazardPoints is at how many places a smoothed hazard is drawn.
const hazardPoints = 80

const hazardUnit = "per 100 " + unitProsthesisYears

// addHazard adds the smoothed hazard of each group: a table at the times asked for, and a figure.
func (s *implant) addHazard(section *report.Section, ticks []float64) error {
	sheet := report.Sheet{ID: s.asked.ID + "-hazard", Title: "Hazard of " + s.endpoint.Label + ", " + hazardUnit, Columns: []string{s.groupHeader()},
		Notes: []report.Text{report.Words("Among those who still can come to the endpoint; smoothed over " + s.window() + " on either side of each time.")}}
	for _, t := range s.asked.Times {
		sheet.Columns = append(sheet.Columns, plain(t)+" "+unitWord(string(s.asked.Unit), t))
	}
	for _, g := range s.groups {
		rates, err := s.smoothed(g, s.asked.Times)
		if err != nil {
			return err
		}
		row := report.SheetRow{Label: g.label, Strong: len(s.groups) > 1 && g.slug == s.total().slug}
		for _, r := range rates {
			row.Cells = append(row.Cells, report.Cell{{Estimate: s.add(s.hazard(g, r)), Show: report.ShowValueAndRange}})
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	section.Sheets = append(section.Sheets, sheet)
	figure, err := s.hazardFigure(ticks)
	if err == nil {
		section.Figures = append(section.Figures, figure)
	}
	return err
}

// window is over how long the hazard is smoothed, in words.
func (s *implant) window() string {
	return plain(s.asked.Hazard) + " " + unitWord(string(s.asked.Unit), s.asked.Hazard)
}

// smoothed is the hazard of a group at some times of the plan's unit.
func (s *implant) smoothed(g group, times []float64) ([]survival.Rate, error) {
	at := make([]float64, len(times))
	for i, t := range times {
		at[i] = s.days(t)
	}
	rates, err := g.limit.SmoothHazard(s.days(s.asked.Hazard), at, s.asked.Level)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	for i := range rates {
		rates[i].T = times[i]
		for _, x := range []*float64{&rates[i].Value, &rates[i].Lower, &rates[i].Upper} {
			*x *= daysPerYear * hazardPer
		}
	}
	return rates, nil
}

func (s *implant) hazardID(g group, t float64) string { return s.id("hazard", g.slug, s.timeMark(t)) }

// hazard makes the row of the hazard of a group at a time, or says why there is none.
func (s *implant) hazard(g group, r survival.Rate) report.Estimate {
	e := s.at(s.estimated(s.hazardID(g, r.T), g, "smoothed hazard of "+s.endpoint.Label, hazardUnit), r.T)
	e.Method = "events / at risk, smoothed over " + s.window() + " on either side, " + s.varianceWords("variance of a sum of Poisson counts") + s.weightedBy() + ", interval on the log scale"
	day, b := s.days(r.T), s.days(s.asked.Hazard)
	e.N = report.Some(float64(g.counts.AtRisk(0, day)))
	e.Events = report.Some(float64(eventsBetween(g.limit, day-b, day+b)))
	switch {
	case r.Status == survival.BeyondFollowUp:
		e.Status, e.Note = report.BeyondFollowUp, fmt.Sprintf("the window does not fit into the follow-up of this group, which ends at %.1f %s; ask for an earlier time, or smooth over less",
			s.inUnit(g.counts.LastTime(0)), s.asked.Unit)
		return e
	case r.Status != survival.Estimated:
		e.Status, e.Note = report.NotIdentifiable, r.Status.String()
		return e
	}
	e.Value = report.Some(r.Value)
	switch r.Limits {
	case survival.Estimated:
		e.Lower, e.Upper, e.Level = report.Some(r.Lower), report.Some(r.Upper), report.Some(s.asked.Level)
	case survival.NoEvents:
		e.Status, e.Note = report.NoEvents, "no event within "+s.window()+" of this time, so there is no interval"
	default:
		e.Note = noInterval(r.Limits)
	}
	return e
}

// eventsBetween counts the events of a curve from one time to another.
func eventsBetween(c *survival.Curve, from, to float64) (n int64) {
	for i, t := range c.Time {
		if t >= from && t <= to {
			n += c.Events[i]
		}
	}
	return n
}

// hazardFigure draws the hazard of every group as a line. A group of which a number is masked is not drawn.
func (s *implant) hazardFigure(ticks []float64) (report.Figure, error) {
	f := report.Figure{ID: s.asked.ID + "-hazard", Title: "Hazard of " + s.endpoint.Label,
		X: report.Axis{Label: sentence(string(s.asked.Unit)) + " since the index procedure", Unit: string(s.asked.Unit), Max: s.until(), Ticks: ticks},
		Y: report.Axis{Label: s.hazardEvents() + " " + hazardUnit, Unit: hazardUnit},
		Notes: []report.Text{report.Words("Smoothed over " + s.window() + " on either side; near the ends over what there is. Shaded: " + plain(100*s.asked.Level) +
			"% intervals, for each time taken by itself.")}}
	if by := s.byWords(); by != "" {
		f.Title += ", by " + by
	}
	f.Alt = f.Title + ", " + hazardUnit + ", against " + string(s.asked.Unit) + " since the index procedure. The table gives the values."
	highest := 0.0
	for i, g := range s.parts() {
		c := report.Curve{Group: g.label, Measure: "hazard", Sloping: true, Style: i, End: "end of the figure",
			Estimates: []string{s.countID(g, "ended-"+slug(string(s.episodes.Causes[0])))}}
		end := min(s.until(), s.inUnit(g.counts.LastTime(0)))
		if end < s.until() {
			c.End = "last shoulder at risk"
		}
		grid := make([]float64, hazardPoints+1)
		for j := range grid {
			grid[j] = end * float64(j) / hazardPoints
		}
		rates, err := s.smoothed(g, grid)
		if err != nil {
			return f, err
		}
		for _, r := range rates {
			if r.Status != survival.Estimated {
				break
			}
			step := report.Step{X: r.T, Y: r.Value}
			if r.Limits == survival.Estimated {
				step.Lower, step.Upper = report.Some(r.Lower), report.Some(r.Upper)
			}
			c.Steps, c.EndX = append(c.Steps, step), r.T
			highest = max(highest, step.Y)
		}
		for _, t := range s.asked.Times {
			c.Estimates = append(c.Estimates, s.hazardID(g, t))
		}
		if len(c.Steps) > 0 {
			f.Curves = append(f.Curves, c)
		}
	}
	f.Y.Max, f.Y.Ticks = upTo(max(1.5*highest, 0.01))
	return f, nil
}

func (s *implant) hazardEvents() string {
	if isRevision(&s.endpoint) {
		return "Revisions"
	}
	return "Events"
}

func (s *implant) hazardText() report.Text {
	return report.Words("The hazard is the increments of the Nelson–Aalen estimate smoothed over " + s.window() + " on either side by Epanechnikov's kernel (Ramlau-Hansen, Ann Stat " +
		"1983;11:453), near the ends by its boundary kernels (Müller and Wang, Biometrics 1994;50:61). A longer window shows less, a shorter one more noise.")
}
