package analyses

import (
	"fmt"
	"math"
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/change"
)

// discriminating is an account of how well scores tell two kinds of shoulders apart, while it is being written down.
type discriminating struct {
	*scored
	scores   []*candidate
	positive []bool
	rows     []int32 // shoulders of which all is known
	yes, all string  // ids of their counts
	found    string  // what is to be found, in words
}

// candidate is one score.
type candidate struct {
	instrument schemas.Instrument
	values     []float64 // of each shoulder, NaN where not known
	roc        change.ROC
	area       string
}

// discriminationSection asks how well one or two scores tell two kinds of shoulders apart.
func discriminationSection(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	asked.Scores.Instrument = asked.Instruments[0]
	shared, err := newScored(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	s := &discriminating{scored: shared}
	section := report.Section{ID: asked.ID, Heading: "Discrimination: " + scoreTitles(asked.Instruments) + withinWords(asked), Question: "How well do scores tell two kinds of shoulders apart?"}
	if s.visits == nil {
		return s.noScores(section.Heading, section.Question), nil
	}
	known, err := s.outcome(p, c)
	if err != nil {
		return report.Section{}, err
	}
	if err := s.candidates(known); err != nil {
		return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
	}
	sheet, answer, err := s.areas()
	if err != nil {
		return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
	}
	section.Answer, section.Sheets, section.Figures = answer, []report.Sheet{sheet}, s.curves()
	section.Method = []report.Text{report.Words("The area under the receiver operating characteristic curve is the chance that of two shoulders, one of each kind, the score puts the right one in front. Its standard error is that of DeLong, DeLong and Clarke-Pearson (Biometrics 1988;44:837)" + s.clusteredWords() +
		"; two scores are compared on the same shoulders. The direction is that of the scale, never taken from the data, so that an area below one half stays one. Cut points are those of Youden's index; they are found in these data and look better here than elsewhere.")}
	return section, nil
}

// scoreTitles names scores in a heading.
func scoreTitles(codes []string) string {
	var titles []string
	for _, code := range codes {
		i, _ := schemas.InstrumentOf(code)
		titles = append(titles, i.Title)
	}
	return strings.Join(titles, " and ")
}

// outcome says which shoulders are to be found, and of which that is known.
func (s *discriminating) outcome(p *plan.Plan, c *cohorts.Cohort) ([]bool, error) {
	known := make([]bool, len(s.group))
	s.positive = make([]bool, len(s.group))
	q := s.asked.Scores.Positive
	if q.Criterion != nil {
		s.found = "“" + q.Criterion.Label + "”"
		kept, _, err := c.Keep(*q.Criterion)
		if err != nil {
			return nil, err
		}
		at := 0
		for i, shoulder := range c.Shoulders {
			known[i] = true // a missing value never meets a criterion, as everywhere
			for at < len(kept.Shoulders) && kept.Shoulders[at] < shoulder {
				at++
			}
			s.positive[i] = at < len(kept.Shoulders) && kept.Shoulders[at] == shoulder
		}
		return known, nil
	}
	answers, err := s.ask(q.Instrument)
	if err != nil {
		return nil, err
	}
	s.found = "those who answer " + instrumentSpoken(q.Instrument) + " with " + answersFrom(q.Instrument, float64(q.From))
	for i, x := range answers.Value[s.last()] {
		known[i], s.positive[i] = !math.IsNaN(x), x >= float64(q.From)
	}
	return known, nil
}

// answersFrom names an answer, and those that are better where there are any.
func answersFrom(code string, from float64) string {
	i, _ := schemas.InstrumentOf(code)
	words, ok := i.Answer(from)
	if !ok {
		words = plain(from)
	}
	if from < i.Maximum {
		return "“" + words + "” or better"
	}
	return "“" + words + "”"
}

// candidates makes the curve of each score, on the shoulders of which all is known.
func (s *discriminating) candidates(known []bool) error {
	for at, code := range s.asked.Instruments {
		visits := s.visits
		if at > 0 {
			var err error
			if visits, err = s.ask(code); err != nil {
				return err
			}
		}
		i, _ := schemas.InstrumentOf(code)
		values := visits.Value[s.last()]
		if s.before >= 0 {
			values = make([]float64, len(s.group))
			for row := range values {
				values[row] = scoreScale(i).Improvement(visits.Value[s.before][row], visits.Value[s.last()][row])
			}
		}
		s.scores = append(s.scores, &candidate{instrument: i, values: values})
	}
	for i := range s.group {
		whole := known[i]
		for _, x := range s.scores {
			whole = whole && !math.IsNaN(x.values[i])
		}
		if whole {
			s.rows = append(s.rows, int32(i))
		}
	}
	for _, x := range s.scores {
		var err error
		x.roc, err = change.Discrimination(change.Discriminating{Value: taken(x.values, s.rows), Positive: taken(s.positive, s.rows),
			HigherIsPositive: s.before >= 0 || x.instrument.HigherIsBetter(), Patient: taken(s.patient, s.rows)}, s.asked.Level)
		if err != nil {
			return err
		}
	}
	return nil
}

func (s *discriminating) clusteredWords() string {
	if s.patient == nil {
		return ""
	}
	return ", by patient (Obuchowski, Biometrics 1997;53:567)"
}

// areas makes the table and the sentences.
func (s *discriminating) areas() (report.Sheet, []report.Text, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-table", Title: "Finding " + s.found + " at " + s.visitWords(s.last()), Columns: []string{"Score", "Area under the curve", "Cut point", "Sensitivity", "Specificity"}}
	yes := 0
	for _, i := range s.rows {
		if s.positive[i] {
			yes++
		}
	}
	count := func(what, measure string, n int) string {
		e := report.Count(s.id(what), s.asked.ID, measure, n, shoulders)
		e.Cohort = s.cohort.Name
		return s.add(e)
	}
	s.all, s.yes = count("shoulders", "shoulders of which all is known", len(s.rows)), count("positive", "to be found", yes)
	others := count("others", "the others", len(s.rows)-yes)
	s.total(s.all, s.yes, others)
	for at, x := range s.scores {
		part := []string{"first", "second"}[at]
		row := func(what, measure, unit string, v change.Estimate) report.Cell {
			e := report.Estimate{ID: s.id(part, what), Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: measure + ", " + x.instrument.Spoken, Unit: unit, Method: "receiver operating characteristic", Status: report.Estimated}
			settle(&e, v)
			s.derived(e.ID, s.all, s.yes)
			return report.Cell(say(inTable(s.add(e))))
		}
		y := x.roc.Youden
		cells := []report.Cell{row("area", "area under the curve", report.UnitArea, x.roc.Area), row("cut", "cut point by Youden's index", x.instrument.Unit, change.Estimate{Value: y.At, State: y.State}),
			row("sensitivity", "sensitivity at the cut point", report.UnitProbability, change.Estimate{Value: y.Sensitivity, State: y.State}), row("specificity", "specificity at the cut point", report.UnitProbability, change.Estimate{Value: y.Specificity, State: y.State})}
		x.area = s.id(part, "area")
		if y.OK() {
			found, wrongly := count(part+".found", "to be found and beyond the cut point", asCount(y.Sensitivity*float64(yes))), count(part+".spared", "of the others, not beyond the cut point", asCount(y.Specificity*float64(len(s.rows)-yes)))
			s.total(s.yes, found, count(part+".missed", "to be found and not beyond the cut point", yes-asCount(y.Sensitivity*float64(yes))))
			s.total(others, wrongly, count(part+".wrongly", "of the others, beyond the cut point", len(s.rows)-yes-asCount(y.Specificity*float64(len(s.rows)-yes))))
			s.derived(s.id(part, "sensitivity"), found)
			s.derived(s.id(part, "specificity"), wrongly)
		}
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(x.instrument.Title), Cells: cells})
	}
	sheet.Notes = []report.Text{say("Of ", value(s.all), " shoulders of which all is known, ", value(s.yes), " are to be found.")}
	if !s.scores[0].roc.Area.OK() {
		_, why := notFound(s.scores[0].roc.State)
		return sheet, []report.Text{report.Words("No curve can be drawn: " + why + ".")}, nil
	}
	answer := []report.Text{say(sentence(s.scores[0].instrument.Spoken)+" puts one of "+s.found+" in front of one of the others with a chance of ", withInterval(s.scores[0].area), ".")}
	s.short[s.asked.ID] = answer[0]
	if len(s.scores) == 2 && s.scores[1].roc.Area.OK() {
		more, err := s.againstTheOther(&sheet)
		return sheet, append(answer, more), err
	}
	return sheet, answer, nil
}

