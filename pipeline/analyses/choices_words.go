package analyses

import (
	"strconv"
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/report"
)

// chosen ends the heading of an analysis that looks at a part of the cohort, or from a later time on.
func (s *followed) chosen() string {
	words := withinWords(s.asked)
	if g := s.asked.Groups; g.Landmark > 0 {
		words += ", from " + s.landmark() + " on"
	}
	if s.asked.Weights != "" {
		words += ", weighted by " + s.fieldWords(s.asked.Weights)
	}
	return words
}

// landmark words the landmark in the unit of the analysis, to whole days.
func (s *followed) landmark() string {
	n := s.inUnit(float64(s.asked.Groups.Landmark))
	text := strconv.FormatFloat(n, 'f', 1, 64)
	text = strings.TrimSuffix(text, ".0")
	word := string(s.asked.Unit)
	if text == "1" {
		word = unitWord(word, 1)
	}
	return text + " " + word
}

// choiceTexts says for the methods paragraph what counts as a revision, and from when on shoulders and groups count.
func (s *followed) choiceTexts() string {
	var b strings.Builder
	if s.endpoint.Event == cohorts.Revised && s.endpoint.Definition() == cohorts.ComponentExchanged {
		b.WriteString(" A reoperation counts as a revision when a component was added, exchanged or removed; one that left every component in " +
			"place ends nothing.")
	}
	if s.asked.Groups.Landmark > 0 {
		b.WriteString(" Shoulders count from " + s.landmark() + " after the index procedure on, in the groups known by then (a landmark; " +
			"Anderson, Cain and Gelber, J Clin Oncol 1983;1:710): every probability is among those still under observation then.")
	}
	if s.asked.Groups.Split {
		b.WriteString(" A shoulder changes its group on the day on which its value became known, and counts as “" + cohorts.NotYet +
			"” until then (Simon and Makuch, Stat Med 1984;3:35): a curve shows whoever is in its group at each time.")
	}
	b.WriteString(s.weightText())
	return b.String()
}

// choiceNotes count who left, or was counted, because of a choice or of a record that says too little.
func (s *followed) choiceNotes(note func(n int, slug, measure, unit, one, many, rest string)) {
	e := s.episodes
	note(e.BeforeLandmark, "before-landmark", "shoulders no longer under observation at the landmark", "shoulders",
		"shoulder was", "shoulders were", " no longer under observation at "+s.landmark()+" and left out here.")
	note(e.Divided, "divided", "shoulders that changed their group", "shoulders", "shoulder", "shoulders",
		" changed the group during follow-up.")
	note(e.OtherReason, "other-reason", "shoulders censored by a revision for another reason", "shoulders", "shoulder was", "shoulders were",
		" revised for a reason that does not count here, which ends the observation of the implant.")
	note(e.UnknownReason, "unknown-reason", "revisions without a recorded reason", "shoulders", "shoulder left", "shoulders left",
		" by a revision whose reason is not recorded; it counts as another reason.")
	note(e.UnknownChange, "unknown-change", "revisions that do not say whether a component was exchanged", "shoulders", "shoulder left",
		"shoulders left", " by a reoperation that does not say whether a component was exchanged; it counts.")
}

// withChoices adds what was chosen to the text on time.
func (s *followed) withChoices(text string) report.Text { return report.Words(text + s.choiceTexts()) }
