package analyses

import (
	"strings"

	"deltoid/pipeline/report"
	"deltoid/stats/power"
)

// findings say what a study is to find or to show, after "a power of 90% to". Between braces stand the names of assumptions, {A}
// and {B} for the groups, {outcome} and {measured}. A part between double brackets is left out when an assumption in it was
// not given.
var findings = map[string]string{
	"one mean":                     "find a mean that is {difference} {measured} away from the fixed value, with a standard deviation of {sd}",
	"two means":                    "find a difference of {difference} {measured} between the means of {A} and {B}, with a standard deviation of {sd}[[ in {A} and {sd_second} in {B}]]",
	"paired means":                 "find a mean difference of {difference} {measured} within pairs, with a standard deviation of {sd} and a correlation of {correlation} between the two values",
	"non-inferior mean":            "show that the mean of {B} is less than {margin} {measured} worse than that of {A}, when the true difference to the better is {difference} and the standard deviation {sd}[[ in {A} and {sd_second} in {B}]]",
	"equivalent means":             "show that the means of {A} and {B} differ by less than {margin} {measured}, when the true difference is {difference} and the standard deviation {sd}[[ in {A} and {sd_second} in {B}]]",
	"repeated scores":              "find a difference of {difference} {measured} between {A} and {B}, with a standard deviation of {sd} and a correlation of {correlation} between scores of one shoulder",
	"correlation":                  "find a correlation of {correlation}",
	"ROC area":                     "find an area under the ROC curve of {area} where {reference} is to be exceeded",
	"one proportion":               "find a share of {proportion} with {outcome} where {reference} would be expected",
	"two proportions":              "find a difference between {first} with {outcome} in {A} and {second} in {B}",
	"non-inferior proportion":      "show that {B} is less than {margin} worse than {A}, when {first} have {outcome} in {A} and {second} in {B}",
	"paired proportions":           "find a difference between pairs, when in {only_first} of them only the first has {outcome} and in {only_second} only the second",
	"responders":                   "find a difference in the share that improves by {threshold} {measured} or more, when the mean change is {mean_first} in {A} and {mean_second} in {B} with a standard deviation of {sd}",
	"survival of two groups":       "find a hazard ratio of {hazard_ratio} for {B} against {A}, when {first} of {A} come to {outcome} within {at}",
	"events for a hazard ratio":    "find a hazard ratio of {hazard_ratio} for {B} against {A}",
	"survival against a benchmark": "find a hazard ratio of {hazard_ratio} against a benchmark by which {first} come to {outcome} within {at}",
	"hazard of a characteristic":   "find a hazard ratio of {hazard_ratio} for one unit more of the characteristic, whose standard deviation is {spread} and of whose variance the other characteristics explain {explained}, when {event_share} of the shoulders are seen to come to {outcome}",
	"cumulative incidence":         "find a difference between {first} of {A} and {second} of {B} who come to {outcome} within {at}, deaths that come first taken into account",
	"one rate":                     "find a rate of {rate} where {reference} would be expected",
	"two rates":                    "find a difference between a rate of {rate_first} in {A} and {rate_second} in {B}",
	"width of a mean":              "estimate the mean, when the standard deviation is {sd}",
	"width of a proportion":        "estimate the share with {outcome}, when it is {proportion}",
	"width of a survival":          "estimate survival free of {outcome} at {at}, when {first} have come to it by then",
	"width of an MCID":             "estimate the minimal clinically important difference, when {category_share} of the shoulders are a little better and their change has a standard deviation of {sd}",
}

// notWorse replaces the finding where a margin makes the design one of non-inferiority.
const notWorse = "show that the hazard of {outcome} in {B} is less than {margin} times that in {A}, when the true hazard ratio is {hazard_ratio} and {first} of {A} come to {outcome} within {at}"

// fill puts numbers and words into a sentence.
func (s *planning) fill(template string) report.Text {
	for {
		from := strings.Index(template, "[[")
		if from < 0 {
			break
		}
		to := strings.Index(template, "]]")
		part := template[from+2 : to]
		if !s.knows(part) {
			part = ""
		}
		template = template[:from] + part + template[to+2:]
	}
	var text report.Text
	for {
		before, rest, more := strings.Cut(template, "{")
		if before != "" {
			text = append(text, report.Span{Words: before})
		}
		if !more {
			return text
		}
		var name string
		name, template, _ = strings.Cut(rest, "}")
		text = append(text, s.filled(name))
	}
}

// knows says whether every assumption between braces was given.
func (s *planning) knows(part string) bool {
	for _, piece := range strings.Split(part, "{")[1:] {
		name, _, _ := strings.Cut(piece, "}")
		if _, word := s.word(name); !word {
			if _, ok := s.answer.Given[power.Name(name)]; !ok {
				return false
			}
		}
	}
	return true
}

