package analyses

import (
	"math"
	"strconv"

	"deltoid/pipeline/report"
	"deltoid/stats/dist"
)

func (s *checked) spread() float64 { return dist.NormalSpread(s.asked.Level) }

func (s *checked) validationHeading() string {
	what := "Risk of " + s.endpoint.Label + " by " + s.horizonWords() + ": "
	if s.asked.Given != nil {
		return what + "the model of " + s.asked.Given.Source + " held against this cohort" + s.chosen()
	}
	return what + "how good a model made here is" + s.chosen()
}

// scoreSheet shows every number of the validation, and beside it what is left after the optimism is taken off.
func (s *checked) scoreSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-scores", Title: "Predicted risks against what happened by " + s.horizonWords(), Columns: []string{"", "In these data", "Ideal"}}
	row := func(label, slug, ideal string) {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: label, Cells: []report.Cell{report.Cell(say(inTable(s.id(slug)))), report.Cell(report.Words(ideal))}})
	}
	head := func(label string) {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: label, Strong: true, Cells: make([]report.Cell, 2)})
	}
	head("Calibration: are the risks right?")
	row("Observed risk", "observed", "")
	row("Mean predicted risk", "expected", "")
	row("Observed / predicted", "observed-by-expected", "1")
	row("Intercept (log odds)", "intercept", "0")
	row("Slope", "slope", "1")
	row("Integrated calibration index", "ici", "0")
	row("Median distance", "e50", "0")
	row("Ninth decile of the distance", "e90", "0")
	head("Discrimination: are they in the right order?")
	row("Area under the curve at "+s.horizonWords(), "auc", "100%")
	row("Concordance up to "+s.horizonWords(), "concordance", "100%")
	head("Both")
	row("Brier score", "brier", "0")
	row("Scaled Brier score", "brier-scaled", "1")
	if !s.corrected() {
		return sheet
	}
	sheet.Columns = append(sheet.Columns, "Apparent", "Optimism", "Corrected")
	for i := range sheet.Rows {
		sheet.Rows[i].Cells = append(sheet.Rows[i].Cells, nil, nil, nil)
	}
	head("Corrected for optimism")
	sheet.Rows[len(sheet.Rows)-1].Cells = make([]report.Cell, 5)
	for _, c := range corrections {
		r := report.SheetRow{Label: sentence(c.measure), Cells: []report.Cell{nil, nil}}
		for _, part := range []string{"apparent", "optimism", "corrected"} {
			r.Cells = append(r.Cells, number(s.id(part, c.slug)))
		}
		sheet.Rows = append(sheet.Rows, r)
	}
	return sheet
}

// validationComplete shows how many shoulders each characteristic costs.
func (s *checked) validationComplete() report.Sheet {
	sheet := s.completeSheet()
	if s.why != "" {
		return sheet
	}
	for _, r := range []struct{ label, id string }{
		{"With the endpoint by " + s.horizonWords(), s.eventID()}, {"With a competing event by then", s.id("events", "others")},
		{"Under observation then, without an event", s.id("shoulders", "followed-through")},
		{"No longer under observation then", s.id("shoulders", "censored")},
	} {
		if r.label == "With a competing event by then" && len(s.episodes.Causes) == 1 {
			continue
		}
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: r.label, Indent: 1, Cells: []report.Cell{number(r.id)}})
	}
	return sheet
}

