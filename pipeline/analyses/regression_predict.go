package analyses

import (
	"fmt"
	"strconv"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/hazards"
	"deltoid/stats/survival"
)

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

// means shows the mean time free of the endpoint of each group up to the horizon, which needs no ratio of hazards.
func (s *modelled) means(p *plan.Plan) ([]report.Sheet, []report.Figure, error) {
	if s.asked.Horizon == 0 || s.asked.Model != plan.HazardModel {
		return nil, nil, nil
	}
	asked := s.asked
	asked.Times, asked.Until = []float64{s.asked.Horizon}, s.asked.Horizon
	f, err := follow(s.book, p, s.cohort, asked)
	if err != nil {
		return nil, nil, err
	}
	f.variant = ".groups"
	if err := f.count(); err != nil {
		return nil, nil, err
	}
	f.countEstimates()
	f.risks(asked.Times)
	compare := &comparison{followed: f}
	sheet, any, err := compare.meanSheet()
	if err != nil || !any {
		return nil, nil, err
	}
	sheet.Notes = append(sheet.Notes, report.Words("All shoulders of each group count, also those that the model leaves out, and nothing is adjusted for; the first group is the reference."))
	return []report.Sheet{sheet}, nil, nil
}
