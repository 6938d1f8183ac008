package analyses

import (
	"fmt"
	"slices"
	"strconv"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/survival"
)

// described is a patient that the plan describes, in the terms of the model.
type described struct {
	plan.Described
	slug    string
	values  []float64 // of the columns of the model
	stratum int
	from    []string // the counts that a prediction rests on
}

// predictions are what the model says about described patients.
type predictions struct {
	*modelled
	people []described
	mask   int // counts below it are hidden
}

// predict predicts for the patients that the plan describes, and returns the table and, over time, the picture.
func (s *modelled) predict(p *plan.Plan) (sheets []report.Sheet, figures []report.Figure, err error) {
	if s.asked.Predict == nil {
		return nil, nil, nil
	}
	out := &predictions{modelled: s, mask: p.Disclosure.MaskBelow}
	if err := out.describe(); err != nil {
		return nil, nil, err
	}
	if s.ofOutcome() {
		sheet, err := out.outcomeSheet()
		return []report.Sheet{sheet}, nil, err
	}
	points, err := out.points(s.asked.Predict.Times)
	if err != nil {
		return nil, nil, err
	}
	figure, any, err := out.figure()
	if any {
		figures = append(figures, figure)
	}
	return []report.Sheet{out.sheet(points)}, figures, err
}

// describe finds the level or value of every patient in every characteristic.
func (s *predictions) describe() error {
	names := make([]string, len(s.asked.Predict.Patients))
	for i, d := range s.asked.Predict.Patients {
		names[i] = d.Name
	}
	for i, id := range slugs(names) {
		d := described{Described: s.asked.Predict.Patients[i], slug: id, from: []string{s.usedID(), s.eventID()}}
		parts := map[*term][]float64{}
		for _, t := range s.terms {
			values, err := s.valuesOf(&d, t, parts)
			if err != nil {
				return err
			}
			parts[t] = values
			d.values = append(d.values, values...)
		}
		if s.asked.Strata != "" {
			level, err := s.levelOf(&d, s.asked.Strata, plan.Covariate{Field: s.asked.Strata}, s.strata.labels)
			if err != nil {
				return err
			}
			d.stratum = level
		}
		s.people = append(s.people, d)
	}
	return nil
}

// valuesOf returns the values of the columns of a term for a patient.
func (s *predictions) valuesOf(d *described, t *term, parts map[*term][]float64) ([]float64, error) {
	if t.between[0] != nil {
		var out []float64
		for _, x := range parts[t.between[0]] {
			for _, y := range parts[t.between[1]] {
				out = append(out, x*y)
			}
		}
		return out, nil
	}
	if t.levels == nil {
		x, err := strconv.ParseFloat(d.Values[t.field], 64)
		if err != nil {
			return nil, err
		}
		if t.asked.Knots > 0 && t.knots != nil {
			return covariates.SplineAt(x, t.knots), nil
		}
		return []float64{x}, nil
	}
	level, err := s.levelOf(d, t.field, t.asked, t.levels)
	if err != nil {
		return nil, err
	}
	for i, e := range t.effects {
		if e.counted && (i == level || e.reference) {
			d.from = append(d.from, s.effectID("shoulders", t, e), s.effectID("events", t, e))
		}
	}
	return t.effects[level].weights, nil
}

// levelOf finds the level of a patient among those of a characteristic.
func (s *predictions) levelOf(d *described, field string, asked plan.Covariate, levels []string) (int, error) {
	code := d.Values[field]
	label, labelled := asked.Labels[code]
	if column := s.cohort.Registry.Column(field, s.cohort.Definition.Indication); !labelled && column != nil {
		label = column.Field.Label(code)
	}
	if len(asked.Bands) > 0 {
		x, err := strconv.ParseFloat(code, 64)
		if err != nil {
			return 0, err
		}
		if label, err = s.bandOf(field, asked, x); err != nil {
			return 0, err
		}
	}
	at := slices.IndexFunc(levels, func(l string) bool { return l == label || l == code })
	if at < 0 {
		return 0, &schemas.Problem{Kind: schemas.PlanProblem, Where: d.Place,
			What:    fmt.Sprintf("no shoulder that the model is made from has the level %q of %q, which the patient %q is to have", code, field, d.Name),
			Allowed: joinWords(levels), Remedy: "describe a patient like some of the cohort"}
	}
	return at, nil
}

