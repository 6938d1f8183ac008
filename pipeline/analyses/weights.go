package analyses

import (
	"fmt"
	"math"

	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// readWeights reads what each episode counts for. Every shoulder must have a number of 0 or more: one without would leave the
// analysis, and nobody would see it.
func (s *followed) readWeights() error {
	if s.asked.Weights == "" {
		return nil
	}
	column, err := s.cohort.Baseline(s.asked.Weights, s.asked.Place)
	if err != nil {
		return err
	}
	s.weights = make([]float64, len(s.episodes.Exit))
	missing, negative := 0, 0
	for i := range s.weights {
		member := int32(i)
		if at := s.episodes.Shoulder; at != nil {
			member = at[i]
		}
		x := numberAt(column, int(s.cohort.Registry.Shoulders[s.cohort.Shoulders[member]].Row))
		switch {
		case math.IsNaN(x) || math.IsInf(x, 0):
			missing++
		case x < 0:
			negative++
		}
		s.weights[i] = x
	}
	if missing+negative == 0 {
		return nil
	}
	return &schemas.Problem{Kind: schemas.PlanProblem, Where: s.asked.Place,
		What: fmt.Sprintf("the field %q is used for weights, but of %d shoulders %d have none and %d have one below 0", s.asked.Weights,
			len(s.weights), missing, negative),
		Allowed: "a number of 0 or more for every shoulder",
		Remedy:  "give every shoulder a weight, or narrow the analysis with \"within\" to those that have one"}
}

// byRows says whether variances need the rows: where shoulders have weights, or share a patient.
func (s *followed) byRows() bool { return s.clustered || s.weights != nil }

// varianceWords names the variance: that for independent shoulders, or what it is where shoulders have weights or share a
// patient.
func (s *followed) varianceWords(independent string) string {
	switch {
	case s.weights != nil && s.clustered:
		return "robust variance for weights, clustered by patient"
	case s.weights != nil:
		return "robust variance for weights"
	case s.clustered:
		return "variance clustered by patient"
	}
	return independent
}

// weightedBy ends the method of an estimate that is weighted.
func (s *followed) weightedBy() string {
	if s.weights == nil {
		return ""
	}
	return ", weighted by " + s.fieldWords(s.asked.Weights)
}

// weightText says in the methods paragraph what weights do.
func (s *followed) weightText() string {
	if s.weights == nil {
		return ""
	}
	return " Shoulders count for their " + s.fieldWords(s.asked.Weights) + " in curves, tests and differences, whose variance is robust (infinitesimal jackknife; Efron 1982; for tests Lin " +
		"and Wei, J Am Stat Assoc 1989;84:1074) and takes the weights as known. Numbers at risk and counts are of shoulders."
}

// weightSheet shows what the weights come to: how many shoulders of equal weight would say as much (Kish 1965), and how much
// weight is at risk.
func (s *followed) weightSheet() []report.Sheet {
	if s.weights == nil {
		return nil
	}
	sheet := report.Sheet{ID: s.asked.ID + s.variant + "-weights", Title: "Weights", Columns: []string{s.groupHeader(), "Shoulders", "Sum of weights", "Effective number"},
		Notes: []report.Text{report.Words("The effective number is how many shoulders of one weight would say as much: the square of the sum of the weights over the sum of their squares.")}}
	for _, t := range s.asked.Times {
		sheet.Columns = append(sheet.Columns, "At risk at "+plain(t)+" "+unitWord(string(s.asked.Unit), t))
	}
	for i, g := range s.groups {
		sum, effective := s.weightOf(i)
		row := report.SheetRow{Label: g.label, Cells: []report.Cell{number(s.countID(g, "shoulders")),
			number(s.weightEstimate(g, "weight-sum", "sum of weights", sum, s.countID(g, "shoulders"))),
			number(s.weightEstimate(g, "weight-effective", "effective number", effective, s.countID(g, "shoulders")))}}
		for _, t := range s.asked.Times {
			e := s.at(s.estimated(s.id("weight-at-risk", g.slug, s.timeMark(t)), g, "weighted number at risk", "weight"), t)
			e.Value, e.Method = report.Some(g.counts.WeightAtRisk(0, s.days(t))), "sum of the weights of the shoulders at risk"
			s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: s.add(e), From: []string{s.riskID(g, t)}})
			row.Cells = append(row.Cells, number(e.ID))
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	return []report.Sheet{sheet}
}

func (s *followed) weightEstimate(g group, part, measure string, x float64, from string) string {
	e := s.estimated(s.id(part, g.slug), g, measure, "weight")
	e.Value, e.Method = report.Some(x), "from "+s.fieldWords(s.asked.Weights)
	s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: e.ID, From: []string{from}})
	return s.add(e)
}

// weightOf returns the sum of the weights of a group, or of all, and their effective number.
func (s *followed) weightOf(at int) (sum, effective float64) {
	squares := 0.0
	for i, w := range s.weights {
		if at == len(s.episodes.Groups) || int(s.episodes.Group[i]) == at {
			sum += w
			squares += float64(w * w)
		}
	}
	if squares > 0 {
		effective = sum * sum / squares
	}
	return sum, effective
}
