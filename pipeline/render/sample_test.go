package render

import (
	"fmt"
	"math"
	"strings"

	"deltoid/pipeline/report"
)

// sampleGroup is one group of the invented report: its label and how fast its curve rises.
type sampleGroup struct {
	label string
	n     int
	early float64
	late  float64
	years float64 // of follow-up
}

var threeGroups = []sampleGroup{
	{"Osteoarthritis with a deficient cuff", 4120, 0.009, 0.0036, 10},
	{"Cuff-tear arthropathy", 3275, 0.011, 0.0046, 10},
	{"Proximal humerus fracture", 1894, 0.021, 0.0048, 8.2},
}

// sample builds an invented report of the given groups: a participant flow, cumulative revision with its table, and
// survival free of revision. The numbers follow from a smooth law, not from data.
func sample(groups []sampleGroup, steps int) report.Document {
	s := sampler{steps: steps, groups: groups}
	s.doc = report.Document{Study: "north-water", Title: "Reverse shoulder replacement by indication", Invented: true,
		About:   "Primary reverse shoulder replacements of the invented North Water registry, operated on from 2012 to 2021.",
		DataCut: "31 December 2022", Version: "0.1.0",
		Cautions: []string{
			"A summary of a cohort for research and audit, not advice for one patient.",
			"Local ethics, data-protection and reporting rules come first.",
			"Decisions belong to licensed clinicians."}}
	s.flow()
	s.curves("cumulative-revision", "Cumulative revision", "How many shoulders are revised, given that patients may die first?",
		"cumulative incidence of revision", false)
	s.curves("survival-revision", "Survival free of revision", "How long does the implant last in patients who live on?",
		"survival free of revision", true)
	s.lead()
	return s.doc
}

type sampler struct {
	doc    report.Document
	steps  int
	groups []sampleGroup
}

func (s *sampler) add(e report.Estimate) string {
	if e.Status == "" {
		e.Status = report.Estimated
	}
	s.doc.Estimates = append(s.doc.Estimates, e)
	return e.ID
}

func (s *sampler) count(id, measure string, n int, unit string) report.Span {
	return report.Span{Estimate: s.add(report.Count(id, "flow", measure, n, unit))}
}

func (s *sampler) flow() {
	kept := func(id string, shoulders, patients int) []report.Span {
		return []report.Span{s.count(id+".shoulders", "shoulders", shoulders, "shoulders"), {Words: " shoulders of "},
			s.count(id+".patients", "patients", patients, "patients"), {Words: " patients"}}
	}
	left := func(id, reason string, n int) report.Leave {
		return report.Leave{Reason: reason, Count: []report.Span{s.count("flow.left."+id, "shoulders", n, "shoulders"),
			{Words: " shoulders"}}}
	}
	s.doc.Sections = append(s.doc.Sections, report.Section{ID: "participant-flow", Heading: "Participant flow",
		Question: "Who is counted, and who is not?",
		Answer:   []report.Text{{{Words: "The report counts "}, {Estimate: "flow.cohort.shoulders"}, {Words: " shoulders of "}, {Estimate: "flow.cohort.patients"}, {Words: " patients."}}},
		Figures: []report.Figure{{ID: "flow", Title: "From the exports to the cohort",
			Alt: "A column of three boxes: procedures read, reverse replacements, and the cohort, with those who left between them.",
			Boxes: []report.Box{
				{Label: "Procedures in the export", Kept: kept("flow.read", 12480, 11020), Left: []report.Leave{
					left("other", "Another kind of procedure (anatomic total, hemiarthroplasty, plate fixation)", 2871),
					left("side", "No side recorded", 14)}},
				{Label: "Primary reverse shoulder replacements", Kept: kept("flow.primary", 9595, 8820), Left: []report.Leave{
					left("indication", "Indication other than the three of this report", 306)}},
				{Label: "The cohort", Kept: kept("flow.cohort", 9289, 8541)},
			}}}})
}

// risk is the chance of revision by year t.
func (g sampleGroup) risk(t float64) float64 {
	return 1 - math.Exp(-(g.early*(1-math.Exp(-1.5*t)) + g.late*t))
}

