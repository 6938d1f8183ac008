package analyses

import (
	"fmt"

	"deltoid/pipeline/report"
	"deltoid/stats/survival"
)

// shares records when given shares of the shoulders have had the event, and the table that shows it.
func (s *implant) shares() (report.Sheet, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-shares", Title: "When a share of the shoulders had come to " + s.endpoint.Label,
		Columns: []string{s.groupHeader()}}
	for _, p := range s.asked.Shares {
		sheet.Columns = append(sheet.Columns, shareName(p))
	}
	for _, g := range s.groups {
		times := report.SheetRow{Label: g.label, Strong: len(s.groups) > 1 && g.slug == s.total().slug}
		risk := report.SheetRow{Label: "Numbers at risk then", Indent: 1}
		for _, p := range s.asked.Shares {
			q, err := g.limit.Quantile(p, s.asked.Level, scaleOf(s.asked.Interval))
			if err != nil {
				return sheet, fmt.Errorf("%s: %w", s.asked.Place, err)
			}
			times.Cells = append(times.Cells, report.Cell{{Estimate: s.add(s.share(g, q)), Show: report.ShowValueAndRange}})
			risk.Cells = append(risk.Cells, s.atRiskThen(g, q))
		}
		sheet.Rows = append(sheet.Rows, times, risk)
	}
	sheet.Notes = []report.Text{report.Words(sentence(string(s.asked.Unit)) + " since the index procedure, from the survival curve" + s.without() +
		". A limit that is not reached lies beyond what was observed.")}
	return sheet, nil
}

// without says what the survival curve supposes about competing events.
func (s *followed) without() string {
	if len(s.episodes.Causes) == 1 {
		return ""
	}
	return " (had nobody " + pastOf(s.competingWords(" or ")) + " first)"
}

func shareName(p float64) string {
	if p == 0.5 {
		return "Half (median)"
	}
	return report.Tick(p, report.UnitProbability)
}

// share is the time at which a share of a group has had the event, or why there is none.
func (s *implant) share(g group, q survival.Quantile) report.Estimate {
	name := report.Tick(q.P, report.UnitProbability)
	e := s.estimated(s.id("time-to-share", g.slug, plain(q.P)), g, "time at which "+name+" had come to the endpoint", string(s.asked.Unit))
	e.N, e.Events = report.Some(float64(g.n)), report.Some(float64(g.limit.Total))
	e.Method = "product-limit, " + s.limitVariance() + s.weightedBy() + "; limits where those of survival on the " + string(s.asked.Interval) + " scale cross"
	if q.Status != survival.Estimated {
		e.Status = report.NotReached
		e.Note = fmt.Sprintf("fewer than %s had come to the endpoint when follow-up ended at %.1f %s", name,
			s.inUnit(g.counts.LastTime(0)), s.asked.Unit)
		switch q.Status {
		case survival.NoRows:
			e.Status, e.Note = report.NotIdentifiable, "no shoulder in this group"
		case survival.NoWeight:
			e.Status, e.Note = report.NotIdentifiable, "every shoulder of this group has the weight 0"
		}
		return e
	}
	e.Value = report.Some(s.inUnit(q.Time))
	if q.LowerStatus == survival.Estimated {
		e.Lower = report.Some(s.inUnit(q.Lower))
	}
	if q.UpperStatus == survival.Estimated {
		e.Upper = report.Some(s.inUnit(q.Upper))
	}
	if e.Lower.Known || e.Upper.Known {
		e.Level = report.Some(s.asked.Level)
	}
	switch {
	case q.AtRisk < fewAtRisk:
		e.Note = fmt.Sprintf("fewer than %d shoulders were at risk then; read it with care", fewAtRisk)
	case !e.Upper.Known:
		e.Note = "upper limit not reached: the upper limit of the curve stays above this share"
	}
	return e
}

func (s *followed) limitVariance() string {
	return s.varianceWords("Greenwood's variance")
}

func (s *implant) atRiskThen(g group, q survival.Quantile) report.Cell {
	if q.Status != survival.Estimated {
		return report.Cell{}
	}
	e := s.estimated(s.id("at-risk-then", g.slug, plain(q.P)), g, "numbers at risk when "+report.Tick(q.P, report.UnitProbability)+
		" had come to the endpoint", "shoulders")
	e.Value, e.Method = report.Some(float64(q.AtRisk)), "count"
	// Beside a masked time it would say when that was.
	s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: e.ID, From: []string{s.id("time-to-share", g.slug, plain(q.P))}})
	return number(s.add(e))
}

func sharesText() report.Text {
	return report.Words("The time at which a share has had the event is the first time at which the survival curve is at or below the rest, its " +
		"limits are where the limits of the curve cross (Brookmeyer and Crowley, Biometrics 1982;38:29).")
}
