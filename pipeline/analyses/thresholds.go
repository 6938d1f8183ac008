package analyses

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/change"
)

// thresholds is an account of which amount of improvement matters, while it is being written down.
type thresholds struct {
	*scored
	asking []*asking
}

// asking is one threshold that is asked for: a minimal or a substantial improvement, or an acceptable state.
type asking struct {
	of       plan.Benefit
	question change.Question
	anchor   *cohorts.Visits // answers at the visit; nil where only the distribution is asked about
	code     string          // of the question put to patients
	table    *change.Table
	n        string // id of the shoulders with scores and answer
}

// thresholdID is the id of the estimate of one threshold.
func thresholdID(analysis string, of plan.Benefit, m change.Method) string {
	return analysis + "." + string(of) + "." + slug(m.String())
}

// benefitWords name what is asked for.
var benefitWords = map[plan.Benefit]string{plan.Minimal: "Minimal clinically important difference", plan.Substantial: "Substantial clinical benefit",
	plan.Accepted: "Patient acceptable symptom state"}

// thresholdSection finds the thresholds of a score by every method.
func thresholdSection(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	shared, err := newScored(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	s := &thresholds{scored: shared}
	heading, question := "Which improvement matters: "+s.instrument.Title+withinWords(asked), "How large is an improvement that matters to patients?"
	if s.visits == nil {
		return s.noScores(heading, question), nil
	}
	if err := s.askings(); err != nil {
		return report.Section{}, err
	}
	section := report.Section{ID: asked.ID, Heading: heading, Question: question}
	for _, a := range s.asking {
		if err := s.find(a); err != nil {
			return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
		}
		section.Sheets = append(section.Sheets, s.methodSheet(a))
		if a.anchor != nil {
			section.Sheets = append(section.Sheets, s.anchorSheet(a), s.answerSheet(a))
		}
	}
	if sheet, any := s.listSheet(); any {
		section.Sheets = append(section.Sheets, sheet)
	}
	section.Figures = s.dots()
	section.Answer, section.Method = s.thresholdAnswer(), s.thresholdMethod()
	return section, nil
}

// askings lists what the plan asks for.
func (s *thresholds) askings() error {
	w := s.asked.Scores
	base := change.Question{Scale: s.scale, ScoreReliability: w.Reliability,
		Resampling: change.Resampling{Replicates: s.asked.Replicates, Seed: s.asked.Seed, Level: s.asked.Level}}
	if q := w.Anchor; q != nil {
		answers, err := s.ask(q.Instrument)
		if err != nil {
			return err
		}
		base.Floor, base.AnchorReliability = q.Floor, q.Reliability
		minimal := base
		minimal.Improved, minimal.Minimal, minimal.Unchanged = int32(q.Minimal), int32(q.Minimal), int32(q.Unchanged)
		s.asking = append(s.asking, &asking{of: plan.Minimal, question: minimal, anchor: answers, code: q.Instrument})
		if q.HasSubstantial {
			much := base
			much.Improved, much.Minimal, much.Unchanged = int32(q.Substantial), int32(q.Substantial), int32(q.Unchanged)
			s.asking = append(s.asking, &asking{of: plan.Substantial, question: much, anchor: answers, code: q.Instrument})
		}
	}
	if q := w.Acceptable; q != nil {
		answers, err := s.ask(q.Instrument)
		if err != nil {
			return err
		}
		state := base
		state.About, state.Floor, state.AnchorReliability, state.Improved = change.OfState, q.Floor, q.Reliability, int32(q.From)
		s.asking = append(s.asking, &asking{of: plan.Accepted, question: state, anchor: answers, code: q.Instrument})
	}
	if len(s.asking) == 0 {
		s.asking = append(s.asking, &asking{of: plan.Minimal, question: base})
	}
	return nil
}

// find works out every method for one asking, at the last visit of the analysis.
func (s *thresholds) find(a *asking) error {
	k := s.last()
	rows := s.withAnything(k, a)
	anchored := change.Anchored{Scores: s.pairOf(k, rows), Anchor: make([]int32, len(rows))}
	usable := 0
	for i, row := range rows {
		anchored.Anchor[i] = change.NoAnswer
		if a.anchor == nil {
			continue
		}
		if x := a.anchor.Value[k][row]; !math.IsNaN(x) && x == math.Trunc(x) {
			anchored.Anchor[i] = int32(x)
			if !math.IsNaN(anchored.FollowUp[i]) && (a.question.About == change.OfState || !math.IsNaN(anchored.Baseline[i])) {
				usable++
			}
		}
	}
	e := report.Count(s.id(string(a.of), "shoulders"), s.asked.ID, benefitWords[a.of]+": shoulders with the scores and an answer", usable, shoulders)
	e.Cohort = s.cohort.Name
	a.n = s.add(e)
	var err error
	a.table, err = change.Thresholds(anchored, a.question)
	return err
}

// withAnything returns the shoulders with a score or an answer: the others have nothing to say, and need not be drawn again.
func (s *thresholds) withAnything(k int, a *asking) (rows []int32) {
	before := s.baseline()
	for i := range s.group {
		if !math.IsNaN(before[i]) || !math.IsNaN(s.visits.Value[k][i]) || a.anchor != nil && !math.IsNaN(a.anchor.Value[k][i]) {
			rows = append(rows, int32(i))
		}
	}
	return rows
}

// methodSheet shows every method that says something about what is asked for.
func (s *thresholds) methodSheet(a *asking) report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-" + string(a.of), Title: benefitWords[a.of] + " of " + s.instrument.Spoken + " at " + s.visitWords(s.last()),
		Columns: []string{"Method", sentence(s.points()), "Interval by drawing again, percentiles", "Corrected for bias (BCa)", "Sensitivity", "Specificity"}}
	for _, t := range a.table.Rows {
		if !s.shows(a, t.Method) {
			continue
		}
		unit := s.scoreUnit()
		if t.Method.Ratio() {
			unit = report.UnitRatio
		}
		id := thresholdID(s.asked.ID, a.of, t.Method)
		e := report.Estimate{ID: id, Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: benefitWords[a.of] + ", " + a.methodWords(t.Method), Unit: unit,
			Method: t.Method.String() + ", interval by drawing patients again, corrected for bias", Status: report.Estimated}
		if !t.OK() {
			e.Status, e.Note = notFound(t.State)
		} else {
			e.Value = report.Some(t.Value)
			if interval(&e, t.BCa); !t.BCa.OK() {
				e.Method = t.Method.String() + ", interval by drawing patients again, percentiles"
				interval(&e, t.Percentile)
			}
		}
		s.add(e)
		s.derived(id, a.n)
		row := report.SheetRow{Label: sentence(a.methodWords(t.Method)), Cells: []report.Cell{report.Cell(say(value(id)))}}
		s.cutCells(id, t, a)
		row.Cells = append(row.Cells, s.limits(id+".percentile", e, t.Percentile, a.n), s.limits(id+".bca", e, t.BCa, a.n), s.cut(id+".sensitivity", e, t, t.Cut.Sensitivity, a.n), s.cut(id+".specificity", e, t, t.Cut.Specificity, a.n))
		sheet.Rows = append(sheet.Rows, row)
	}
	sheet.Notes = []report.Text{report.Words("Methods from the anchor set the score against what patients answered; those from the distribution only say what is large compared with spread or error of measurement, and know nothing of what matters.")}
	return sheet
}

