package analyses

import (
	"fmt"
	"strconv"
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/survival"
)

// projected is one projection while it is being written down.
type projected struct {
	*followed
	fits []parametric // of the groups, in order
}

// parametric is the model of one group, or why there is none.
type parametric struct {
	weibull *hazards.Weibull
	pieces  *hazards.Piecewise
	last    float64 // day of the last exit
	moved   int     // shoulders whose end on day 0 counts as half a day
	why     string
}

// project asks what a parametric curve says, also beyond what was seen.
func project(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	f, err := follow(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	s := &projected{followed: f}
	if err := s.count(); err != nil {
		return report.Section{}, err
	}
	s.countEstimates()
	for i := range s.parts() {
		fit, err := s.fitShape(i)
		if err != nil {
			return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
		}
		s.fits = append(s.fits, fit)
	}
	table, err := s.projectionSheet()
	if err != nil {
		return report.Section{}, err
	}
	section := report.Section{ID: asked.ID, Heading: "Projection: " + s.endpoint.Label + s.projectionBy() + s.chosen(),
		Question: "How many would come to " + s.endpoint.Label + " in the long run, if its hazard went on as a simple law says?",
		Sheets:   []report.Sheet{table, s.shapeSheet()}, Method: s.projectionMethod()}
	figure, any, err := s.projectionFigure(p)
	if err != nil {
		return report.Section{}, err
	}
	if any {
		section.Figures = []report.Figure{figure}
	}
	section.Answer = s.projectionAnswer()
	section.Notes = append(s.projectionNotes(), s.notes()...)
	return section, nil
}

func (s *projected) projectionBy() string {
	if by := s.byWords(); by != "" {
		return ", by " + by
	}
	return ""
}

// fitShape fits the model of one group. Time is counted in half days, so that who leaves on the day of the operation can count
// half a day: a power of time knows nothing of time 0.
func (s *projected) fitShape(group int) (p parametric, err error) {
	e, d := s.episodes, hazards.Data{}
	for i, g := range e.Group {
		if int(g) != group {
			continue
		}
		exit := 2 * e.Exit[i]
		if exit == 0 {
			exit, p.moved = 1, p.moved+1
		}
		d.Exit, d.Cause = append(d.Exit, exit), append(d.Cause, e.Cause[i])
		if e.Entry != nil {
			d.Entry = append(d.Entry, min(2*e.Entry[i], exit-1))
		}
		if s.clustered {
			d.Cluster = append(d.Cluster, e.Patient[i])
		}
		p.last = max(p.last, float64(e.Exit[i]))
	}
	var fit *covariates.Fit
	if s.asked.Shape == plan.PiecewiseShape {
		cuts := make([]float64, len(s.asked.Cuts))
		for i, c := range s.asked.Cuts {
			cuts[i] = 2 * s.days(c)
		}
		if p.pieces, err = hazards.FitPiecewise(d, 1, nil, cuts, s.asked.Level); err == nil {
			fit = &p.pieces.Fit
		}
	} else if p.weibull, err = hazards.FitWeibull(d, 1, nil); err == nil {
		fit = &p.weibull.Fit
	}
	if err != nil || fit.Status == covariates.Converged {
		return p, err
	}
	p.why = "the curve cannot be fitted"
	switch fit.Status {
	case covariates.NoRows:
		p.why = "no shoulder is in this group"
	case covariates.NoEvents:
		p.why = "nobody in this group has come to the endpoint"
	case covariates.TooFewEvents:
		p.why = "too few have come to the endpoint for this shape; ask for fewer cuts, or merge groups"
	}
	return p, nil
}

// at is what the model of a group says at a time of the plan.
func (s *projected) at(p parametric, t float64) (hazards.Extrapolation, error) {
	var out hazards.Extrapolation
	var err error
	if p.pieces != nil {
		out, err = p.pieces.Survival(nil, 2*s.days(t), s.asked.Level)
	} else {
		out, err = p.weibull.Survival(nil, 2*s.days(t), s.asked.Level)
	}
	out.Beyond = s.days(t) > p.last
	return out, err
}

func (s *projected) projectedID(g group, t float64) string {
	return s.id("projected", g.slug, s.timeMark(t))
}

// projectionSheet shows at each time what was seen, as far as there was something to see, and what the curve says.
func (s *projected) projectionSheet() (report.Sheet, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-projected", Title: "1 − survival, seen and projected", Columns: []string{s.groupHeader()}}
	for _, t := range s.asked.Times {
		sheet.Columns = append(sheet.Columns, plain(t)+" "+unitWord(string(s.asked.Unit), t))
	}
	net := measure{slug: "net", name: "1 − survival", method: "1 − product-limit, " + s.limitVariance(), curve: func(g group) curve { return g.limit }, flip: true}
	for i, g := range s.parts() {
		seen := report.SheetRow{Label: "Seen (product-limit)", Indent: 1}
		said := report.SheetRow{Label: "Projected (" + string(s.asked.Shape) + ")", Indent: 1}
		for _, t := range s.asked.Times {
			e, err := s.estimate(net, g, t)
			if err != nil {
				return sheet, err
			}
			seen.Cells = append(seen.Cells, report.Cell(say(inTable(s.add(e)))))
			id, beyond, err := s.projectedEstimate(g, s.fits[i], t)
			if err != nil {
				return sheet, err
			}
			cell := say(inTable(id))
			if beyond {
				cell = append(cell, report.Words(" (extrapolated)")...)
			}
			said.Cells = append(said.Cells, report.Cell(cell))
		}
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: g.label, Strong: true, Cells: make([]report.Cell, len(s.asked.Times))}, seen, said)
	}
	sheet.Notes = []report.Text{report.Words("What is marked as extrapolated lies beyond the follow-up of its group: it is what the curve says, and nothing that was seen. Its interval knows how " +
		"uncertain the curve is, not whether it is the right one.")}
	return sheet, nil
}

