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

func (s *implant) heading() string {
	h := sentence(s.endpoint.Label)
	if by := s.byWords(); by != "" {
		h += ", by " + by
	}
	return h
}

// byWords names the field of the groups, empty when there is none.
func (s *implant) byWords() string {
	f := s.cohort.Registry.Table.Schema.Field(s.asked.Groups.By)
	switch {
	case s.asked.Groups.By == "":
		return ""
	case f != nil && f.Title != "":
		return strings.ToLower(f.Title[:1]) + f.Title[1:]
	default:
		return s.asked.Groups.By
	}
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
	t, ok := s.latest()
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

// latest returns the latest time at which every group has an estimate of the headline.
func (s *implant) latest() (float64, bool) {
	for i := len(s.asked.Times) - 1; i >= 0; i-- {
		t, all := s.asked.Times[i], true
		for _, g := range s.groups {
			all = all && s.get(s.pointID(s.measures[0], g, t)).Value.Known
		}
		if all {
			return t, true
		}
	}
	return 0, false
}

// answerFor is the sentence of one measure at one time: every group where they are few, the whole cohort otherwise.
func (s *implant) answerFor(m measure, t float64) report.Text {
	groups := s.parts()
	if len(groups) > manyGroups {
		groups = s.groups[len(s.groups)-1:]
	}
	var values []report.Text
	for _, g := range groups {
		number := say(withInterval(s.pointID(m, g, t)))
		if len(s.groups) > 1 && g.slug != s.total().slug {
			number = append(number, report.Span{Words: " in " + s.spoken(g.label)})
		}
		values = append(values, number)
	}
	at := shown{s.pointID(m, groups[0], t), report.ShowAt}
	return say("At ", at, s.condition(m), ", the "+m.shortName()+" of "+s.endpoint.Label+" was ", join(values), ".")
}

// shortName is the measure without its endpoint.
func (m measure) shortName() string {
	switch m.slug {
	case "incidence":
		return "cumulative incidence"
	case "net":
		return "cumulative probability (1 − survival)"
	default:
		return "probability of being free"
	}
}

// condition says what a measure supposes.
func (s *implant) condition(m measure) string {
	switch {
	case len(s.episodes.Causes) == 1:
		return ""
	case m.slug == "incidence":
		return ", counting that some patients " + s.competingWords(" or ") + " first"
	default:
		return ", had nobody " + strings.ReplaceAll(s.competingWords(" or "), "were ", "been ") + " first"
	}
}

func (s *implant) countSentence() report.Text {
	g := s.total()
	t := say(value(s.countID(g, "shoulders")), " shoulders were counted: ")
	var ends []report.Text
	for _, cause := range s.episodes.Causes {
		ends = append(ends, say(value(s.countID(g, "ended-"+slug(string(cause)))), " "+causeNames[cause]))
	}
	ends = append(ends, say(value(s.countID(g, "ended-censored")), " were still under observation at the end"))
	return say(t, join(ends), ".")
}

// methodText is made from what was done, in sentences fit for a methods paragraph.
func (s *implant) methodText() []report.Text {
	texts := []report.Text{report.Words(fmt.Sprintf("The unit of analysis is the shoulder. Time runs in whole days from the index procedure to %s%s or the end of "+
		"observation, whichever came first; a year is 365.25 days and a month a twelfth of it. An event counts before a censoring of the same day.",
		s.endpoint.Label, s.competingClause()))}
	if len(s.episodes.Causes) > 1 {
		texts = append(texts, report.Words("Cumulative incidence is the Aalen–Johansen estimate (Aalen and Johansen, Scand J Stat 1978;5:141), "+
			"with the other ways follow-up can end as competing events."))
	}
	texts = append(texts,
		report.Words("Survival is the product-limit estimate (Kaplan and Meier, J Am Stat Assoc 1958;53:457) with Greenwood's variance; "+
			"events other than the endpoint are censored in it."),
		report.Words(fmt.Sprintf("Intervals aim at %s%% and are made on the %s scale (Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data).",
			plain(100*s.asked.Level), s.asked.Interval)))
	return texts
}

func (s *implant) competingClause() string {
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
func (s *implant) notes() []report.Text {
	e := s.episodes
	var notes []report.Text
	note := func(n int, slug, one, many, rest string) {
		if n == 0 {
			return
		}
		words := many
		if n == 1 {
			words = one
		}
		id := report.Count(s.id("note", slug), s.asked.ID, many, n, "shoulders")
		id.Endpoint, id.Cohort = s.endpoint.ID, s.cohort.Name
		notes = append(notes, say(value(s.add(id)), " "+words+rest))
	}
	note(e.DayZero, "day-zero", "event fell", "events fell", " on the day of the operation and stay in.")
	note(e.Simultaneous, "simultaneous", "shoulder had", "shoulders had",
		" the endpoint and a competing event on one day; the endpoint counts.")
	note(e.Bilateral, "bilateral", "patient has", "patients have",
		" both shoulders in. The intervals here take shoulders as independent, which is slightly too sure of itself when the two "+
			"sides of a patient fail alike.")
	if s.cohort.Registry.Anonymous {
		notes = append(notes, report.Words("The data do not tell patients apart, so every row counts as a patient of its own; "+
			"where patients have two shoulders in, the intervals are too narrow."))
	}
	for _, label := range e.Empty {
		notes = append(notes, report.Words("No shoulder is in the group “"+label+"”, so it is not shown."))
	}
	return notes
}
