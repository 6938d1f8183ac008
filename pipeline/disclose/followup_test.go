package disclose

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"deltoid/pipeline/report"
)

// group is one group's counts at 1 and 5 years.
type group struct {
	label  string
	n      int
	events []int
	atRisk []int
}

var years = []float64{1, 5}

// followed makes a survival section for groups: sizes, incidences, numbers at risk and a figure with a step at each
// event, those of the first interval spread over the first year.
func followed(groups ...group) report.Document {
	fig := report.Figure{ID: "survival", Title: "Incidence", Alt: "rises to 9", X: report.Axis{Ticks: []float64{0, 1, 5}}}
	var doc report.Document
	for _, g := range groups {
		size := report.Count("n."+g.label, "survival", "shoulders", g.n, "shoulders")
		size.Cohort, size.Group = "main", g.label
		start := atRisk(g, 0, g.n)
		doc.Estimates = append(doc.Estimates, size, start)
		row := report.RiskRow{Group: g.label, Estimates: []string{start.ID}}
		for i, y := range years {
			risk := atRisk(g, y, g.atRisk[i])
			doc.Estimates = append(doc.Estimates, incidence(g, i), risk)
			row.Estimates = append(row.Estimates, risk.ID)
		}
		fig.Curves = append(fig.Curves, curve(g))
		fig.AtRisk = append(fig.AtRisk, row)
	}
	doc.Sections = []report.Section{{ID: "survival", Figures: []report.Figure{fig}}}
	return doc
}

func incidence(g group, i int) report.Estimate {
	return report.Estimate{ID: fmt.Sprintf("inc.%s.%gy", g.label, years[i]), Analysis: "survival", Endpoint: "revision",
		Cohort: "main", Group: g.label, Measure: "cumulative incidence", At: report.Some(years[i]), AtUnit: "years",
		Value: report.Some(float64(g.events[i]) / float64(g.n)), Lower: report.Some(0), Upper: report.Some(1),
		Level: report.Some(0.95), N: report.Some(float64(g.n)), Events: report.Some(float64(g.events[i])),
		Unit: "probability", Method: "incidence", Status: report.Estimated}
}

func atRisk(g group, at float64, n int) report.Estimate {
	e := report.Count(fmt.Sprintf("risk.%s.%gy", g.label, at), "survival", "numbers at risk", n, "shoulders")
	e.Endpoint, e.Cohort, e.Group, e.At, e.AtUnit = "revision", "main", g.label, report.Some(at), "years"
	return e
}

func curve(g group) report.Curve {
	c := report.Curve{Group: g.label, Measure: "cumulative incidence", Steps: []report.Step{{}}, EndX: 5}
	for k := 1; k <= g.events[1]; k++ {
		x := float64(k) / float64(g.events[0]+1)
		if k > g.events[0] {
			x = 1 + 4*float64(k-g.events[0])/float64(g.events[1]-g.events[0]+1)
		}
		c.Steps = append(c.Steps, report.Step{X: x, Y: float64(k) / float64(g.n)})
	}
	return c
}

// whole adds the groups up to the whole cohort.
func together(groups ...group) group {
	sum := group{events: []int{0, 0}, atRisk: []int{0, 0}}
	for _, g := range groups {
		sum.n += g.n
		for i := range years {
			sum.events[i] += g.events[i]
			sum.atRisk[i] += g.atRisk[i]
		}
	}
	return sum
}

func wantMasked(t *testing.T, doc report.Document, want ...string) {
	t.Helper()
	got := maskedIDs(doc)
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("masked %v, want %v", got, want)
	}
}

func TestFewEventsMaskTheProbability(t *testing.T) {
	wantMasked(t, cleared(t, followed(group{"a", 100, []int{3, 9}, []int{80, 60}}), 5), "inc.a.1y")
}

func TestNoEventsAreShown(t *testing.T) {
	wantMasked(t, cleared(t, followed(group{"a", 100, []int{0, 9}, []int{80, 60}}), 5))
}