// calibration draws observed against predicted risk: groups of similar risk, and a smooth curve.
func (s *checked) calibration() (report.Figure, report.Sheet, bool) {
	if s.why != "" {
		return report.Figure{}, report.Sheet{}, false
	}
	f := report.Figure{ID: s.asked.ID, Title: "Observed against predicted risk of " + s.endpoint.Label + " by " + s.horizonWords()}
	sheet := report.Sheet{ID: s.asked.ID + "-groups", Title: "Groups of similar predicted risk", Columns: []string{"Group", "Shoulders", "Mean predicted risk", "Observed risk"}}
	top := 0.01
	var parts []string
	for i, g := range s.v.Groups {
		name := "Group " + strconv.Itoa(i+1) + " of " + strconv.Itoa(len(s.v.Groups))
		predicted, observed, n := s.riskGroup(i, name)
		parts = append(parts, n)
		f.Marks = append(f.Marks, report.Mark{At: predicted, Estimate: observed})
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: name, Cells: []report.Cell{number(n), number(predicted), report.Cell(say(inTable(observed)))}})
		top = max(top, g.Predicted, g.Observed.Value, g.Observed.Upper)
	}
	if s.modelled.episodes.Last == nil {
		s.total(s.usedID(), parts...)
	}
	f.X, f.Y = s.yAxis(measure{slug: "incidence", name: "predicted risk"}, top), s.yAxis(measure{slug: "incidence", name: "observed risk"}, top)
	f.Curves = append(f.Curves, report.Curve{Group: "As predicted", Measure: "agreement", Guide: true, Sloping: true, EndX: f.X.Max,
		Steps: []report.Step{{}, {X: f.X.Max, Y: f.Y.Max}}})
	if c, any := s.smoothCurve(); any {
		f.Curves = append(f.Curves, c)
	}
	f.Alt = f.Title + ": dots for groups of similar predicted risk with " + plain(100*s.asked.Level) + "% intervals, a smooth curve, and the line on which both agree."
	f.Notes = []report.Text{report.Words("Dots are groups of about equal size by predicted risk, with " + plain(100*s.asked.Level) + "% intervals of the observed risk. The curve is a smooth " +
		"estimate of the observed risk, drawn between the twentieth with the lowest and the twentieth with the highest predicted risks. Below the dashed line the model promises too much risk, above it too little.")}
	return f, sheet, true
}

// riskGroup records one group of similar risk.
func (s *checked) riskGroup(i int, name string) (predicted, observed, n string) {
	g, slug := s.v.Groups[i], "group-"+strconv.Itoa(i+1)
	n = s.countedIn(s.id("shoulders", slug), name, "shoulders by predicted risk", g.N, shoulders)
	p := s.followed.at(s.estimatedIn(s.id("predicted", slug), name, "mean predicted risk", report.UnitProbability), s.asked.Horizon)
	p.Value, p.N, p.Events, p.Method = report.Some(g.Predicted), report.Some(float64(g.N)), report.Optional{}, "mean of the predicted risks"
	o := s.followed.at(s.estimatedIn(s.id("observed", slug), name, "observed risk", report.UnitProbability), s.asked.Horizon)
	o.N, o.Events, o.Method = report.Some(float64(g.N)), report.Some(float64(g.Observed.Events)), s.observedMethod()
	s.settlePoint(&o, g.Observed)
	s.derivedFrom(s.add(p), n)
	return p.ID, s.add(o), n
}

// smoothCurve is the modelled risk, on even steps so that no point is one shoulder.
func (s *checked) smoothCurve() (report.Curve, bool) {
	points := s.v.Curve
	if len(points) < 3 {
		return report.Curve{}, false
	}
	points = points[len(points)/20 : len(points)-len(points)/20]
	c := report.Curve{Group: "Smooth curve", Measure: "observed risk", Sloping: true, Style: 1, End: "twentieth with the highest risks", Estimates: []string{s.id("ici")}}
	low, high := points[0].Predicted, points[len(points)-1].Predicted
	const steps = 40
	at := 0
	for k := range steps + 1 {
		x := low + (high-low)*float64(k)/steps
		for at+2 < len(points) && points[at+1].Predicted < x {
			at++
		}
		a, b := points[at], points[at+1]
		y := a.Observed
		if b.Predicted > a.Predicted {
			y += float64((b.Observed - a.Observed) * (x - a.Predicted) / (b.Predicted - a.Predicted))
		}
		c.Steps, c.EndX = append(c.Steps, report.Step{X: x, Y: math.Min(1, math.Max(0, y))}), x
	}
	return c, high > low
}

