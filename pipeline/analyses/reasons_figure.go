package analyses

import (
	"deltoid/pipeline/report"
)

// mostLayers is how many reasons a figure keeps apart; the rest is one layer on top of them.
const mostLayers = 5

// figures draws the reasons of every group on one another, on one scale; of the whole cohort where the groups are many.
func (s *reasons) figures(ticks []float64) []report.Figure {
	from, to := 0, len(s.parts())
	if to > manyGroups {
		from, to = len(s.groups)-1, len(s.groups)
	}
	var figures []report.Figure
	highest := 0.0
	for i := from; i < to; i++ {
		f := s.stack(i, ticks)
		figures = append(figures, f)
		for _, step := range f.Curves[len(f.Curves)-1].Steps {
			highest = max(highest, step.Y)
		}
	}
	for i := range figures {
		figures[i].Y = s.yAxis(s.all, highest)
		figures[i].Y.Label = "Cumulative incidence"
	}
	return figures
}

// stack draws the reasons of one group.
func (s *reasons) stack(i int, ticks []float64) report.Figure {
	g := s.groups[i]
	f := report.Figure{ID: s.asked.ID + "-" + g.slug, Title: "Reasons for revision", Stacked: true,
		X:     report.Axis{Label: sentence(string(s.asked.Unit)) + " since the index procedure", Unit: string(s.asked.Unit), Max: s.until(), Ticks: ticks},
		Notes: []report.Text{report.Words("The layers lie on one another: the height of each is the cumulative incidence of its reason, their sum that of any reason.")}}
	if len(s.parts()) > 1 {
		f.Title += ": " + g.label
	}
	f.Alt = f.Title + ", as layers that add up to the cumulative incidence of revision for any reason, against " + string(s.asked.Unit) +
		" since the index procedure, with numbers at risk below the axis. The table gives the values."
	end := min(s.until(), s.inUnit(g.counts.LastTime(0)))
	layers := min(len(s.list), mostLayers)
	for j := range layers {
		f.Curves = append(f.Curves, s.layer(i, j, j+1, s.list[j].label, end))
	}
	if layers < len(s.list) {
		f.Curves = append(f.Curves, s.layer(i, layers, len(s.list), "Other reasons", end))
	}
	row := report.RiskRow{Group: g.label}
	for _, t := range ticks {
		row.Estimates = append(row.Estimates, s.riskID(g, t))
	}
	f.AtRisk = []report.RiskRow{row}
	return f
}

// layer is the sum of the reasons before to; its own part begins at from.
func (s *reasons) layer(i, from, to int, label string, end float64) report.Curve {
	g := s.groups[i]
	c := report.Curve{Group: g.label, Measure: label, EndX: end, End: "end of the figure", Style: from, Steps: []report.Step{{}}}
	if end < s.until() {
		c.End = "last shoulder at risk"
	}
	curves := s.curves[i]
	for row, day := range curves[0].Time {
		x := s.inUnit(day)
		if x > end {
			break
		}
		y, events := 0.0, int64(0)
		for _, one := range curves[:to] {
			y += one.Incidence[row]
			events += one.Events[row]
		}
		switch {
		case events == 0:
		case day == 0:
			c.Steps[0].Y = y
		default:
			c.Steps = append(c.Steps, report.Step{X: x, Y: y})
		}
	}
	for _, r := range s.list[from:to] {
		for _, t := range s.asked.Times {
			c.Estimates = append(c.Estimates, s.reasonID(r, g, t), s.eventsID(r, g, t))
		}
	}
	return c
}