// 97 of 100 had the event: the three who had not are as few as three who had. The 3 at risk go as well.
func TestFewWithoutEventMaskTheProbability(t *testing.T) {
	wantMasked(t, cleared(t, followed(group{"a", 100, []int{60, 97}, []int{40, 3}}), 5), "inc.a.5y", "risk.a.5y")
}

func TestFewAtRiskMaskTheirTime(t *testing.T) {
	wantMasked(t, cleared(t, followed(group{"a", 100, []int{6, 9}, []int{80, 4}}), 5), "inc.a.5y", "risk.a.5y")
}

func TestSmallGroupIsMaskedWhole(t *testing.T) {
	doc := followed(group{"a", 4, []int{0, 0}, []int{4, 3}})
	doc.Estimates = append(doc.Estimates, report.Estimate{ID: "mean.a", Analysis: "survival", Endpoint: "revision",
		Cohort: "main", Group: "a", Unit: "years", Value: report.Some(4.2), Status: report.Estimated})
	got := cleared(t, doc, 5)
	wantMasked(t, got, "n.a", "inc.a.1y", "inc.a.5y", "risk.a.0y", "risk.a.1y", "risk.a.5y", "mean.a")
	if len(got.Sections[0].Figures) != 0 || len(got.Sections[0].Notes) != 1 {
		t.Errorf("the figure of a small group is still there: %+v", got.Sections[0])
	}
}

// Of 50 shoulders 47 are at risk at one year, so at most 3 can have had the event by then: 47 tells too much about the
// masked 2. With 40 at risk it tells nothing.
func TestNumbersAtRiskThatBoundTheEvents(t *testing.T) {
	wantMasked(t, cleared(t, followed(group{"a", 50, []int{2, 9}, []int{47, 30}}), 5), "inc.a.1y", "risk.a.1y")
	wantMasked(t, cleared(t, followed(group{"a", 50, []int{2, 9}, []int{40, 30}}), 5), "inc.a.1y")
}

// The whole cohort's 12 events by one year are 3 + 9 of the groups, so the 9 go with the 3, though no total says so.
func TestGroupsThatAddUpToTheCohort(t *testing.T) {
	a, b := group{"a", 100, []int{3, 9}, []int{80, 60}}, group{"b", 200, []int{9, 30}, []int{150, 90}}
	wantMasked(t, cleared(t, followed(a, b, together(a, b)), 5), "inc.a.1y", "inc.b.1y")
}

// The same under a label for the whole cohort: it is recognised by its N, which is what the groups' add up to.
func TestGroupsThatAddUpToALabelledWhole(t *testing.T) {
	a, b := group{"a", 100, []int{3, 9}, []int{80, 60}}, group{"b", 200, []int{9, 30}, []int{150, 90}}
	all := together(a, b)
	all.label = "everyone"
	wantMasked(t, cleared(t, followed(a, b, all), 5), "inc.a.1y", "inc.b.1y")
}

// Rows of an export are shown however few, but not when a count of people could be worked out from them.
func TestRowsAreNotPeople(t *testing.T) {
	doc := report.Document{Estimates: []report.Estimate{
		report.Count("read", "accounts", "rows read", 103, "rows"),
		report.Count("used", "accounts", "rows used", 100, "rows"),
		report.Count("aside", "accounts", "rows set aside", 3, "rows"),
	}, Totals: []report.Total{{Whole: "read", Parts: []string{"used", "aside"}}}}
	wantMasked(t, cleared(t, doc, 5))
	doc.Estimates[2].Unit = "patients"
	wantMasked(t, cleared(t, doc, 5), "aside", "used")
}