// bandOf names the band that a value lies in: bands are called by their number, and the one that is put in front is named first.
func (s *predictions) bandOf(field string, asked plan.Covariate, x float64) (string, error) {
	band := 1
	for _, bound := range asked.Bands {
		if x >= bound {
			band++
		}
	}
	_, labels, empty, err := s.cohort.Groups(cohorts.Grouping{By: field, Bands: asked.Bands, Order: []string{strconv.Itoa(band)}, Place: s.asked.Place})
	if err != nil || len(empty) > 0 {
		return "", err
	}
	return labels[0], nil
}

// free says whether the prediction is of being free of the endpoint, and not of having come to it.
func (s *predictions) free() bool { return s.asked.Model == plan.HazardModel }

func (s *predictions) measure() string {
	if s.free() {
		return "predicted probability of being free of the endpoint"
	}
	return "predicted cumulative incidence"
}

// at predicts at some times for everybody; nil where the model has no predictions.
func (s *predictions) at(times []float64) ([][]survival.Point, error) {
	if s.noPrediction() != "" {
		return nil, nil
	}
	days := make([]float64, len(times))
	for i, t := range times {
		days[i] = s.days(t)
	}
	if s.fit.incidence != nil {
		values := make([][]float64, len(s.people))
		for i, d := range s.people {
			values[i] = d.values
		}
		return s.fit.incidence.Incidence(values, days, s.asked.Level, survival.LogLog)
	}
	requests := make([]hazards.Request, len(s.people))
	for i, d := range s.people {
		requests[i] = hazards.Request{Values: d.values, Stratum: d.stratum}
	}
	return s.fit.hazard.Predict(requests, days, s.asked.Level, survival.LogLog)
}

// noPrediction says why the model has no predictions.
func (s *predictions) noPrediction() string {
	if s.fit.why == "" && s.fit.hazard != nil && s.asked.Ties == plan.ExactTies {
		return "under the exact partial likelihood time is discrete, and there is no curve; ask for Efron's ties"
	}
	return s.fit.why
}

func (s *predictions) id(d described, t float64) string {
	return s.modelled.id("predicted", d.slug, s.timeMark(t))
}

// points records the predictions at the times asked for, by patient and time.
func (s *predictions) points(times []float64) ([][]string, error) {
	points, err := s.at(times)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	ids := make([][]string, len(s.people))
	for i, d := range s.people {
		for k, t := range times {
			e := s.followed.at(s.estimatedIn(s.id(d, t), d.Name, s.measure(), report.UnitProbability), t)
			e.Method += s.formOf(s.fit) + "; " + s.predictionMethod()
			if points == nil {
				e.Status, e.Note = s.fit.status, s.noPrediction()
				if e.Status == report.Estimated {
					e.Status = report.NotIdentifiable
				}
			} else {
				s.settlePoint(&e, points[i][k])
			}
			ids[i] = append(ids[i], s.add(e))
			s.derivedFrom(e.ID, d.from...)
		}
	}
	return ids, nil
}

func (s *predictions) predictionMethod() string {
	if s.free() {
		return "exp(−cumulative hazard), interval on the complementary log-log scale"
	}
	return "1 − exp(−cumulative subdistribution hazard), interval on the complementary log-log scale"
}

// settlePoint fills in a prediction, or says why there is none.
func (s *predictions) settlePoint(e *report.Estimate, p survival.Point) {
	switch p.Status {
	case survival.Estimated, survival.NoEvents:
		s.settleValue(e, measure{}, p)
	case survival.BeyondFollowUp:
		e.Status, e.Note = report.BeyondFollowUp, "nobody was followed so long; ask for an earlier time, or for a projection"
	default:
		e.Status, e.Note = report.NotIdentifiable, "nobody is under observation at this time; ask for another time"
	}
}