// validationAnswer says how good the predictions are, in two sentences.
func (s *checked) validationAnswer() []report.Text {
	if s.why != "" {
		s.short[s.asked.ID] = report.Words("Risk of " + s.endpoint.Label + " by " + s.horizonWords() + ": how good the model is cannot be said; the section says why.")
		return []report.Text{report.Words("The predicted risks cannot be held against what happened: " + s.why + ".")}
	}
	whose := "The model made here"
	if s.asked.Given != nil {
		whose = "The given model"
	}
	texts := []report.Text{say(whose+" predicts a mean risk of ", value(s.id("expected")), " by "+s.horizonWords()+"; observed was ", withInterval(s.id("observed")),
		", which is ", withInterval(s.id("observed-by-expected")), " times the predicted."),
		say("The calibration slope is ", withInterval(s.id("slope")), " (1 is ideal; below it the risks are too extreme), the mean distance between predicted and observed risk ",
			value(s.id("ici")), ", and the area under the curve ", withInterval(s.id("auc")), ".")}
	if s.corrected() {
		texts = append(texts, say("Corrected for the optimism of measuring a model on the shoulders that it was made from, the area under the curve is ", value(s.id("corrected", "auc")),
			", the slope ", value(s.id("corrected", "slope")), " and the scaled Brier score ", value(s.id("corrected", "brier-scaled")), "."))
	}
	s.short[s.asked.ID] = say("Risk of "+s.endpoint.Label+" by "+s.horizonWords()+", observed over predicted: ", inTable(s.id("observed-by-expected")), "; area under the curve ",
		inTable(s.id("auc")), ".")
	return append(texts, say("Risks were predicted for ", value(s.usedID()), " of ", value(s.allID()), " shoulders, ", value(s.eventID()), " of them with the endpoint by then."))
}

// validationMethod is the method, in sentences fit for a paper.
func (s *checked) validationMethod() []report.Text {
	texts := []report.Text{s.timeText()}
	if g := s.asked.Given; g != nil {
		texts = append(texts, report.Words("The risk by "+s.horizonWords()+" is 1 − survival to the power of exp(Σ coefficient × (value − centre)), with the coefficients and the survival given by "+
			g.Source+". Nothing was fitted to this cohort."))
	} else {
		texts = append(texts, report.Words(s.modelText()+"The risk is that of the model by "+s.horizonWords()+"."), report.Words(s.formText()))
	}
	texts = append(texts, report.Words("Shoulders no longer under observation at the horizon speak through those like them: each that is known is weighted by the inverse of its probability of "+
		"staying under observation (Graf and others, Stat Med 1999;18:2529; Gerds and Schumacher, Biom J 2006;48:1029). Intercept and slope are those of a weighted logistic model of the "+
		"log odds predicted; the smooth curve is a model on a natural cubic spline of log(−log(1 − risk)), and its distances from the predicted risks are those of Austin, Harrell and van "+
		"Klaveren (Stat Med 2020;39:2714). The area under the curve is that of Blanche and others (Stat Med 2013;32:5381)"+s.othersClause()+"."))
	if s.corrected() {
		texts = append(texts, report.Words("The model was made again from "+strconv.Itoa(s.asked.Replicates)+" samples of the "+s.sampled()+", drawn with replacement, and measured on its sample and on all "+
			"shoulders; the mean difference is the optimism (Harrell, Lee and Mark, Stat Med 1996;15:361). Characteristics and their forms were taken as given."))
	}
	return texts
}

// sampled is what the bootstrap draws.
func (s *checked) sampled() string {
	if s.clustered {
		return "patients"
	}
	return "shoulders"
}

func (s *checked) othersClause() string {
	if len(s.episodes.Causes) > 1 {
		return ", in which those with a competing event count as free of the endpoint"
	}
	return ""
}

// validationNotes say what the numbers do not.
func (s *checked) validationNotes() []report.Text {
	var notes []report.Text
	switch {
	case s.why != "":
		return nil
	case s.asked.Given != nil:
		notes = append(notes, report.Words("A model can be right on average and wrong for groups: look at the picture before using it elsewhere."))
	case s.corrected():
		notes = append(notes, report.Words("The column “In these data” measures the model on the shoulders that it was made from, where risks are right on average by construction; the corrected numbers are "+
			"what to expect of shoulders like these. Other hospitals need a validation of their own."),
			say("Of the ", value(s.id("samples")), " samples, ", value(s.id("samples-failed")), " had no estimates and are left out of the mean optimism."))
	case s.asked.Groups.Landmark > 0:
		notes = append(notes, report.Words("From a landmark on, the optimism of the model is not taken off: what is shown is what the model appears to do."))
	case s.o != nil:
		notes = append(notes, report.Words("The optimism could not be taken off: "+s.o.Reason+"."))
	}
	if s.asked.Given != nil && len(s.episodes.Causes) > 1 {
		notes = append(notes, report.Words("The given risk is held against the share that came to the endpoint while others came to a competing event first. A model that was made as if nobody "+
			s.competingWords(" or ")+" first predicts more than that."))
	}
	return notes
}