// projectedEstimate records what the curve of a group says at a time.
func (s *projected) projectedEstimate(g group, p parametric, t float64) (id string, beyond bool, err error) {
	e := s.followed.at(s.estimated(s.projectedID(g, t), g, "projected 1 − survival", report.UnitProbability), t)
	e.N, e.Events = report.Some(float64(g.n)), report.Some(float64(g.limit.Total))
	e.Method = string(s.asked.Shape) + " hazard, " + s.shapeVariance() + ", interval on the complementary log-log scale"
	if p.why != "" {
		e.Status, e.Note = report.NotIdentifiable, p.why
	} else {
		x, err := s.at(p, t)
		if err != nil {
			return "", false, fmt.Errorf("%s: %w", s.asked.Place, err)
		}
		beyond = x.Beyond
		e.Value = report.Some(1 - x.Value)
		if x.Limits == survival.Estimated {
			e.Lower, e.Upper, e.Level = report.Some(1-x.Upper), report.Some(1-x.Lower), report.Some(s.asked.Level)
		} else {
			e.Note = "no interval: the estimate is exactly 0 or 1"
		}
		if beyond {
			e.Note = strings.TrimPrefix(e.Note+"; extrapolated beyond the follow-up of this group", "; ")
		}
	}
	s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: e.ID, From: []string{s.countID(g, "shoulders"), s.countID(g, "ended-"+slug(string(s.episodes.Causes[0])))}})
	return s.add(e), beyond, nil
}

func (s *projected) shapeVariance() string {
	if s.clustered && s.asked.Shape == plan.WeibullShape {
		return "robust variance, clustered"
	}
	return "model-based variance"
}

// shapeSheet shows the parameters of the curves: the power of time, or the rate of every stretch.
func (s *projected) shapeSheet() report.Sheet {
	if s.asked.Shape == plan.PiecewiseShape {
		return s.pieceSheet()
	}
	sheet := report.Sheet{ID: s.asked.ID + "-shape", Title: "The shape of the hazard", Columns: []string{s.groupHeader(), "Shape"},
		Notes: []report.Text{report.Words("A shape of 1 is a hazard that stays the same; below 1 it falls with time, above 1 it rises.")}}
	for i, g := range s.parts() {
		e := s.estimated(s.id("shape", g.slug), g, "shape of the Weibull hazard", report.UnitRatio)
		e.N, e.Events, e.Method = report.Some(float64(g.n)), report.Some(float64(g.limit.Total)), "Weibull hazard, "+s.shapeVariance()+", interval of the log"
		if p := s.fits[i]; p.why != "" {
			e.Status, e.Note = report.NotIdentifiable, p.why
		} else {
			ratioOf(&e, p.weibull.Effect(len(p.weibull.Names)-1, s.asked.Level))
		}
		s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: e.ID, From: []string{s.countID(g, "shoulders")}})
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: g.label, Cells: []report.Cell{report.Cell(say(inTable(s.add(e))))}})
	}
	return sheet
}

// pieceSheet shows the rate of every stretch.
func (s *projected) pieceSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-shape", Title: "The hazard of each stretch, per 100 prosthesis-years", Columns: []string{s.groupHeader()}}
	from := "0"
	for _, t := range s.asked.Cuts {
		sheet.Columns, from = append(sheet.Columns, from+" to "+plain(t)+" "+string(s.asked.Unit)), plain(t)
	}
	sheet.Columns = append(sheet.Columns, "After "+from+" "+string(s.asked.Unit))
	for i, g := range s.parts() {
		row := report.SheetRow{Label: g.label}
		for k := range s.asked.Cuts {
			row.Cells = append(row.Cells, report.Cell(say(inTable(s.pieceRate(g, s.fits[i], k, sheet.Columns[k+1])))))
		}
		row.Cells = append(row.Cells, report.Cell(say(inTable(s.pieceRate(g, s.fits[i], len(s.asked.Cuts), sheet.Columns[len(s.asked.Cuts)+1])))))
		sheet.Rows = append(sheet.Rows, row)
	}
	return sheet
}

func (s *projected) pieceRate(g group, p parametric, k int, words string) string {
	const halfDaysIn100Years = 2 * yearDays * 100
	piece := p.pieces.Pieces[k]
	e := s.estimated(s.id("rate", g.slug, "part-"+strconv.Itoa(k+1)), g, "hazard, "+inSentence(words), "per 100 prosthesis-years")
	e.N, e.Events, e.Method = report.Some(float64(g.n)), report.Some(float64(piece.Events)), "events / time at risk, exact Poisson interval"
	switch {
	case p.why != "":
		e.Status, e.Note = report.NotIdentifiable, p.why
	case piece.Time == 0:
		e.Status, e.Note = report.NotIdentifiable, "nobody is under observation in this stretch"
	default:
		e.Value, e.Lower, e.Upper, e.Level = report.Some(piece.Rate*halfDaysIn100Years), report.Some(piece.Lower*halfDaysIn100Years), report.Some(piece.Upper*halfDaysIn100Years), report.Some(s.asked.Level)
	}
	s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: e.ID, From: []string{s.countID(g, "shoulders")}})
	return s.add(e)
}
