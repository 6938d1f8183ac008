package analyses

import (
	"math"
	"slices"
	"strconv"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/trials"
)

// variant is the study with one assumption changed.
type variant struct {
	slug, words string
	asked       plan.Simulated
	ratios      []plan.RatioFrom
}

// alterations are the neighbouring assumptions that go with what is studied.
func (s *drawn) alterations() []variant {
	var list []variant
	add := func(slug, words string, change func(a *variant)) {
		a := variant{slug, words, s.asked, s.ratios}
		if s.asked.Scores != nil {
			scores := *s.asked.Scores
			a.asked.Scores = &scores
		}
		change(&a)
		list = append(list, a)
	}
	if s.asked.Scores != nil {
		add("effect-two-thirds", "The effect is two thirds", func(a *variant) { a.asked.Scores.Second = s.towards(2.0 / 3) })
		add("sd-larger", "Scores spread by a quarter more", func(a *variant) { a.asked.Scores.SD = scaled(a.asked.Scores.SD, 1.25, math.Inf(1)) })
		if s.asked.Scores.Missing.Share != nil {
			add("missing-double", "Twice as many scores are missing", func(a *variant) {
				a.asked.Scores.Missing.Share = scaled(a.asked.Scores.Missing.Share, 2, 0.95)
			})
		}
		return list
	}
	if s.asked.Margin == 0 {
		add("effect-two-thirds", "The effect is two thirds", func(a *variant) {
			a.ratios = nil
			for _, x := range s.ratios {
				a.ratios = append(a.ratios, plan.RatioFrom{From: x.From, Ratio: math.Pow(x.Ratio, 2.0/3)})
			}
		})
	}
	add("events-two-thirds", "Only two thirds as many come to the event", func(a *variant) {
		a.asked.Curve = nil
		for _, p := range s.asked.Curve {
			a.asked.Curve = append(a.asked.Curve, plan.ShareBy{By: p.By, Share: -math.Expm1(2.0 / 3 * math.Log1p(-p.Share))})
		}
	})
	if s.asked.Loss > 0 {
		add("loss-double", "Twice as many are lost", func(a *variant) { a.asked.Loss = min(2*a.asked.Loss, 0.99) })
	}
	if s.asked.Deaths > 0 {
		add("deaths-double", "Twice as many die", func(a *variant) { a.asked.Deaths = min(2*a.asked.Deaths, 0.99) })
	}
	if s.asked.Recruitment > 0 {
		add("recruitment-slower", "Recruitment takes half as long again", func(a *variant) { a.asked.Recruitment *= 1.5 })
	}
	return list
}

// towards are the means of the second group with a share of the effect.
func (s *drawn) towards(share float64) []float64 {
	x := s.asked.Scores
	out := make([]float64, len(x.Second))
	for v := range out {
		out[v] = x.First[v] + share*(x.Second[v]-x.First[v])
	}
	return out
}

func scaled(list []float64, by, most float64) []float64 {
	out := make([]float64, len(list))
	for i, x := range list {
		out[i] = min(x*by, most)
	}
	return out
}

// neighbours shows what the study would find if the assumptions were wrong.
func (s *drawn) neighbours() (report.Sheet, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-neighbours", Title: "If the assumptions are wrong", Columns: []string{"What if", "Power"},
		Notes: []report.Text{report.Words("The same number of patients, up to " + strconv.Itoa(min(s.asked.Replicates, searchStudies)) + " simulated studies each, with the 95% interval of the simulation.")}}
	sheet.Rows = append(sheet.Rows, report.SheetRow{Label: "As planned", Strong: true, Cells: []report.Cell{report.Cell(say(inTable(s.id("power-simulated"))))}})
	for _, a := range s.alterations() {
		r, err := s.simulate(a.asked.Design(s.patients, a.ratios), searchStudies)
		if err != nil {
			return sheet, err
		}
		id := s.share(s.id("if", a.slug), "power: "+inSentence(a.words), r.Power, r)
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: a.words, Cells: []report.Cell{report.Cell(say(inTable(id)))}})
	}
	label := "There is no effect"
	if s.asked.Margin > 0 {
		label = "The second group is worse by the margin"
	}
	sheet.Rows = append(sheet.Rows, report.SheetRow{Label: label, Cells: []report.Cell{report.Cell(say(inTable(s.id("found-without-effect"))))}})
	return sheet, nil
}

