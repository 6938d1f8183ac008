package analyses

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// manyGroups is the number of groups above which a sentence no longer names each of them.
const manyGroups = 4

// sentence turns the first letter into a capital.
func sentence(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[size:]
}

// speaker returns how a group's label stands inside a sentence. Labels of our own code lists are common nouns and lose
// their capital; anybody else's labels stay as they are.
func speaker(f *schemas.Field) func(string) string {
	return func(label string) string {
		if f == nil {
			return label
		}
		for _, c := range f.Codes {
			if c.Label == label && len(label) > 1 && unicode.IsLower(rune(label[1])) {
				return strings.ToLower(label[:1]) + label[1:]
			}
		}
		return label
	}
}

func (s *followed) heading() string {
	h := sentence(s.endpoint.Label)
	if by := s.byWords(); by != "" {
		h += ", by " + by
	}
	return h + s.chosen()
}

// byWords names the field of the groups, empty when there is none.
func (s *followed) byWords() string {
	if s.asked.Groups.By == "" {
		return ""
	}
	return s.fieldWords(s.asked.Groups.By)
}

// fieldWords names a field as it stands inside a sentence.
func (s *followed) fieldWords(name string) string {
	column := s.cohort.Registry.Column(name, s.cohort.Definition.Indication)
	if column == nil || column.Field.Title == "" {
		return name
	}
	return uncapped(column.Field.Title)
}

// uncapped takes the capital from a title, but not from an abbreviation: "ASA class" stays.
func uncapped(title string) string {
	first, size := utf8.DecodeRuneInString(title)
	if next, _ := utf8.DecodeRuneInString(title[size:]); unicode.IsUpper(next) {
		return title
	}
	return string(unicode.ToLower(first)) + title[size:]
}

func (s *implant) question() string {
	if s.endpoint.Event == "died" {
		return "How many come to " + s.endpoint.Label + ", and when?"
	}
	return "How long does the implant last: how many come to " + s.endpoint.Label + ", and when?"
}

// answer says the headline and its counterpart at the latest time at which every group has an estimate.
func (s *implant) answer() []report.Text {
	var texts []report.Text
	t, ok := s.latest(s.measures[0])
	if !ok {
		texts = append(texts, report.Words("At none of the times asked for is there an estimate for every group; the table says why."))
	} else {
		texts = append(texts, s.answerFor(s.measures[0], t))
		if len(s.episodes.Causes) > 1 {
			texts = append(texts, s.answerFor(s.measures[1], t))
		}
	}
	return append(texts, s.countSentence())
}

// latest returns the latest time at which every group has an estimate of a measure.
func (s *followed) latest(m measure) (float64, bool) {
	for i := len(s.asked.Times) - 1; i >= 0; i-- {
		t, all := s.asked.Times[i], true
		for _, g := range s.groups {
			all = all && s.get(s.pointID(m, g, t)).Value.Known
		}
		if all {
			return t, true
		}
	}
	return 0, false
}

// answerFor is the sentence of one measure at one time: every group where they are few, the whole cohort otherwise.
func (s *followed) answerFor(m measure, t float64) report.Text {
	groups := s.shownGroups()
	var values []report.Text
	for _, g := range groups {
		number := say(withInterval(s.pointID(m, g, t)))
		if len(s.groups) > 1 && g.slug != s.total().slug {
			number = append(number, report.Span{Words: " in " + s.spoken(g.label)})
		}
		values = append(values, number)
	}
	at := shown{s.pointID(m, groups[0], t), report.ShowAt}
	return say("At ", at, s.condition(m), ", the "+m.inWords()+" of "+s.endpoint.Label+" was ", join(values), ".")
}

// inWords is the measure as a sentence says it, before "of" and the endpoint.
func (m measure) inWords() string {
	switch m.slug {
	case "net":
		return "cumulative probability (1 − survival)"
	case "free":
		return "probability of being free"
	default:
		return m.name
	}
}

// condition says what a measure supposes.
func (s *followed) condition(m measure) string {
	switch {
	case len(s.episodes.Causes) == 1:
		return ""
	case m.slug == "incidence":
		return ", counting that some patients " + s.competingWords(" or ") + " first"
	default:
		return ", had nobody " + pastOf(s.competingWords(" or ")) + " first"
	}
}

// pastOf turns "were revised" into what follows "had".
func pastOf(verbs string) string {
	return strings.ReplaceAll(strings.ReplaceAll(verbs, "were ", "been "), "had another", "met with another")
}

func (s *followed) countSentence() report.Text {
	g := s.total()
	t := say(value(s.countID(g, "shoulders")), " shoulders ", s.ofPatients(), "were counted: ")
	var ends []report.Text
	for i, cause := range s.episodes.Causes {
		ends = append(ends, say(value(s.countID(g, "ended-"+slug(string(cause)))), " "+causeName(s.episodes.Causes, i)))
	}
	ends = append(ends, say(value(s.countID(g, "ended-censored")), " were still under observation at the end"))
	return say(t, join(ends), ".")
}