// methodWords name a method for what is asked for: a substantial benefit is not that of the minimally improved.
func (a *asking) methodWords(m change.Method) string {
	if a.of == plan.Substantial {
		return strings.Replace(m.String(), "the minimally improved", "those who just benefited enough", 1)
	}
	return m.String()
}

// shows reports whether a method says something about what is asked for.
func (s *thresholds) shows(a *asking, m change.Method) bool {
	switch {
	case m == change.SmallestDetectableGroup90 || m == change.SmallestDetectableGroup95:
		return false // of the mean of all, which nobody asks of a threshold for a shoulder
	case a.anchor == nil:
		return !m.FromAnchor()
	case a.question.About == change.OfState:
		return m.FromAnchor() && m != change.MeanChange && m != change.MeanDifference
	case m == change.AcceptableQuartile:
		return false
	case a.of == plan.Substantial:
		return m.FromAnchor()
	}
	return true
}

func interval(e *report.Estimate, i change.Interval) {
	if i.OK() {
		e.Lower, e.Upper, e.Level = report.Some(i.Lower), report.Some(i.Upper), report.Some(i.Level)
	}
}

// limits is a cell with one of the intervals of a threshold; empty where there is none.
func (s *thresholds) limits(id string, of report.Estimate, i change.Interval, n string) report.Cell {
	if !i.OK() || !of.Value.Known {
		return nil
	}
	low, high := of, of
	low.ID, low.Measure, low.Value = id+".lower", of.Measure+", lower limit", report.Some(i.Lower)
	high.ID, high.Measure, high.Value = id+".upper", of.Measure+", upper limit", report.Some(i.Upper)
	for _, e := range []*report.Estimate{&low, &high} {
		e.Lower, e.Upper, e.Level, e.Note = report.Optional{}, report.Optional{}, report.Some(i.Level), ""
		s.derived(s.add(*e), n)
	}
	return report.Cell(say(value(low.ID), " to ", value(high.ID)))
}

