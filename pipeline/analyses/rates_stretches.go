package analyses

import (
	"math"

	"deltoid/pipeline/report"
	"deltoid/stats/monitor"
)

// stretchSheet shows events, exposure and rate by stretch of follow-up: of the whole, and of every group where they are few.
func (s *rates) stretchSheet() (report.Sheet, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-stretches", Title: "By time since the index procedure",
		Columns: []string{sentence(string(s.asked.Unit)) + " since the index procedure", "Shoulders under observation", "Prosthesis-years", s.eventsWord(),
			"Part of all", "Rate " + s.unit()}}
	groups := s.all()
	if len(s.list) > manyGroups || !s.compared() {
		groups = groups[len(groups)-1:]
	}
	spreads := s.stretchSpreads(len(groups) > 1)
	for _, x := range groups {
		if len(groups) > 1 {
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: x.label, Strong: true, Cells: make([]report.Cell, len(sheet.Columns)-1)})
		}
		if err := s.stretches(&sheet, x, spreads, len(groups) > 1); err != nil {
			return sheet, err
		}
	}
	s.stretchTotals(groups)
	return sheet, nil
}

// stretches records the stretches of one group and adds their rows. Those that nobody reached are left out.
func (s *rates) stretches(sheet *report.Sheet, x rated, spreads stretchSpreads, indented bool) error {
	list, err := monitor.Stretches(x.group.counts, 0, 1, s.cuts()...)
	if err != nil {
		return err
	}
	var parts []string
	for i, stretch := range list {
		if stretch.Rows == 0 {
			continue
		}
		row := report.SheetRow{Label: s.stretchLabel(i)}
		if indented {
			row.Indent = 1
		}
		here := x
		if here.spread = spreads.whole[i]; x.slug != s.whole.slug {
			here.spread = spreads.byGroup[i]
		}
		cells, count, err := s.stretch(i, here, stretch)
		if err != nil {
			return err
		}
		parts = append(parts, count)
		row.Cells = cells
		sheet.Rows = append(sheet.Rows, row)
	}
	s.book.total(s.eventsID(x), parts...)
	return nil
}

func (s *rates) cuts() []float64 {
	cuts := make([]float64, len(s.asked.Times))
	for i, t := range s.asked.Times {
		cuts[i] = s.days(t)
	}
	return cuts
}

// stretchSpreads are the events and prosthesis-years of each stretch by patient; nil where shoulders are taken as independent.
type stretchSpreads struct{ byGroup, whole []*monitor.Spread }

func (s *rates) stretchSpreads(byGroup bool) stretchSpreads {
	ends := append(s.cuts(), math.Inf(1))
	x, from := stretchSpreads{make([]*monitor.Spread, len(ends)), make([]*monitor.Spread, len(ends))}, 0.0
	for i, to := range ends {
		x.whole[i] = s.spread(from, to, false)
		if byGroup {
			x.byGroup[i] = s.spread(from, to, true)
		}
		from = to
	}
	return x
}

// stretch records one stretch of a group.
func (s *rates) stretch(i int, x rated, stretch monitor.Stretch) (cells []report.Cell, events string, err error) {
	id := func(what string) string { return s.id("stretch", what, x.slug, s.stretchMark(i)) }
	when := ", " + s.stretchLabel(i) + " " + string(s.asked.Unit)
	here := x
	here.n = int(stretch.Rows)
	under := s.countOf(*x.group, "stretch."+s.stretchMark(i), "shoulders under observation"+when, here.n)
	years := s.estimated(id("years"), *x.group, unitProsthesisYears+when, unitProsthesisYears)
	years.Value, years.N = report.Some(stretch.In(daysPerYear).Exposure), report.Some(float64(here.n))
	years.Method = "days under observation, summed, divided by 365.25"
	s.add(years)
	events = s.add(s.counted(id("events"), x, "events"+when, int(stretch.Events)))
	part := s.estimated(id("part"), *x.group, "part of all events"+when, report.UnitProbability)
	part.Events, part.Method = report.Some(float64(stretch.Events)), "events of the stretch / all events"
	if x.tally.Events > 0 {
		part.Value = report.Some(float64(stretch.Events) / float64(x.tally.Events))
	} else {
		part.Status, part.Note = report.NoEvents, "no event at any time"
	}
	s.add(part)
	if err := s.rate(id("rate"), here, "rate of "+s.endpoint.Label+when, stretch.In(daysPerYear)); err != nil {
		return nil, "", err
	}
	return []report.Cell{number(under), number(years.ID), number(events), number(part.ID),
		{{Estimate: id("rate"), Show: report.ShowValueAndRange}}}, events, nil
}

// stretchLabel names a stretch: "0 to 1", "after 10".
func (s *rates) stretchLabel(i int) string {
	times := s.asked.Times
	switch {
	case len(times) == 0:
		return "all"
	case i == len(times):
		return "after " + plain(times[i-1])
	case i == 0:
		return "0 to " + plain(times[0])
	}
	return plain(times[i-1]) + " to " + plain(times[i])
}

func (s *rates) stretchMark(i int) string { return slug(s.stretchLabel(i)) }

// stretchTotals states that the events and the shoulders of a stretch add up over the groups.
func (s *rates) stretchTotals(groups []rated) {
	if len(groups) < 2 {
		return
	}
	for i := range len(s.asked.Times) + 1 {
		for _, what := range []string{"events", "shoulders"} {
			if what == "shoulders" && s.episodes.Divided > 0 {
				continue // a shoulder that changed its group is in two of them
			}
			var parts []string
			whole := ""
			for _, x := range groups {
				id := s.id("stretch", "events", x.slug, s.stretchMark(i))
				if what == "shoulders" {
					id = s.countID(*x.group, "stretch."+s.stretchMark(i))
				}
				if _, there := s.seen[id]; !there {
					continue
				}
				if x.slug == s.whole.slug {
					whole = id
				} else {
					parts = append(parts, id)
				}
			}
			if whole != "" {
				s.book.total(whole, parts...)
			}
		}
	}
}