// asCount is the count behind a share.
func asCount(x float64) int { return int(math.Round(x)) }

// againstTheOther compares the areas of two scores.
func (s *discriminating) againstTheOther(sheet *report.Sheet) (report.Text, error) {
	x, err := change.CompareAreas(s.scores[0].roc, s.scores[1].roc, s.asked.Level)
	if err != nil {
		return nil, err
	}
	record := func(what, measure, unit string, v change.Estimate) string {
		e := report.Estimate{ID: s.id(what), Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: measure, Unit: unit, Method: "DeLong, same shoulders", Status: report.Estimated}
		settle(&e, v)
		s.derived(e.ID, s.scores[0].area, s.scores[1].area)
		return s.add(e)
	}
	d := record("difference", "difference of the areas, first less second", report.UnitCorrelation, x.Difference)
	p := record("p", "p of no difference of the areas", report.UnitPValue, change.Estimate{Value: x.P, State: x.Difference.State})
	sheet.Rows = append(sheet.Rows, report.SheetRow{Label: "Difference of the areas, first less second", Cells: []report.Cell{report.Cell(say(inTable(d))), report.Cell(say("p ", value(p))), nil, nil}})
	return say("For "+s.scores[1].instrument.Spoken+" it is ", withInterval(s.scores[1].area), "; the difference is ", withInterval(d), ", p ", value(p), "."), nil
}