// cut is a cell with the sensitivity or specificity of a cut point.
func (s *thresholds) cut(id string, of report.Estimate, t change.Threshold, x float64, n string) report.Cell {
	if t.Method != change.Youden && t.Method != change.ClosestToCorner || !t.OK() || !t.Cut.OK() {
		return nil
	}
	e := report.Estimate{ID: id, Analysis: of.Analysis, Cohort: of.Cohort, Measure: of.Measure + ": " + id[len(of.ID)+1:], Unit: report.UnitProbability, Method: "of the shoulders with an answer",
		Status: report.Estimated, Value: report.Some(x)}
	s.derived(s.add(e), n)
	return report.Cell(say(value(id)))
}

// cutCells records the counts behind the sensitivity and specificity of a cut point, so that a small one is not given away. They are
// in no table.
func (s *thresholds) cutCells(id string, t change.Threshold, a *asking) {
	if t.Method != change.Youden && t.Method != change.ClosestToCorner || !t.OK() || !t.Cut.OK() {
		return
	}
	count := func(what, measure string, n int) string {
		e := report.Count(id+"."+what, s.asked.ID, measure, n, shoulders)
		e.Cohort = s.cohort.Name
		return s.add(e)
	}
	yes := a.table.Anchor.Improved
	no := a.table.Anchor.N - yes
	found, spared := asCount(t.Cut.Sensitivity*float64(yes)), asCount(t.Cut.Specificity*float64(no))
	improved, others := count("improved", "improved, or acceptable", yes), count("others", "the others", no)
	s.total(a.n, improved, others)
	beyond, below := count("found", "of these, beyond the cut point", found), count("spared", "of the others, not beyond the cut point", spared)
	s.total(improved, beyond, count("missed", "of these, not beyond the cut point", yes-found))
	s.total(others, below, count("wrongly", "of the others, beyond the cut point", no-spared))
	s.derived(id+".sensitivity", beyond)
	s.derived(id+".specificity", below)
}

// answerWords name an answer of a question.
func answerWords(code string, answer int32) string {
	i, _ := schemas.InstrumentOf(code)
	if w, ok := i.Answer(float64(answer)); ok {
		return sentence(w) + " (" + strconv.Itoa(int(answer)) + ")"
	}
	return strconv.Itoa(int(answer))
}