// ofPatients says how many patients the shoulders belong to, where the data tell patients apart.
func (s *followed) ofPatients() report.Text {
	if s.cohort.Registry.Anonymous {
		return nil
	}
	return say("of ", value(s.countID(s.total(), "patients")), " patients ")
}

// brief is the answer for the top of the report: the headline at its latest time.
func (s *implant) brief() {
	t, ok := s.latest(s.measures[0])
	if !ok {
		return
	}
	m, groups := s.measures[0], s.shownGroups()
	var values []report.Text
	for _, g := range groups {
		number := say(shown{s.pointID(m, g, t), report.ShowValueAndRange})
		if len(groups) > 1 {
			number = append(number, report.Span{Words: " in " + s.spoken(g.label)})
		}
		values = append(values, number)
	}
	at := shown{s.pointID(m, groups[0], t), report.ShowAt}
	s.short[s.asked.ID] = say(sentence(s.endpoint.Label)+" within ", at, fmt.Sprintf(" (%s, %s%% interval): ", m.name,
		plain(100*s.asked.Level)), join(values), ".")
}

// shownGroups are the groups that a sentence names: each where they are few, the whole cohort otherwise.
func (s *followed) shownGroups() []group {
	if groups := s.parts(); len(groups) <= manyGroups {
		return groups
	}
	return s.groups[len(s.groups)-1:]
}

// methodText is made from what was done, in sentences fit for a methods paragraph.
func (s *implant) methodText() []report.Text {
	texts := s.estimateTexts()
	if s.asked.Hazard > 0 {
		texts = append(texts, s.hazardText())
	}
	if len(s.asked.Shares) > 0 {
		texts = append(texts, sharesText())
	}
	return texts
}

func (s *followed) timeText() report.Text {
	return s.withChoices(fmt.Sprintf("The unit of analysis is the shoulder. Time runs in whole days from the index procedure to %s%s or the end of "+
		"observation, whichever came first; a year is 365.25 days and a month a twelfth of it. An event counts before a censoring of the same day.",
		s.endpoint.Label, s.competingClause()))
}

func (s *followed) incidenceText() report.Text {
	return report.Words("Cumulative incidence is the Aalen–Johansen estimate (Aalen and Johansen, Scand J Stat 1978;5:141) with " + s.incidenceVariance() +
		", the other ways follow-up can end being competing events.")
}

func (s *followed) survivalText() report.Text {
	variance := "Greenwood's variance"
	if s.byRows() {
		variance = "a " + s.varianceWords("") + " (infinitesimal jackknife; Williams, Lifetime Data Anal 1995;1:171)"
	}
	return report.Words("Survival is the product-limit estimate (Kaplan and Meier, J Am Stat Assoc 1958;53:457) with " + variance +
		"; events other than the endpoint are censored in it.")
}

func (s *followed) intervalText() report.Text {
	return report.Words(fmt.Sprintf("Intervals aim at %s%% and are made on the %s scale (Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data).",
		plain(100*s.asked.Level), s.asked.Interval))
}

func (s *followed) competingClause() string {
	var words []string
	for _, c := range s.endpoint.Competing {
		words = append(words, map[string]string{"died": "death", "other_revision": "revision for another reason",
			"other_event": "another event"}[string(c)])
	}
	if len(words) == 0 {
		return ""
	}
	return ", " + strings.Join(words, ", ")
}

// notes say aloud what a reviewer would ask about the episodes.
func (s *followed) notes() []report.Text {
	e := s.episodes
	var notes []report.Text
	note := func(n int, slug, measure, unit, one, many, rest string) {
		if n == 0 {
			return
		}
		words := many
		if n == 1 {
			words = one
		}
		id := report.Count(s.id("note", slug), s.asked.ID, measure, n, unit)
		id.Endpoint, id.Cohort = s.endpoint.ID, s.cohort.Name
		notes = append(notes, say(value(s.add(id)), " "+words+rest))
	}
	note(e.DayZero, "day-zero", "events on the day of the operation", "shoulders", "event fell", "events fell", " on the day of the operation and stay in.")
	note(e.Simultaneous, "simultaneous", "endpoint and a competing event on one day", "shoulders", "shoulder had", "shoulders had",
		" the endpoint and a competing event on one day; the endpoint counts.")
	s.choiceNotes(note)
	note(e.Bilateral, "bilateral", "patients with two or more shoulders in the cohort", "patients", "patient has", "patients have", s.bilateralWords())
	if s.cohort.Registry.Anonymous {
		notes = append(notes, report.Words("The data do not tell patients apart, so every row counts as a patient of its own; "+
			"where patients have two shoulders in, the intervals are too narrow."))
	}
	for _, label := range e.Empty {
		notes = append(notes, report.Words("No shoulder is in the group “"+label+"”, so it is not shown."))
	}
	return notes
}

// bilateralWords says what was done about patients with two shoulders in.
func (s *followed) bilateralWords() string {
	if s.clustered {
		return " two or more shoulders in the cohort. Standard errors are clustered by patient, so that the shoulders of one patient are not taken " +
			"for those of two."
	}
	return " two or more shoulders in the cohort. As the plan asks, the intervals here take shoulders as independent, which makes them too short when the two " +
		"sides of a patient fail alike."
}
