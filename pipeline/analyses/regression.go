package analyses

import (
	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// modelled is one regression while it is being written down.
type modelled struct {
	*followed
	terms  []*term
	strata strata
	rows   []int32 // the episodes in which everything in the model is known
	data   modelData
	n      int // shoulders used
	events int // of them with the endpoint
	fit    *fitted
	alone  []*fitted         // the model of each term by itself, on the same rows
	steady map[*term]float64 // p-values of proportional hazards

	// Of a model of an outcome, by episode.
	happenings []int32   // events; nil where they are the ends of the episodes
	unknown    []bool    // nobody knows what had happened
	years      []float64 // time at risk; nil where it is the same for all
	unseen     int       // shoulders left out because nobody knows
}

// regress asks what changes the hazard, or the cumulative incidence, of the endpoint.
func regress(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	f, err := follow(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	s := &modelled{followed: f}
	s.ofField()
	if err := s.prepare(); err != nil {
		return report.Section{}, err
	}
	if err := s.fitModels(); err != nil {
		return report.Section{}, err
	}
	s.modelCounts()
	s.effects()
	s.overall()
	section := report.Section{ID: asked.ID, Heading: s.modelHeading(), Question: s.modelQuestion(),
		Figures: s.effectFigures(), Sheets: []report.Sheet{s.effectSheet(), s.completeSheet()}}
	for _, part := range []func(*plan.Plan) ([]report.Sheet, []report.Figure, error){s.checks, s.changes, s.predict, s.means} {
		sheets, figures, err := part(p)
		if err != nil {
			return report.Section{}, err
		}
		section.Sheets, section.Figures = append(section.Sheets, sheets...), append(section.Figures, figures...)
	}
	section.Answer = append(s.modelAnswer(), s.predictionSentence()...)
	section.Method = append(s.modelMethod(), s.predictionText()...)
	section.Notes = append(s.modelNotes(), s.notes()...)
	return section, nil
}

// prepare makes the terms, finds the shoulders in which all is known, and gives the terms their columns.
func (s *modelled) prepare() error {
	if err := s.readTerms(); err != nil {
		return err
	}
	if err := s.readStratifier(); err != nil {
		return err
	}
	if err := s.observe(); err != nil {
		return err
	}
	s.complete()
	for _, t := range s.terms {
		if err := t.settle(s); err != nil {
			return err
		}
	}
	return s.cross()
}

// readStratifier puts every episode into its stratum; one without a value is missing.
func (s *modelled) readStratifier() error {
	if s.asked.Strata == "" {
		return nil
	}
	t, err := s.coded(plan.Covariate{Field: s.asked.Strata, Place: s.asked.Place})
	if err != nil {
		return err
	}
	s.strata = strata{t.levels, t.of}
	return nil
}

// complete finds the episodes in which everything in the model is known, and what the model takes of them.
func (s *modelled) complete() {
	e := s.episodes
	for i := range e.Exit {
		known := s.strata.of == nil || s.strata.of[i] >= 0
		for _, t := range s.terms {
			known = known && !t.missing(i)
		}
		switch {
		case s.unknown != nil && s.unknown[i]:
			if s.last(i) {
				s.unseen++
			}
		case known:
			s.rows = append(s.rows, int32(i))
		}
	}
	s.data = modelData{exit: taken(e.Exit, s.rows), entry: taken(e.Entry, s.rows), cause: taken(e.Cause, s.rows),
		stratum: taken(s.strata.of, s.rows), patient: taken(e.Patient, s.rows), causes: len(e.Causes)}
	s.clustered = s.asked.Variance == plan.Clustered && (!s.asked.Penalised || s.ofOutcome()) && s.repeated()
	all := s.countLevels(make([]int32, len(s.rows)), 1)[0]
	s.n, s.events = all.n, all.events
}

// taken returns the values of some rows.
func taken[T any](column []T, rows []int32) []T {
	if column == nil {
		return nil
	}
	out := make([]T, len(rows))
	for i, at := range rows {
		out[i] = column[at]
	}
	return out
}

// repeated says whether a patient has two shoulders among the rows used.
func (s *modelled) repeated() bool {
	first := make(map[int32]int32, len(s.rows))
	for _, at := range s.rows {
		shoulder, patient := s.shoulder(int(at)), s.episodes.Patient[at]
		if before, seen := first[patient]; seen && before != shoulder {
			return true
		}
		first[patient] = shoulder
	}
	return false
}

// shoulder returns the place in the cohort of the shoulder of an episode.
func (s *modelled) shoulder(episode int) int32 {
	if at := s.episodes.Shoulder; at != nil {
		return at[episode]
	}
	return int32(episode)
}

// last says whether an episode is the last of its shoulder, so that shoulders can be counted.
func (s *modelled) last(episode int) bool {
	return s.episodes.Last == nil || s.episodes.Last[episode]
}

// levelCount is what one level of a characteristic has among the rows used.
type levelCount struct{ rows, n, events int }

// countLevels counts rows, shoulders and events of each level in one pass.
func (s *modelled) countLevels(of []int32, levels int) []levelCount {
	counts := make([]levelCount, levels)
	for row, at := range s.rows {
		c := &counts[of[row]]
		c.rows++
		if s.last(int(at)) {
			c.n++
		}
		c.events += s.happened(int(at))
	}
	return counts
}

// happened is how many events of the model an episode has.
func (s *modelled) happened(episode int) int {
	switch {
	case s.happenings != nil:
		return int(s.happenings[episode])
	case s.episodes.Cause[episode] == 1:
		return 1
	}
	return 0
}