func (s *planning) word(name string) (string, bool) {
	w, ok := map[string]string{"A": s.asked.Groups[0], "B": s.asked.Groups[1], "outcome": s.asked.Outcome, "measured": s.asked.Measured}[name]
	return w, ok
}

func (s *planning) filled(name string) report.Span {
	if w, ok := s.word(name); ok {
		return report.Span{Words: w}
	}
	return s.assumedSpan(power.Name(name))
}

// assumedSpan shows an assumption: as it was given, or, of the one that was worked out, as any result.
func (s *planning) assumedSpan(name power.Name) report.Span {
	show := report.ShowGiven
	if name == s.answer.Solved {
		show = report.ShowValue
	}
	return report.Span{Estimate: s.assumedID(name), Show: show}
}

// assumed is assumedSpan as a text.
func (s *planning) assumed(name power.Name) report.Text { return report.Text{s.assumedSpan(name)} }

func (s *planning) finding() report.Text {
	if _, ok := s.answer.Given[power.Margin]; ok && s.asked.Design.ID == "survival of two groups" {
		return s.fill(notWorse)
	}
	return s.fill(findings[s.asked.Design.ID])
}

// sentences say the answer as an ethics board wants to read it: the number with all that it rests on.
func (s *planning) sentences() []report.Text {
	texts := []report.Text{s.mainSentence()}
	if t := s.circumstances(); len(t) > 0 {
		texts = append(texts, t)
	}
	return texts
}

// mainSentence is the answer in one sentence.
func (s *planning) mainSentence() report.Text {
	d := s.asked.Design
	size := say(s.assumed(power.Size), " "+d.Counted)
	if d.Groups == 2 && s.sizeUnit() != power.Events {
		size = append(size, say(" (", value(s.id("recruited.1")), " in "+s.asked.Groups[0]+", ", value(s.id("recruited.2")), " in "+s.asked.Groups[1]+")")...)
	}
	verb := "have to be recruited"
	if s.sizeUnit() != power.Persons {
		verb = "are needed"
	}
	if d.Goal == power.HalfWidth {
		precise := say(s.finding(), ", to within ", value(s.id("reached")), s.pointsWord(), " on either side (", s.assumed(power.Level), " interval)")
		if s.answer.Solved == power.Size {
			return say(size, " "+verb+" to ", precise, ".")
		}
		return say("A study of ", size, " will ", precise, ".")
	}
	with := say(", with "+s.test()+" at the ", s.assumed(power.Significance), " level")
	switch s.answer.Solved {
	case power.Size:
		return say(size, " "+verb+" for a power of ", s.assumed(power.Power), " to ", s.finding(), with, ".")
	case power.Power:
		return say("A study of ", size, " has a power of ", s.assumed(power.Power), " to ", s.finding(), with, ".")
	}
	return say("A study of ", size, " has a power of ", s.assumed(power.Power), " to ", s.finding(), with, "; it would miss a smaller effect more often.")
}

// pointsWord follows a half-width that is in points; others carry their unit.
func (s *planning) pointsWord() string {
	if t, _ := s.asked.Design.Taken(power.HalfWidth); t.Unit == power.Points {
		return " " + s.asked.Measured
	}
	return ""
}

// test is the test without how its power is worked out.
func (s *planning) test() string {
	test := s.answer.Method.Words
	for _, stop := range []string{" by ", ", with ", ", every ", ", the ", ", all ", ", of ", ", one "} {
		test, _, _ = strings.Cut(test, stop)
	}
	return test
}

// circumstances say over which time, with which loss and with which likeness, and what then is expected.
func (s *planning) circumstances() report.Text {
	var list []report.Text
	if _, over := s.asked.Design.Taken(power.Recruitment); over {
		entry, end := "Shoulders are recruited over {recruitment}", " and followed for {follow_up} after that"
		if s.answer.Given[power.Recruitment].Number == 0 {
			entry, end = "All shoulders enter at once", " and are followed for {follow_up}"
		} else if s.answer.Given[power.FollowUp].Number == 0 {
			end = ", and the study ends with the last of them"
		}
		list = append(list, s.fill(entry+end+"[[, each for {followed_for} at most]]; {loss} are lost to follow-up and {deaths} die within a year."))
		if p := s.answer.Given[power.Pattern].Word; p != "even" {
			list = append(list, report.Words("Recruitment is taken as "+p+"."))
		}
	} else if s.answer.Given[power.Loss].Number > 0 {
		list = append(list, s.fill("{loss} of those recruited are expected to give no result, which the size allows for."))
	}
	if s.has("events") {
		t := say("About ", value(s.id("events")), " events are expected to be observed")
		if s.has("events-unseen") {
			t = append(t, say("; ", value(s.id("events-unseen")), " more will never be seen because patients die first")...)
		}
		list = append(list, say(t, "."))
	}
	if t := s.likeness(); t != nil {
		list = append(list, t)
	}
	var text report.Text
	for i, t := range list {
		if i > 0 {
			text = append(text, report.Span{Words: " "})
		}
		text = append(text, t...)
	}
	return text
}