func (s *sampler) curves(id, heading, question, measure string, survival bool) {
	top := 0.12
	y := report.Axis{Label: "Shoulders revised (%)", Unit: report.UnitProbability, Max: top, Ticks: []float64{0, 0.02, 0.04, 0.06, 0.08, 0.1, 0.12}}
	if survival {
		y = report.Axis{Label: "Survival free of revision (%)", Unit: report.UnitProbability, Min: 1 - top, Max: 1, Ticks: []float64{0.88, 0.9, 0.92, 0.94, 0.96, 0.98, 1}}
	}
	f := report.Figure{ID: id, Title: heading + " by indication, with 95% intervals",
		Alt: "Three step curves over ten years with bands. The curve of fractures parts from the others in the first year.",
		X:   report.Axis{Label: "Years since operation", Unit: report.UnitYears, Max: 10, Ticks: []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}}, Y: y}
	sheet := report.Sheet{ID: id + "-table", Title: heading + " at 1, 5 and 10 years", Columns: []string{"Indication", "Shoulders", "Revised", "1 year", "5 years", "10 years"},
		Notes: []report.Text{{{Words: "Cells show the estimate and its "}, {Estimate: fmt.Sprintf("%s.%d.1y", id, 0), Show: report.ShowLevel}, {Words: " interval, complementary log-log scale."}}}}
	sheet.Rows = append(sheet.Rows, report.SheetRow{Label: "By indication", Strong: true, Cells: make([]report.Cell, 5)})
	for i, g := range s.groups {
		f.Curves = append(f.Curves, g.curve(i, s.steps, measure, survival))
		f.AtRisk = append(f.AtRisk, s.riskRow(id, i, g, f.X.Ticks))
		sheet.Rows = append(sheet.Rows, s.row(id, i, g, measure, survival))
	}
	s.doc.Sections = append(s.doc.Sections, report.Section{ID: id + "-section", Heading: heading, Question: question,
		Answer: []report.Text{{{Words: "After fracture, "}, {Estimate: fmt.Sprintf("%s.%d.5y", id, len(s.groups)-1), Show: report.ShowWithInterval},
			{Words: " at "}, {Estimate: fmt.Sprintf("%s.%d.5y", id, len(s.groups)-1), Show: report.ShowAt}, {Words: "."}}},
		Figures: []report.Figure{f}, Sheets: []report.Sheet{sheet},
		Method: []report.Text{report.Words("Follow-up runs in whole days from the index procedure to the first of revision, death and the data cut. Death is a competing event. Intervals are on the complementary log-log scale.")},
		Notes:  []report.Text{report.Words("Numbers at risk at a time count the shoulders that could have the event at that time.")}})
}

func (g sampleGroup) curve(i, steps int, measure string, survival bool) report.Curve {
	c := report.Curve{Group: g.label, Measure: measure, EndX: g.years, End: "last shoulder at risk", Style: i}
	for k := range steps {
		t := g.years * float64(k) / float64(steps)
		p := g.risk(t)
		half := 1.96 * math.Sqrt(p*(1-p)/float64(g.n)*(1+t/4))
		s := report.Step{X: t, Y: p, Lower: report.Some(max(0, p-half)), Upper: report.Some(p + half*1.1)}
		if survival {
			s = report.Step{X: t, Y: 1 - p, Lower: report.Some(1 - p - half*1.1), Upper: report.Some(min(1, 1-p+half))}
		}
		c.Steps = append(c.Steps, s)
	}
	return c
}

func (s *sampler) riskRow(id string, i int, g sampleGroup, ticks []float64) report.RiskRow {
	row := report.RiskRow{Group: g.label}
	for _, t := range ticks {
		n := int(float64(g.n) * max(0, 1-t/(g.years+0.6)))
		e := report.Count(fmt.Sprintf("%s.%d.at-risk.%gy", id, i, t), "survival", "numbers at risk", n, "shoulders")
		e.Group, e.At, e.AtUnit = g.label, report.Some(t), report.UnitYears
		row.Estimates = append(row.Estimates, s.add(e))
	}
	return row
}

func (s *sampler) row(id string, i int, g sampleGroup, measure string, survival bool) report.SheetRow {
	row := report.SheetRow{Label: g.label, Indent: 1}
	for _, t := range []float64{1, 5, 10} {
		p := g.risk(t)
		e := report.Estimate{ID: fmt.Sprintf("%s.%d.%gy", id, i, t), Analysis: "survival", Endpoint: "revision", Cohort: "north-water",
			Group: g.label, Measure: measure, At: report.Some(t), AtUnit: report.UnitYears, Level: report.Some(0.95),
			N: report.Some(float64(g.n)), Events: report.Some(math.Round(p * float64(g.n) * 0.6)), Unit: report.UnitProbability, Method: "Aalen–Johansen, complementary log-log interval"}
		half := 1.96 * math.Sqrt(p*(1-p)/float64(g.n)*(1+t/4))
		e.Value, e.Lower, e.Upper = report.Some(p), report.Some(max(0, p-half)), report.Some(p+half)
		if survival {
			e.Value, e.Lower, e.Upper = report.Some(1-p), report.Some(1-p-half), report.Some(min(1, 1-p+half))
		}
		if t > g.years {
			e.Status, e.Note = report.BeyondFollowUp, fmt.Sprintf("the last shoulder is at risk at %g years", g.years)
			e.Value, e.Lower, e.Upper = report.Optional{}, report.Optional{}, report.Optional{}
		}
		s.add(e)
		if t == 1 {
			row.Cells = append(row.Cells, report.Cell{{Estimate: e.ID, Show: report.ShowN}}, report.Cell{{Estimate: fmt.Sprintf("%s.%d.5y", id, i), Show: report.ShowEvents}})
		}
		row.Cells = append(row.Cells, report.Cell{{Estimate: e.ID, Show: report.ShowValueAndRange}})
	}
	return row
}

func (s *sampler) lead() {
	last := len(s.groups) - 1
	for i, g := range s.groups {
		if i > 0 && i < last || i > 2 {
			continue
		}
		id := fmt.Sprintf("cumulative-revision.%d.5y", i)
		s.doc.Lead = append(s.doc.Lead, report.Text{{Words: strings.ToUpper(g.label[:1]) + g.label[1:] + ": "}, {Estimate: id, Show: report.ShowWithInterval}, {Words: " of shoulders were revised by "}, {Estimate: id, Show: report.ShowAt}, {Words: "."}})
	}
}