// lookSheet shows the limits of the looks and what happens at them.
func (s *drawn) lookSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-looks", Title: "Looks at the study while it goes on",
		Columns: []string{"Look", sentence(s.lookUnit()), "Share of the information", "Limit for z", "p at the limit", "After (years)", "Stopped by then", "Stopped by then without an effect"}}
	for k := range s.result.Looks {
		n := "look-" + strconv.Itoa(k+1)
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: strconv.Itoa(k + 1), Cells: []report.Cell{number(s.id(n, "at")), number(s.id(n, "information")), number(s.id(n, "limit")), number(s.id(n, "p")),
			number(s.id(n + ".time")), number(s.id(n, "stopped")), number(s.id(n, "stopped-without-effect"))}})
	}
	sheet.Notes = []report.Text{say("The times are means over the studies that came to a look. ", value(s.id("short")), " of the studies end before the last look's number is there; all they have is then analysed against the last limit.")}
	return sheet
}

// seenSheet shows what the study sees.
func (s *drawn) seenSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-seen", Title: "What the study sees", Columns: []string{"Expected", "Value"}}
	for _, row := range [][2]string{{"patients", "Patients"}, {"shoulders", "Shoulders"}, {"events", "Events"}, {"deaths", "Shoulders whose patient dies before"}, {"losses", "Shoulders lost before"},
		{"scores-seen", "With a score at the last visit"}, {"length", "Length of the study"}, {"power-simulated", "Power"}, {"power-error", "Monte-Carlo error of the power"}, {"failed", "Studies without a verdict"}} {
		if _, there := s.seen[s.id(row[0])]; there {
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: row[1], Cells: []report.Cell{report.Cell(say(inTable(s.id(row[0]))))}})
		}
	}
	sheet.Notes = []report.Text{report.Words("Means over the simulated studies, as of their end.")}
	return sheet
}

// assumedSheet lists every assumption.
func (s *drawn) assumedSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-assumptions", Title: "Assumptions", Columns: []string{"Assumption", "Value"}}
	prefix := s.id("assumed") + "."
	for _, e := range s.doc.Estimates {
		if len(e.ID) > len(prefix) && e.ID[:len(prefix)] == prefix {
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(e.Measure), Cells: []report.Cell{report.Cell(say(shown{e.ID, report.ShowGiven}))}})
		}
	}
	return sheet
}

// sizeFigure draws power against size. With looks the size does not decide, the events do.
func (s *drawn) sizeFigure() (report.Figure, bool, error) {
	if s.asked.Looks != nil {
		return report.Figure{}, false, nil
	}
	last := 1.5 * float64(s.patients)
	f := report.Figure{ID: s.asked.ID + "-by-size", Title: "Power against size (" + s.asked.ID + ")", X: report.Axis{Label: "Patients", Unit: "patients", Max: last, Ticks: ticksTo(last)},
		Y: report.Axis{Label: "Power", Unit: report.UnitProbability, Max: 1, Ticks: []float64{0, 0.2, 0.4, 0.6, 0.8, 1}}}
	c := report.Curve{Group: "As assumed", Measure: "power", Sloping: true, EndX: last, End: "end of the figure"}
	for _, n := range s.sizesAround() {
		design := s.asked.Design(n, s.ratios)
		if design.Check() != nil {
			continue
		}
		r := s.result
		if n != s.patients {
			var err error
			if r, err = s.simulate(design, searchStudies); err != nil {
				return f, false, err
			}
		}
		if r.Status == trials.NoVerdicts {
			continue
		}
		id := s.share(s.id("by-size", strconv.Itoa(n)), "power with "+strconv.Itoa(n)+" patients", r.Power, r)
		e := s.get(id)
		c.Steps = append(c.Steps, report.Step{X: float64(n), Y: e.Value.X, Lower: e.Lower, Upper: e.Upper})
		c.Estimates = append(c.Estimates, id)
	}
	f.Curves = []report.Curve{c}
	f.Alt = f.Title + ": one line that rises with the number of patients."
	f.Notes = []report.Text{report.Words("The band is what the simulation leaves open, 95%.")}
	return f, len(c.Steps) > 1, nil
}

// sizesAround are the numbers of patients of the figure, from a quarter to one and a half times those planned, each once:
// of a study of a few patients several shares are the same number.
func (s *drawn) sizesAround() []int {
	var sizes []int
	for _, share := range []float64{0.25, 0.5, 0.75, 1, 1.25, 1.5} {
		sizes = append(sizes, max(2, int(math.Round(share*float64(s.patients)))))
	}
	return slices.Compact(sizes)
}