func (s *planning) has(quantity string) bool {
	for _, q := range s.answer.More {
		if q.Name == quantity {
			return true
		}
	}
	return false
}

// likeness says what shoulders of one patient or hospital do to the size.
func (s *planning) likeness() report.Text {
	c := s.answer.Clusters
	if c.Effect == 1 {
		return nil
	}
	t := say("The size allows for")
	if s.answer.Given[power.BothShoulders].Number > 0 {
		t = append(t, s.fill(" {both_shoulders} of the patients with both shoulders in, correlated by {shoulder_correlation},")...)
	}
	if s.answer.Given[power.HospitalSize].Number > 1 {
		t = append(t, s.fill(" hospitals of {hospital_size} shoulders on average (coefficient of variation {hospital_variation}), correlated by {hospital_correlation},")...)
	}
	switch c.Within {
	case "nothing":
		return append(t, say(" which multiplies it by ", value(s.id("design-effect")), ": shoulders that are alike tell partly the same.")...)
	}
	return append(t, say(" which multiplies it by ", value(s.id("design-effect")), ": the comparison is made within "+c.Within+", and what is shared there falls out of it.")...)
}

// methods are the paragraph for the protocol: the answer with all that it rests on, how it was worked out, and the source.
func (s *planning) methods() []report.Text {
	t := say("For the protocol: ", s.mainSentence())
	if more := s.circumstances(); len(more) > 0 {
		t = append(t, say(" ", more)...)
	}
	return []report.Text{say(t, " ", s.workedOut())}
}

// workedOut says by which test and formula, with the source.
func (s *planning) workedOut() report.Text {
	m := s.answer.Method
	what := map[power.Name]string{power.Size: "The size of the study", power.Power: "The power of the study", power.HalfWidth: "The width of the interval"}[s.answer.Solved]
	if what == "" {
		what = "The smallest detectable effect"
	}
	exact := "The formula is an approximation."
	if m.Exact {
		exact = "The calculation is exact under these assumptions."
	}
	t := say(what + " was worked out for " + m.Words + " (" + m.Source + "). " + exact)
	if s.answer.Solved == power.Size && s.sizeUnit() == power.Persons {
		t = append(t, say(" The size was rounded up in each group, from ", value(s.id("unrounded")), " in all, and its power is ", value(s.id("reached")), ".")...)
		if s.asked.Design.Goal != power.Power {
			t = say(what+" was worked out for "+m.Words+" ("+m.Source+"). The size was rounded up from ", value(s.id("unrounded")), ".")
		}
	}
	if s.answer.Clusters.Effect != 1 {
		t = append(t, say(" Shoulders of one patient or hospital were allowed for by the design effect (Kish, Survey Sampling, 1965; for unequal clusters Eldridge, Ashby and Kerry, Int J Epidemiol 2006;35:1292).")...)
	}
	if usual := s.usual(); usual != "" {
		t = append(t, say(" Not stated in the plan, and taken as usual: "+usual+".")...)
	}
	return t
}

// usual lists the choices that were filled in and that matter.
func (s *planning) usual() string {
	var list []string
	for _, t := range s.asked.Design.Takes {
		if _, given := s.asked.Given[t.Name]; given || t.Usual == nil || t.Name == power.BothShoulders || t.Name == power.HospitalSize || t.Name == power.ComparedWithin {
			continue
		}
		list = append(list, t.Words+": "+t.Usual.Describe())
	}
	return strings.Join(list, "; ")
}

// remarks warn where the formula is a poor guide.
func (s *planning) remarks() []report.Text {
	var notes []report.Text
	if hr := s.answer.Given[power.HazardRatio].Number; hr > 0 && s.asked.Design.Groups == 2 && s.answer.Given[power.Formula].Word != "" {
		if k := s.answer.Given[power.Allocation].Number; (k > 1.5 || k < 1/1.5) && (hr < 0.6 || hr > 1/0.6) {
			notes = append(notes, report.Words("With a large effect and unequal groups the formulas for the log-rank test differ from the truth by up to 13 points of power; make studies up to check (simulations), or plan equal groups."))
		}
	}
	if _, ok := s.answer.Given[power.BothShoulders]; ok && s.answer.Clusters.Effect == 1 {
		notes = append(notes, report.Words("One shoulder of each patient is counted on, and hospitals are not thought to differ; say otherwise with both_shoulders and hospital_size."))
	}
	return notes
}
