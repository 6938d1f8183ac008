package analyses

import (
	"math"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/change"
)

// scored is what the analyses of scores share while they are being written down.
type scored struct {
	*portrait
	instrument schemas.Instrument
	scale      change.Scale
	endpoint   cohorts.Endpoint
	visits     *cohorts.Visits // the visit before the operation first, where there is one
	before     int             // its place among the windows, -1 when there is none
	patient    []int32         // of each shoulder; nil where nobody has two
	members    [][]int32       // shoulders of each column
}

// newScored collects the scores of an instrument at the visits that the plan asks about. Its visits are nil when no scores
// were linked.
func newScored(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (*scored, error) {
	portrait, err := newPortrait(b, p, c, asked)
	if err != nil {
		return nil, err
	}
	s := &scored{portrait: portrait.withAll(), before: -1}
	s.instrument, _ = schemas.InstrumentOf(asked.Scores.Instrument)
	s.scale = scoreScale(s.instrument)
	if e := p.Endpoint(asked.Endpoint); e != nil {
		s.endpoint = *e
	}
	if s.visits, err = s.ask(asked.Scores.Instrument); err != nil || s.visits == nil {
		return s, err
	}
	s.patient = patientsOf(c)
	s.members = make([][]int32, len(s.labels))
	for i, g := range s.group {
		s.members[g] = append(s.members[g], int32(i))
		if s.groups < len(s.labels) {
			s.members[s.groups] = append(s.members[s.groups], int32(i))
		}
	}
	return s, nil
}

// ask collects the values of an instrument, or the answers to a question, at the visits of the analysis.
func (s *scored) ask(instrument string) (*cohorts.Visits, error) {
	var windows []cohorts.Window
	if v := s.plan.Visit(s.asked.Scores.Before); v != nil {
		s.before = 0
		windows = append(windows, *v)
	}
	for _, id := range s.asked.Scores.Visits {
		windows = append(windows, *s.plan.Visit(id))
	}
	return s.cohort.Visits(instrument, windows, s.endpoint, s.plan.FollowUp)
}

// scoreScale is the range of an instrument with its direction.
func scoreScale(i schemas.Instrument) change.Scale {
	if i.HigherIsBetter() {
		return change.Scale{Worst: i.Minimum, Best: i.Maximum}
	}
	return change.Scale{Worst: i.Maximum, Best: i.Minimum}
}

// patientsOf returns whose shoulder each is; nil where every patient has one.
func patientsOf(c *cohorts.Cohort) []int32 {
	if c.Registry.Anonymous || c.Patients() == len(c.Shoulders) {
		return nil
	}
	patient := make([]int32, len(c.Shoulders))
	for i, position := range c.Shoulders {
		patient[i] = c.Registry.Shoulders[position].Patient
	}
	return patient
}

// after returns the places of the visits after the operation among the windows.
func (s *scored) after() []int {
	var at []int
	for k := s.before + 1; k < len(s.visits.Windows); k++ {
		at = append(at, k)
	}
	return at
}

func (s *scored) last() int { return len(s.visits.Windows) - 1 }

// baseline returns the scores before the operation; all missing where no such visit is asked about.
func (s *scored) baseline() []float64 {
	if s.before >= 0 {
		return s.visits.Value[s.before]
	}
	none := make([]float64, len(s.group))
	for i := range none {
		none[i] = math.NaN()
	}
	return none
}

// pairOf returns the scores of some shoulders before the operation and at a visit.
func (s *scored) pairOf(k int, rows []int32) change.Scores {
	return change.Scores{Baseline: taken(s.baseline(), rows), FollowUp: taken(s.visits.Value[k], rows), Patient: taken(s.patient, rows)}
}

// points is the unit of an improvement, in words.
func (s *scored) points() string {
	if s.instrument.Unit == "percent" {
		return "percentage points"
	}
	return s.instrument.Unit
}

// scoreUnit is the unit of the estimates of scores. It is no probability, although some scores are percents.
func (s *scored) scoreUnit() string { return s.points() }

// visitWords is a visit inside a sentence: 2 years; a label that is no length of time stands in quotation marks.
func (s *scored) visitWords(k int) string {
	label := s.visits.Windows[k].Label
	if label != "" && label[0] >= '0' && label[0] <= '9' {
		return label
	}
	return "“" + label + "”"
}

// noScores is the section of an analysis for which no scores were linked.
func (s *scored) noScores(heading, question string) report.Section {
	return report.Section{ID: s.asked.ID, Heading: heading, Question: question,
		Answer: []report.Text{report.Words("No scores were linked, so nothing can be said about " + s.instrument.Spoken + ".")}}
}

// settle fills an estimate with a result of package change, or says why there is none. The reasons of that package hold
// counts, which might be small, so they are not repeated.
func settle(e *report.Estimate, x change.Estimate) {
	if !x.OK() {
		e.Status, e.Note = notFound(x.State)
		return
	}
	e.Value = report.Some(x.Value)
	if x.Lower < x.Upper || x.SE > 0 {
		e.Lower, e.Upper, e.Level = finite(x.Lower), finite(x.Upper), report.Some(x.Level)
	}
}

// notFound says why there is no number and what can be done.
func notFound(s change.State) (report.Status, string) {
	switch s.Status {
	case change.NoRows:
		return report.NotIdentifiable, "no shoulder has all the scores and answers that this needs"
	case change.TooFew:
		return report.NotIdentifiable, "too few shoulders have the scores and answers that this needs; ask for it in a larger group, or at a visit with more scores"
	case change.NoSpread:
		return report.NotIdentifiable, "all have the same value or answer, and what does not vary says nothing"
	case change.NotSupported:
		return report.NotIdentifiable, "not supported: the answers do not go with the score as they should; see the checks of the anchor"
	case change.OffScale:
		return report.NotIdentifiable, "a value lies off the scale: the score may be of another version; declare its scale under scales"
	case change.NotFitted:
		return report.NotIdentifiable, "the model behind it has no estimates; use fewer characteristics, or larger groups"
	case change.NotResampled:
		return report.NotIdentifiable, "too many of the repeated draws gave no value"
	}
	return report.NotIdentifiable, "not defined for this score, or it needs a reliability that the plan does not give"
}
