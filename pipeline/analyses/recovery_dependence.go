package analyses

import (
	"math"

	"deltoid/pipeline/report"
	"deltoid/stats/change"
	"deltoid/stats/describe"
)

// dependenceSheet says whether those who begin worse improve more, beyond what error of measurement makes of it.
func (s *recovery) dependenceSheet() (report.Sheet, bool, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-baseline", Title: "Does it depend on where they begin?", Columns: []string{"At the last visit, whole cohort", "Value"}}
	last := len(s.labels) - 1
	if s.about == change.OfState || len(s.each) == 0 {
		return sheet, false, nil
	}
	v := s.each[len(s.each)-1]
	pair := s.pairOf(v.k, s.members[last])
	d, err := change.DependenceOnBaseline(pair, s.scale, s.asked.Scores.Reliability, s.asked.Level)
	if err != nil || !d.OK() {
		return sheet, false, err
	}
	row := func(slug, label, unit string, x change.Estimate) {
		e := s.estimate(s.visits.Windows[v.k].ID+"."+slug, last, label, unit)
		settle(&e, x)
		s.derived(e.ID, v.paired[last])
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(label), Cells: []report.Cell{report.Cell(say(inTable(s.add(e))))}})
	}
	row("oldham", "correlation of the improvement with the mean of both scores (Oldham)", report.UnitCorrelation, d.Oldham)
	row("spread-ratio", "standard deviation at the visit over that before the operation (Pitman)", report.UnitRatio, d.SpreadRatio)
	row("slope", "slope of the improvement on the score before the operation, as observed", report.UnitRatio, d.Slope)
	if s.asked.Scores.Reliability > 0 {
		row("slope-true", "the same slope without the error of measurement (Blomqvist)", report.UnitRatio, d.SlopeOfTrue)
		if err := s.artefact(pair, row); err != nil {
			return sheet, false, err
		}
	}
	sheet.Notes = []report.Text{report.Words("A negative slope on the observed score is no proof that those who begin worse improve more: error of measurement alone makes one (regression to the mean). The first two rows do not have this fault, but a spread that shrinks for other reasons, such as a scale that ends, moves them too.")}
	return sheet, true, nil
}

// artefact says what error of measurement alone would show in the quarter that begins worst.
func (s *recovery) artefact(pair change.Scores, row func(slug, label, unit string, x change.Estimate)) error {
	var known []float64
	for i, x := range pair.Baseline {
		if !math.IsNaN(x) && !math.IsNaN(pair.FollowUp[i]) {
			known = append(known, x)
		}
	}
	share := 0.25
	if !s.scale.HigherIsBetter() {
		share = 0.75
	}
	limit, status := describe.Sort(known).Quantile(share, describe.Linear)
	if status != describe.Estimated {
		return nil
	}
	a, err := change.RegressionToTheMean(pair, s.scale, limit, s.asked.Scores.Reliability)
	if err != nil {
		return err
	}
	row("worst-quarter", "mean improvement of the quarter that begins worst", s.scoreUnit(), change.Estimate{Value: a.Observed, State: a.State})
	row("worst-quarter-artefact", "of this, what error of measurement alone would show", s.scoreUnit(), change.Estimate{Value: a.Expected, State: a.State})
	return nil
}