// sheet shows the predictions of everybody.
func (s *predictions) sheet(ids [][]string) report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-predicted", Title: s.predictionTitle(), Columns: []string{"Patient"}}
	for _, t := range s.asked.Predict.Times {
		sheet.Columns = append(sheet.Columns, plain(t)+" "+unitWord(string(s.asked.Unit), t))
	}
	for i, d := range s.people {
		row := report.SheetRow{Label: d.Name}
		for _, id := range ids[i] {
			row.Cells = append(row.Cells, report.Cell(say(inTable(id))))
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	sheet.Notes = []report.Text{report.Words(s.predictionNote())}
	return sheet
}

func (s *predictions) predictionTitle() string {
	if s.free() {
		return "Predicted probability of being free of " + s.endpoint.Label
	}
	return "Predicted cumulative incidence of " + s.endpoint.Label
}

func (s *predictions) predictionNote() string {
	note := "What the model says of patients described by their values, with " + plain(100*s.asked.Level) + "% intervals for the mean of many like them: it is no forecast for one " +
		"person, and holds as far as the model does."
	if s.free() && len(s.episodes.Causes) > 1 {
		note += " It supposes that nobody " + s.competingWords(" or ") + " first; how many really come to the endpoint is the cumulative incidence."
	}
	if s.asked.Groups.Landmark > 0 {
		note += " Time runs from the operation, for those still under observation at " + s.landmark() + "."
	}
	return note
}

// gridPoints is how many points a predicted curve is drawn through: evenly spaced, so that no step shows a single day.
const gridPoints = 48

// figure draws the predicted curves with their intervals, as far as enough were at risk.
func (s *predictions) figure() (report.Figure, bool, error) {
	until := s.asked.Predict.Until
	times := make([]float64, gridPoints+1)
	for i := range times {
		times[i] = until * float64(i) / gridPoints
	}
	points, err := s.at(times)
	if err != nil || points == nil {
		return report.Figure{}, false, err
	}
	f := report.Figure{ID: s.asked.ID + "-predicted", Title: s.predictionTitle(), X: report.Axis{Label: sentence(string(s.asked.Unit)) + " since the index procedure",
		Unit: string(s.asked.Unit), Max: until, Ticks: ticksTo(until)}}
	highest := 0.0
	for i, d := range s.people {
		c := s.curve(d, times, points[i])
		c.Style = i
		for _, step := range c.Steps {
			highest = max(highest, step.Y, step.Upper.X)
		}
		if len(c.Steps) > 1 {
			f.Curves = append(f.Curves, c)
		}
	}
	name := measure{slug: "incidence", name: s.measure()}
	if s.free() {
		name.slug = "free"
	}
	f.Y = s.yAxis(name, highest)
	f.Alt = f.Title + ", against " + string(s.asked.Unit) + " since the index procedure: one line for each described patient. The table gives the values."
	f.Notes = []report.Text{report.Words("Lines are what the model says; shaded are " + plain(100*s.asked.Level) + "% intervals, for each time taken by itself. A line ends where " +
		"fewer than " + strconv.Itoa(s.enough()) + " shoulders were at risk.")}
	return f, len(f.Curves) > 0, nil
}

// enough is how many must be at risk for a predicted curve to go on.
func (s *predictions) enough() int { return max(fewAtRisk, s.mask) }

func (s *predictions) curve(d described, times []float64, points []survival.Point) report.Curve {
	c := report.Curve{Group: d.Name, Measure: s.measure(), Sloping: true, End: "end of the figure"}
	for i, p := range points {
		if p.Status != survival.Estimated && p.Status != survival.NoEvents || p.AtRisk < int64(s.enough()) {
			c.End = "too few at risk beyond this point"
			break
		}
		step := report.Step{X: times[i], Y: p.Value}
		if p.Limits == survival.Estimated {
			step.Lower, step.Upper = report.Some(p.Lower), report.Some(p.Upper)
		}
		c.Steps, c.EndX = append(c.Steps, step), times[i]
	}
	for _, t := range s.asked.Predict.Times {
		c.Estimates = append(c.Estimates, s.id(d, t))
	}
	return c
}

// outcomeSheet shows the predicted chances, or rates, of everybody.
func (s *predictions) outcomeSheet() (report.Sheet, error) {
	unit, title, factor := report.UnitProbability, "Predicted probability of "+s.what(), 1.0
	if s.asked.Model == plan.RateModel {
		title, unit = "Predicted number of events of "+s.endpoint.Label, "per shoulder"
		if s.years != nil && s.asked.Outcome == nil {
			title, unit, factor = "Predicted rate of "+s.endpoint.Label, "per 100 prosthesis-years", 100
		} else if s.years != nil {
			unit = "per unit of time"
		}
	}
	sheet := report.Sheet{ID: s.asked.ID + "-predicted", Title: title, Columns: []string{"Patient", sentence(unit)}, Notes: []report.Text{report.Words(s.predictionNote())}}
	if unit == report.UnitProbability {
		sheet.Columns[1] = "Probability"
	}
	for _, d := range s.people {
		e := s.estimatedIn(s.modelled.id("predicted", d.slug), d.Name, "predicted "+map[bool]string{true: "probability", false: "number of events"}[unit == report.UnitProbability], unit)
		e.Method += s.formOf(s.fit) + "; interval on the scale of the model"
		if s.fit.why != "" {
			e.Status, e.Note = s.fit.status, s.fit.why
		} else {
			x, err := s.fit.outcome.Predict(d.values, 0, s.asked.Level)
			if err != nil {
				return sheet, err
			}
			mean := func(eta float64) float64 { return factor * s.fit.outcome.Mean(eta) }
			e.Value, e.Lower, e.Upper, e.Level = report.Some(mean(x.Estimate)), finite(mean(x.Lower)), finite(mean(x.Upper)), report.Some(s.asked.Level)
		}
		s.derivedFrom(s.add(e), d.from...)
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: d.Name, Cells: []report.Cell{report.Cell(say(inTable(e.ID)))}})
	}
	return sheet, nil
}