// A count of events that is masked as a neighbour takes the incidences that print the same number with it.
func TestCountAndIncidenceAreOneNumber(t *testing.T) {
	doc := followed(group{"a", 100, []int{1, 3}, []int{80, 60}}, group{"b", 200, []int{9, 30}, []int{150, 90}})
	total := report.Count("events", "survival", "events", 33, "events")
	doc.Estimates = append(doc.Estimates, total)
	for label, n := range map[string]int{"a": 3, "b": 30} {
		e := report.Count("events."+label, "survival", "events", n, "events")
		e.Cohort, e.Group, e.Endpoint = "main", label, "revision"
		doc.Estimates = append(doc.Estimates, e)
	}
	doc.Totals = []report.Total{{Whole: "events", Parts: []string{"events.a", "events.b"}}}
	got := cleared(t, doc, 5)
	wantMasked(t, got, "events.a", "events.b", "inc.a.1y", "inc.a.5y", "inc.b.5y")
}

func TestCurveStartsWhereItShowsEnough(t *testing.T) {
	doc := cleared(t, followed(group{"a", 100, []int{3, 9}, []int{80, 60}}), 5)
	f := doc.Sections[0].Figures[0]
	// Nine events: three in the first year, the fifth at 1 + 4*2/7 years.
	if got, want := f.Curves[0].Steps[0], (report.Step{X: 1 + 4*2./7, Y: 0.05}); got != want {
		t.Errorf("the curve starts with %v, want %v", got, want)
	}
	if len(f.Notes) != 1 || strings.Contains(f.Alt, "rises to 9") {
		t.Errorf("notes %v, words %q", f.Notes, f.Alt)
	}
}

func TestCurveEndsWhereFewAreAtRisk(t *testing.T) {
	doc := cleared(t, followed(group{"a", 100, []int{6, 9}, []int{80, 4}}), 5)
	c := doc.Sections[0].Figures[0].Curves[0]
	if c.EndX != 1 || c.Steps[len(c.Steps)-1].X > 1 || len(c.Steps) != 7 {
		t.Errorf("the curve ends at %v with %d steps", c.EndX, len(c.Steps))
	}
}

// The 9 events of b by one year are masked as neighbours, the 30 by five years are shown: a curve between the two would
// give the 9 away by counting its steps, so nothing of it is drawn.
func TestCurveOfANeighbour(t *testing.T) {
	a, b := group{"a", 100, []int{3, 9}, []int{80, 60}}, group{"b", 200, []int{9, 30}, []int{150, 90}}
	doc := cleared(t, followed(a, b, together(a, b)), 5)
	f := doc.Sections[0].Figures[0]
	for i, c := range f.Curves {
		if c.Group == "b" || f.AtRisk[i].Group != c.Group {
			t.Errorf("curve %d is of %q above numbers at risk of %q", i, c.Group, f.AtRisk[i].Group)
		}
	}
	if len(f.Curves) != 2 || len(f.Notes) != 2 {
		t.Errorf("%d curves with %d notes", len(f.Curves), len(f.Notes))
	}
}

func TestLeadIsReplacedOnce(t *testing.T) {
	doc := followed(group{"a", 100, []int{3, 9}, []int{80, 60}})
	on := func(id string) report.Text { return report.Text{{Words: "It is "}, {Estimate: id}} }
	doc.Lead = []report.Text{on("inc.a.1y"), on("inc.a.5y"), on("inc.a.1y")}
	got := cleared(t, doc, 5).Lead
	if len(got) != 2 || !strings.Contains(got[0][0].Words, "is not shown") || got[1][1].Estimate != "inc.a.5y" {
		t.Errorf("the lead is %v", got)
	}
}

// The nine of group b go as neighbours of the three; a second analysis that counts the same nine must not show them.
func TestCountRepeatedByAnotherAnalysisIsOneNumber(t *testing.T) {
	counted := func(analysis, label string, n int) report.Estimate {
		e := report.Count(analysis+"."+label, analysis, "died first", n, "shoulders")
		e.Cohort, e.Group, e.Endpoint = "main", label, "revision"
		return e
	}
	doc := report.Document{Estimates: []report.Estimate{
		counted("first", "", 52), counted("first", "a", 3), counted("first", "b", 9), counted("first", "c", 40),
		counted("second", "b", 9), counted("second", "c", 40),
	}}
	wantMasked(t, cleared(t, doc, 5), "first.a", "first.b", "second.b")
}
