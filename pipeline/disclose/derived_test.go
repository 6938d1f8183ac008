package disclose

import (
	"slices"
	"testing"

	"deltoid/pipeline/report"
)

// The difference of two values would give the hidden one away to whoever sees the other: it goes with either, and so does what
// is worked out from it.
func TestDerivedGoesWithItsSource(t *testing.T) {
	doc := followed(group{"few", 400, []int{3, 9}, []int{380, 200}}, group{"many", 900, []int{30, 90}, []int{700, 400}})
	value := func(id, group string) report.Estimate {
		return report.Estimate{ID: id, Analysis: "survival", Cohort: "main", Group: group, Measure: "difference", At: report.Some(1), AtUnit: "years",
			Value: report.Some(0.01), Unit: report.UnitDifference, Method: "difference", Status: report.Estimated}
	}
	doc.Estimates = append(doc.Estimates, value("double", "few against many"), value("difference", "few against many"), value("other", "many against many"))
	doc.Derived = []report.Derived{{Estimate: "double", From: []string{"difference"}}, {Estimate: "difference", From: []string{"inc.few.1y", "inc.many.1y"}},
		{Estimate: "other", From: []string{"inc.many.1y", "inc.many.5y"}}}
	masked := maskedIDs(cleared(t, doc, 5))
	for id, want := range map[string]bool{"inc.few.1y": true, "difference": true, "double": true, "other": false, "inc.many.1y": false} {
		if slices.Contains(masked, id) != want {
			t.Errorf("%s masked: %v, want %v; masked are %v", id, !want, want, masked)
		}
	}
}

// stacked is a figure of three layers for one group, each with one estimate at 5 years.
func stacked(events ...int) report.Document {
	g := group{"all", 900, []int{40, 90}, []int{700, 400}}
	doc := followed(g)
	f := &doc.Sections[0].Figures[0]
	row := f.AtRisk[0]
	f.Curves, f.Stacked = nil, true
	parts := []string{}
	for i, n := range events {
		label := []string{"infection", "instability", "wear"}[i]
		e := inc(label, n)
		doc.Estimates = append(doc.Estimates, e)
		count := report.Count("events."+label, "survival", "revisions by then: "+label, n, "revisions")
		count.Cohort, count.Group, count.Endpoint, count.At, count.AtUnit = "main", "all", "revision."+label, report.Some(5), "years"
		doc.Estimates = append(doc.Estimates, count)
		parts = append(parts, count.ID)
		f.Curves = append(f.Curves, report.Curve{Group: "all", Measure: label, EndX: 5, Steps: []report.Step{{}, {X: 2, Y: 0.01 * float64(i+1)}},
			Estimates: []string{e.ID, count.ID}})
	}
	whole := report.Count("events.any", "survival", "revisions by then", 90, "revisions")
	whole.Cohort, whole.Group, whole.Endpoint, whole.At, whole.AtUnit = "main", "all", "revision", report.Some(5), "years"
	doc.Estimates = append(doc.Estimates, whole)
	doc.Totals = append(doc.Totals, report.Total{Whole: whole.ID, Parts: parts})
	f.AtRisk = []report.RiskRow{row}
	return doc
}

func inc(label string, events int) report.Estimate {
	return report.Estimate{ID: "inc." + label, Analysis: "survival", Endpoint: "revision." + label, Cohort: "main", Group: "all", Measure: "incidence of " + label,
		At: report.Some(5), AtUnit: "years", Value: report.Some(float64(events) / 900), N: report.Some(900), Events: report.Some(float64(events)),
		Unit: report.UnitProbability, Method: "incidence", Status: report.Estimated}
}

// A stacked figure keeps its lowest layers as long as none of their numbers is masked, and the whole on top.
func TestStackHidesLayers(t *testing.T) {
	layers := func(doc report.Document) (names []string) {
		for _, c := range doc.Sections[0].Figures[0].Curves {
			names = append(names, c.Measure)
		}
		return names
	}
	if got := layers(cleared(t, stacked(50, 30, 10), 5)); !slices.Equal(got, []string{"infection", "instability", "wear"}) {
		t.Errorf("without small counts the layers are %v", got)
	}
	// Wear has 2 revisions; 86 and 2 with 90 in all would give them away, so a neighbour is hidden too, and both layers go.
	doc := cleared(t, stacked(58, 30, 2), 5)
	if got := layers(doc); !slices.Equal(got, []string{"infection", otherLayers}) {
		t.Errorf("with a small count on top the layers are %v, masked %v", got, maskedIDs(doc))
	}
	broken := stacked(50, 30, 10)
	broken.Sections[0].Figures[0].AtRisk = nil
	if _, err := Clear(broken, Policy{MaskBelow: 5}); err == nil {
		t.Error("a stacked figure without numbers at risk is accepted")
	}
}

// A line without numbers at risk goes with any of its estimates, a mark with its own, and a figure of guides alone goes too.
func TestLinesGoWithTheirEstimates(t *testing.T) {
	doc := followed(group{"few", 400, []int{3, 9}, []int{380, 200}}, group{"many", 900, []int{30, 90}, []int{700, 400}})
	line := func(name string, estimates ...string) report.Curve {
		return report.Curve{Group: name, Sloping: true, EndX: 5, Steps: []report.Step{{}, {X: 5, Y: 0.1}}, Estimates: estimates}
	}
	guide := report.Curve{Group: "guide", Guide: true, EndX: 5, Steps: []report.Step{{}, {X: 5, Y: 1}}}
	doc.Sections[0].Figures = []report.Figure{
		{ID: "both", Title: "Both", Curves: []report.Curve{guide, line("few", "inc.few.1y"), line("many", "inc.many.1y")},
			Marks: []report.Mark{{At: "inc.many.1y", Estimate: "inc.few.1y"}, {At: "inc.many.1y", Estimate: "inc.many.5y"}}},
		{ID: "few", Title: "Few", Curves: []report.Curve{guide, line("few", "inc.few.1y")}},
		{ID: "many", Title: "Many", Curves: []report.Curve{guide, line("many", "inc.many.1y")}}}
	figures := cleared(t, doc, 5).Sections[0].Figures
	if len(figures) != 2 || figures[0].ID != "both" || figures[1].ID != "many" {
		t.Fatalf("figures left: %+v", figures)
	}
	if f := figures[0]; len(f.Curves) != 2 || f.Curves[1].Group != "many" || len(f.Marks) != 1 || f.Marks[0].Estimate != "inc.many.5y" || len(f.Notes) != 1 {
		t.Errorf("left of the first: %+v", f)
	}
	if len(figures[1].Curves) != 2 || len(figures[1].Notes) != 0 {
		t.Errorf("the figure without a masked number was changed: %+v", figures[1])
	}
}
