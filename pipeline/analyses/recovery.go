package analyses

import (
	"fmt"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/change"
	"deltoid/stats/covariates"
)

// recovery is an account of how many improve by an amount that matters, while it is being written down.
type recovery struct {
	*scored
	about  change.Measure
	goals  []*goal
	each   []*visitCount
	models []covariates.Column // of who comes to a visit, a value for each shoulder
}

// goal is a threshold of the plan.
type goal struct {
	id, slug string // of the estimate that holds it
	value    float64
	known    bool
	why      string // why it is not known
	reach    string // "improved by at least ", "reached at least "
	source   string // where it comes from, as a clause
}

// visitCount is what became of the shoulders by one visit. Ids are by column, of shares by goal and column.
type visitCount struct {
	k                                      int
	rulings                                []change.Response // with those who count as not improved without a score
	complete                               []change.Response // with these left out: complete cases
	rows                                   [][]int32         // shoulders that count, by column
	scored                                 []int
	counted, answered, missing, ruled      []string
	noBefore                               []string
	improved, share                        [][]string
	weighted, least, most                  []string
	mean, meanBefore, spread, spreadBefore []string
	change, possible, paired               []string
	ceiling, floor                         string // of the whole cohort
}

// recoverySection asks how many improve by an amount that matters, or reach a state that does.
func recoverySection(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	shared, err := newScored(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	s := &recovery{scored: shared}
	if s.visits == nil {
		return s.noScores(s.recoveryHeading(), s.recoveryQuestion()), nil
	}
	if s.goals, err = s.readGoals(); err != nil {
		return report.Section{}, err
	}
	if s.models, err = s.presence(); err != nil {
		return report.Section{}, err
	}
	for _, k := range s.after() {
		if err := s.visit(k); err != nil {
			return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
		}
	}
	return s.recoveryParts()
}

// recoveryParts puts the section together once all is counted.
func (s *recovery) recoveryParts() (report.Section, error) {
	section := report.Section{ID: s.asked.ID, Heading: s.recoveryHeading(), Question: s.recoveryQuestion(), Answer: s.recoveryAnswer()}
	curve, published, err := s.sensitivity()
	if err != nil {
		return section, fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	section.Figures = append(s.trajectory(), curve...)
	section.Sheets = []report.Sheet{s.shareSheet(), s.goalSheet()}
	differences, any, err := s.differenceSheet()
	if err != nil {
		return section, fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	if any {
		section.Sheets = append(section.Sheets, differences)
	}
	section.Sheets = append(section.Sheets, published...)
	section.Sheets = append(section.Sheets, s.scoreSheet())
	if dependence, any, err := s.dependenceSheet(); err != nil {
		return section, fmt.Errorf("%s: %w", s.asked.Place, err)
	} else if any {
		section.Sheets = append(section.Sheets, dependence)
	}
	apart, answer, err := s.whoIsMissing()
	if err != nil {
		return section, err
	}
	if apart != nil {
		section.Sheets, section.Answer = append(section.Sheets, *apart), append(section.Answer, answer...)
	}
	section.Method, section.Notes = s.recoveryMethod(), s.recoveryNotes()
	return section, nil
}

// whoIsMissing compares those assessed at the last visit with those who were due and were not, as the section on follow-up does.
func (s *recovery) whoIsMissing() (*report.Sheet, []report.Text, error) {
	f := &followUp{portrait: s.portrait, endpoint: s.endpoint}
	return f.missing(s.visits, s.last(), s.asked.Scores.Instrument)
}

// ruling turns the word of the plan into what it does.
func ruling(r plan.Ruling) change.Response {
	switch r {
	case plan.NotImproved:
		return change.NotReached
	case plan.LeftOut:
		return change.LeftOut
	}
	return change.NotScored
}

// rulings says what is known of each shoulder by a visit without its scores. A shoulder whose visit is not due yet is left
// out; so is one without a score before the operation where change is asked about, since nothing can be said of its change.
func (s *recovery) rulings(k int) []change.Response {
	out := make([]change.Response, len(s.group))
	revised, died := ruling(s.asked.Scores.Revised), ruling(s.asked.Scores.Died)
	before := s.baseline()
	for i, state := range s.visits.State[k] {
		switch {
		case state == cohorts.NotDue, s.about == change.OfChange && before[i] != before[i]:
			out[i] = change.LeftOut
		case state == cohorts.AlreadyRevised:
			out[i] = revised
		case state == cohorts.Dead:
			out[i] = died
		}
	}
	return out
}