// predictionSentence says the last of the predictions of the first patients.
func (s *modelled) predictionSentence() []report.Text {
	p := s.asked.Predict
	if p == nil || s.fit.why != "" {
		return nil
	}
	var parts []report.Text
	for i, name := range s.patientSlugs() {
		id := s.id("predicted", name)
		if len(p.Times) > 0 {
			id = s.id("predicted", name, s.timeMark(p.Times[len(p.Times)-1]))
		}
		if len(parts) < answerRoom && s.get(id).Value.Known {
			parts = append(parts, say(withInterval(id), " ("+p.Patients[i].Name+")"))
		}
	}
	if len(parts) == 0 {
		return nil
	}
	start := "The model predicts a probability of being free of " + s.endpoint.Label + " of "
	switch {
	case s.asked.Model == plan.IncidenceModel:
		start = "The model predicts a cumulative incidence of " + s.endpoint.Label + " of "
	case s.asked.Model == plan.OddsModel:
		start = "The model predicts a probability of " + s.what() + " of "
	case s.asked.Model == plan.RateModel:
		start = "The model predicts for " + s.endpoint.Label + " "
	}
	if len(p.Times) > 0 {
		t := p.Times[len(p.Times)-1]
		start = "At " + plain(t) + " " + unitWord(string(s.asked.Unit), t) + ", t" + start[1:]
	}
	return []report.Text{say(start, join(parts), ".")}
}

func (s *modelled) patientSlugs() []string {
	names := make([]string, len(s.asked.Predict.Patients))
	for i, d := range s.asked.Predict.Patients {
		names[i] = d.Name
	}
	return slugs(names)
}

// predictionText is the method of predictions.
func (s *modelled) predictionText() []report.Text {
	switch {
	case s.asked.Predict == nil || s.fit.why != "":
		return nil
	case s.ofOutcome():
		return []report.Text{report.Words("Predictions are those of the model at the values described, with intervals made on its own scale.")}
	case s.asked.Model == plan.IncidenceModel:
		return []report.Text{report.Words("Predicted cumulative incidences rest on the model's cumulative subdistribution hazard; their variance is that of the influences of " +
			"shoulders on it, the estimated weights included (Fine and Gray, section 5).")}
	}
	return []report.Text{report.Words("Predicted probabilities rest on the model's cumulative hazard, estimated with the same method of ties; their variance is that of Link " +
		"(Biometrics 1984;40:601) and Tsiatis (Ann Stat 1981;9:93), with the variance of the model's coefficients.")}
}

// meanTable shows the mean time free of the endpoint of each group up to the horizon, which needs no ratio of hazards.
func (s *modelled) meanTable(p *plan.Plan, c *cohorts.Cohort) (sheet report.Sheet, any bool, err error) {
	if s.asked.Horizon == 0 || s.asked.Model != plan.HazardModel {
		return sheet, false, nil
	}
	asked := s.asked
	asked.Times, asked.Until = []float64{s.asked.Horizon}, s.asked.Horizon
	f, err := follow(s.book, p, c, asked)
	if err != nil {
		return sheet, false, err
	}
	f.variant = ".groups"
	if err := f.count(); err != nil {
		return sheet, false, err
	}
	f.countEstimates()
	f.risks(asked.Times)
	compare := &comparison{followed: f}
	sheet, any, err = compare.meanSheet()
	if any {
		sheet.Notes = append(sheet.Notes, report.Words("All shoulders of each group count, also those that the model leaves out, and nothing is adjusted for; the first group is the reference."))
	}
	return sheet, any, err
}