// curves draws the curves of the scores.
func (s *discriminating) curves() []report.Figure {
	f := report.Figure{ID: s.asked.ID, Title: "Finding " + s.found, Alt: "Sensitivity against 1 − specificity for each score; the table gives the areas.",
		X: report.Axis{Label: "1 − specificity", Unit: report.UnitProbability, Max: 1, Ticks: []float64{0, 0.2, 0.4, 0.6, 0.8, 1}},
		Y: report.Axis{Label: "Sensitivity", Unit: report.UnitProbability, Max: 1, Ticks: []float64{0, 0.2, 0.4, 0.6, 0.8, 1}}}
	for i, x := range s.scores {
		if !x.roc.Area.OK() {
			continue
		}
		c := report.Curve{Group: sentence(x.instrument.Title), Measure: "sensitivity", Sloping: true, Style: i, EndX: 1, End: "every shoulder found", Estimates: []string{s.all, s.yes, x.area}}
		c.Steps = append(c.Steps, report.Step{})
		for at := len(x.roc.Cuts) - 1; at >= 0; at-- {
			c.Steps = append(c.Steps, report.Step{X: 1 - x.roc.Cuts[at].Specificity, Y: x.roc.Cuts[at].Sensitivity})
		}
		f.Curves = append(f.Curves, c)
	}
	if len(f.Curves) == 0 {
		return nil
	}
	f.Curves = append(f.Curves, report.Curve{Group: "No better than chance", Guide: true, Sloping: true, EndX: 1, Steps: []report.Step{{}, {X: 1, Y: 1}}})
	return []report.Figure{f}
}
