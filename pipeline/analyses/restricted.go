package analyses

import (
	"fmt"

	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/survival"
)

// meanSheet shows the mean time free of the endpoint up to the horizon, with differences and ratios.
func (s *comparison) meanSheet() (sheet report.Sheet, any bool, err error) {
	if s.asked.Horizon == 0 {
		return sheet, false, nil
	}
	sheet = report.Sheet{ID: s.asked.ID + "-means",
		Title:   "Mean time free of " + s.endpoint.Label + " up to " + plain(s.asked.Horizon) + " " + unitWord(string(s.asked.Unit), s.asked.Horizon),
		Columns: []string{s.groupHeader(), sentence(string(s.asked.Unit)), "Difference, days", "Ratio"}}
	var reference survival.Mean
	horizon := s.days(s.asked.Horizon)
	for i, g := range s.parts() {
		m, err := g.limit.RestrictedMean(horizon, s.asked.Level)
		if err != nil {
			return sheet, false, err
		}
		row := report.SheetRow{Label: g.label, Cells: []report.Cell{{{Estimate: s.add(s.mean(g, m)), Show: report.ShowValueAndRange}}}}
		if i == 0 {
			reference = m
			row.Label += " (reference)"
		} else if i >= len(s.compared()) {
			row.Cells = append(row.Cells, nil, nil)
		} else if err := s.meanContrasts(&row, g, m, reference, g.limit.MeanInfluence(horizon).With(s.reference().limit.MeanInfluence(horizon))); err != nil {
			return sheet, false, err
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	sheet.Notes = []report.Text{report.Words("The mean of the time free of the endpoint" + s.without() + ", every longer time counting as " +
		plain(s.asked.Horizon) + " " + unitWord(string(s.asked.Unit), s.asked.Horizon) + ".")}
	return sheet, true, nil
}

func (s *comparison) meanID(g group) string { return s.id("mean", g.slug) }

// mean is the restricted mean of a group, or why there is none.
func (s *comparison) mean(g group, m survival.Mean) report.Estimate {
	e := s.at(s.estimated(s.meanID(g), g, "mean time free of the endpoint", string(s.asked.Unit)), s.asked.Horizon)
	e.N, e.Events = report.Some(float64(g.n)), report.Some(float64(g.limit.At(s.days(s.asked.Horizon)).Events))
	e.Method = "area under the product-limit curve, " + s.limitVariance() + s.weightedBy() + ", interval on the plain scale"
	if m.Status == survival.BeyondFollowUp {
		e.Status, e.Events = report.BeyondFollowUp, report.Some(float64(g.limit.Total))
		e.Note = fmt.Sprintf("the horizon lies beyond the follow-up of this group, which ends at %.1f %s; ask for an earlier one",
			s.inUnit(g.counts.LastTime(0)), s.asked.Unit)
		return e
	}
	if m.Status != survival.Estimated {
		e.Status, e.Note = report.NotIdentifiable, m.Status.String()
		return e
	}
	e.Value = report.Some(s.inUnit(m.Value))
	if m.Limits == survival.Estimated {
		e.Lower, e.Upper, e.Level = report.Some(s.inUnit(m.Lower)), report.Some(s.inUnit(m.Upper)), report.Some(s.asked.Level)
	} else {
		e.Note = noInterval(m.Limits)
	}
	return e
}

// meanContrasts adds the difference from the reference and the ratio to it.
func (s *comparison) meanContrasts(row *report.SheetRow, g group, m, reference survival.Mean, shared float64) error {
	difference, err := m.Minus(reference, shared)
	if err != nil {
		return err
	}
	ratio, err := m.Over(reference, shared)
	if err != nil {
		return err
	}
	from := []string{s.meanID(g), s.meanID(s.reference())}
	for _, part := range []struct {
		slug, measure, unit, scale string
		c                          survival.Contrast
	}{
		{"mean-difference", "difference of mean times free of the endpoint", string(schemas.Days), "plain", difference},
		{"mean-ratio", "ratio of mean times free of the endpoint", report.UnitRatio, "log", ratio},
	} {
		e := s.at(s.contrasted(s.id(part.slug, g.slug), g, s.reference(), part.measure, part.unit, part.c, from...), s.asked.Horizon)
		e.Method = "two areas under product-limit curves (" + s.limitVariance() + s.weightedBy() + "), " + s.together() + ", interval on the " + part.scale + " scale"
		row.Cells = append(row.Cells, report.Cell{{Estimate: s.add(e), Show: report.ShowValueAndRange}})
	}
	return nil
}
