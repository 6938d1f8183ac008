package analyses

import (
	"fmt"
	"reflect"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/survival"
)

// comparison is one comparison of groups while it is being written down. The first group is the reference.
type comparison struct {
	*followed
	measure measure // what differences at fixed times are taken of
	tests   []tested
	strata  strata
}

// compareGroups asks whether the groups differ: over the whole of follow-up, at fixed times, and in the mean time free of
// the endpoint.
func compareGroups(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	f, err := follow(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	if err := f.count(); err != nil {
		return report.Section{}, err
	}
	s := &comparison{followed: f, measure: f.chooseMeasures()[0]}
	section := report.Section{ID: asked.ID, Heading: s.comparedHeading(), Question: "Do the groups differ, and by how much?"}
	s.countEstimates()
	ticks := ticksTo(s.until())
	s.risks(merged(ticks, asked.Times))
	if len(s.compared()) < 2 {
		section.Answer = []report.Text{report.Words("There is one group only, so there is nothing to compare."), s.countSentence()}
		section.Sheets = []report.Sheet{s.countTable()}
		return section, nil
	}
	if err := s.compare(p, &section, ticks); err != nil {
		return section, err
	}
	section.Answer = s.answer()
	section.Sheets = append(section.Sheets, s.weightSheet()...)
	section.Method = s.methodText()
	section.Notes = append(s.unknownNote(), s.acrossNote()...)
	if !s.toldElsewhere(p) {
		section.Answer = append(section.Answer, s.countSentence())
		section.Sheets = append(section.Sheets, s.countTable())
		section.Method = append(s.estimateTexts(), section.Method...)
		section.Notes = append(s.notes(), section.Notes...)
	}
	return section, nil
}

// compare makes every table, and the figure where no other section has it.
func (s *comparison) compare(p *plan.Plan, section *report.Section, ticks []float64) error {
	if err := s.runTests(p); err != nil {
		return err
	}
	section.Sheets = append(section.Sheets, s.testSheet())
	again := func() (report.Sheet, bool, error) { return s.sensitivitySheet(p) }
	for _, more := range []func() (report.Sheet, bool, error){s.pairSheet, s.differenceSheet, s.meanSheet, again} {
		sheet, any, err := more()
		if err != nil {
			return fmt.Errorf("%s: %w", s.asked.Place, err)
		}
		if any {
			section.Sheets = append(section.Sheets, sheet)
		}
	}
	if s.toldElsewhere(p) {
		return nil
	}
	figure, err := s.figure(s.measure, ticks)
	if err != nil {
		return err
	}
	for _, t := range s.tests {
		if err := s.annotate(&figure, t); err != nil {
			return err
		}
	}
	section.Figures = []report.Figure{figure}
	return nil
}

// toldElsewhere says whether an analysis of implant survival draws the curves of these shoulders already, with how they were
// estimated and how follow-up ended.
func (s *followed) toldElsewhere(p *plan.Plan) bool {
	for _, a := range p.Analyses {
		if a.Kind != plan.ImplantSurvival {
			continue
		}
		alike := s.asked
		alike.ID, alike.Kind, alike.Times, alike.Until, alike.Unit = a.ID, a.Kind, a.Times, a.Until, a.Unit
		alike.Place, alike.Groups.Place = a.Place, a.Groups.Place
		alike.Hazard, alike.Shares, alike.Tests, alike.Strata, alike.Trend, alike.Pairs = a.Hazard, a.Shares, a.Tests, a.Strata, a.Trend, a.Pairs
		alike.Horizon, alike.Sensitivity = a.Horizon, a.Sensitivity // none of these changes a curve
		if reflect.DeepEqual(alike, a) {
			return true
		}
	}
	return false
}

func (s *comparison) reference() group { return s.groups[0] }

// against labels the comparison of a group with the reference.
func against(g, reference group) string { return g.label + " against " + reference.label }

// contrasted makes the estimate of a contrast of two groups. It rests on two others and is masked with either.
func (s *comparison) contrasted(id string, g, other group, measure, unit string, c survival.Contrast, from ...string) report.Estimate {
	e := s.estimated(id, g, measure, unit)
	e.Group = against(g, other)
	s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: id, From: from})
	if c.Status != survival.Estimated {
		e.Status, e.Note = notComparable(c.Status)
		return e
	}
	e.Value = report.Some(c.Value)
	if c.Limits != survival.Estimated {
		e.Note = "no interval: one of the two estimates has none"
		if c.Limits == survival.OneCluster || c.Limits == survival.NotComparable {
			e.Note = noInterval(c.Limits)
		}
		return e
	}
	e.Lower, e.Upper, e.Level = report.Some(c.Lower), report.Some(c.Upper), report.Some(c.Level)
	return e
}

// together says how two groups with shoulders of the same patients are taken in a contrast.
func (s *comparison) together() string {
	if s.clustered {
		return "shoulders of one patient in both groups allowed for"
	}
	return "groups taken as independent"
}

// notComparable says why two estimates cannot be compared.
func notComparable(s survival.Status) (report.Status, string) {
	switch s {
	case survival.BeyondFollowUp:
		return report.BeyondFollowUp, "one of the two groups was not followed so long; ask for an earlier time"
	case survival.NoEvents:
		return report.NoEvents, "no event in either group"
	default:
		return report.NotIdentifiable, "one of the two groups has no estimate: " + s.String()
	}
}
