package analyses

import (
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/change"
)

func (s *recovery) recoveryHeading() string {
	heading := "Recovery: " + s.instrument.Title
	if by := s.byWords(); by != "" {
		heading += ", by " + by
	}
	return heading + withinWords(s.asked)
}

func (s *recovery) recoveryQuestion() string {
	if s.about == change.OfState {
		return "How many reach a state that they call acceptable?"
	}
	return "How many improve by an amount that matters?"
}

// recoveryAnswer says it for a hundred shoulders, then by group, then what the missing could make of it.
func (s *recovery) recoveryAnswer() []report.Text {
	if len(s.each) == 0 {
		return []report.Text{report.Words("No visit after the operation is asked about.")}
	}
	v, last := s.each[len(s.each)-1], len(s.labels)-1
	texts := s.doubts(v)
	if !s.get(v.share[0][last]).Value.Known {
		t := say("At "+s.visitWords(v.k)+" no share can be given: "+s.get(v.share[0][last]).Note, ".")
		s.short[s.asked.ID] = t
		return append(texts, t)
	}
	lead := say("Of 100 shoulders like these "+s.likeWords(v.k)+", ", report.Text{{Estimate: v.share[0][last], Show: report.ShowOfHundred}}, " ", s.says(s.goals[0]),
		s.inWords()+"; the threshold was "+s.goals[0].source+".")
	s.short[s.asked.ID] = lead
	if len(texts) > 0 {
		s.short[s.asked.ID] = say("Read with care: the scores look worse than before the operation. ", lead)
	}
	texts = append(texts, lead)
	if t, any := s.groupWords(v); any {
		texts = append(texts, t)
	}
	return append(texts, say("Of ", value(v.counted[last]), " shoulders "+s.dueWords()+"due at that visit, ", value(v.missing[last]), " have no score there. "+s.allWords()+" the share is ", withInterval(v.weighted[last]),
		"; whatever the missing scores were, it lies between ", value(v.least[last]), " and ", value(v.most[last]), "."))
}

func (s *recovery) dueWords() string {
	if s.about == change.OfState {
		return ""
	}
	return "with a score before the operation and "
}

// allWords begin the sentence on the weighted share.
func (s *recovery) allWords() string {
	switch revised, died := s.asked.Scores.Revised == plan.NotImproved, s.asked.Scores.Died == plan.NotImproved; {
	case revised && died:
		return "Weighted for who is missing, with those who were revised or died counted as not improved,"
	case revised:
		return "Weighted for who is missing, with the revised counted as not improved,"
	case died:
		return "Weighted for who is missing, with those who died counted as not improved,"
	}
	return "Weighted for who is missing"
}

func (s *recovery) likeWords(k int) string {
	if s.about == change.OfState {
		return "with a score at " + s.visitWords(k)
	}
	return "with a score before the operation and at " + s.visitWords(k)
}

// inWords ends "improved by at least 20 points": in which score. A state is said with its score too.
func (s *recovery) inWords() string {
	if s.about == change.OfState {
		return " on the scale of " + s.instrument.Spoken
	}
	return " in " + s.instrument.Spoken
}

// groupWords gives the share of each group; one without scores says so.
func (s *recovery) groupWords(v *visitCount) (report.Text, bool) {
	groups := s.compared()
	if len(groups) < 2 || len(groups) > mostCourses {
		return nil, false
	}
	var items, without []report.Text
	for _, group := range groups {
		if v.scored[group] == 0 {
			without = append(without, report.Words(inSentence(s.labels[group])))
			continue
		}
		items = append(items, say(inSentence(s.labels[group])+" ", report.Text{{Estimate: v.share[0][group], Show: report.ShowValueAndRange}}))
	}
	if len(items) == 0 {
		return nil, false
	}
	t := say("By "+s.byWords()+": ", join(items), ".")
	if len(without) > 0 {
		t = say(t, " Nothing can be said of ", join(without), ": no shoulder there has the scores.")
	}
	return t, true
}

// doubts says aloud what looks as if the scale, or its direction, were declared wrong.
func (s *recovery) doubts(v *visitCount) []report.Text {
	last := len(s.labels) - 1
	if s.about != change.OfChange || len(v.change) == 0 {
		return nil
	}
	e := s.get(v.change[last])
	if !e.Upper.Known || e.Upper.X >= 0 {
		return nil
	}
	t := say("Read with care: in the mean "+s.instrument.Spoken+" is worse at "+s.visitWords(v.k)+" than before the operation, by ", withInterval(v.change[last]), " "+s.points()+". ")
	if names := s.instrument.ScaleNames(); len(names) > 1 {
		return []report.Text{say(t, "The instrument is in use on the scales "+joinWords(names)+": see whether the plan declares the right one under scales.")}
	}
	return []report.Text{say(t, "See whether the export has it the right way round.")}
}

// rulingWords say how revised shoulders and those of the dead count.
func (s *recovery) rulingWords() string {
	return "A shoulder that was revised before the visit " + rulingWord[s.asked.Scores.Revised] + "; one whose patient had died " + rulingWord[s.asked.Scores.Died] + "."
}

var rulingWord = map[plan.Ruling]string{plan.NotImproved: "counts as not improved", plan.LeftOut: "is left out", plan.Missing: "counts as one whose score is missing"}

func (s *recovery) recoveryNotes() []report.Text {
	notes := []report.Text{}
	if s.instrument.Scale != "" {
		notes = append(notes, report.Words("The scale of "+s.instrument.Spoken+" is "+s.instrument.Scale+"; values that the plan declares to be on another one, and published thresholds, were turned into it."))
	}
	return notes
}

func (s *recovery) recoveryMethod() []report.Text {
	text := "Improvement is the score at the visit less the score before the operation, so that more is better"
	if !s.scale.HigherIsBetter() {
		text = "Improvement is the score before the operation less the score at the visit, since lower scores are better"
	}
	if s.about == change.OfState {
		text = "A shoulder reached the state when its score at the visit was as good as the threshold or better"
	}
	text += ". " + s.rulingWords() + " Shares have Wilson's interval"
	if s.patient != nil {
		text += ", with the number of shoulders divided by the design effect of patients with two"
	}
	text += "; differences have Newcombe's interval (Stat Med 1998;17:873)"
	if len(s.asked.AdjustFor) > 0 {
		text += "; adjusted differences are standardised shares of a logistic regression, their variance summed over patients"
	}
	text += ". Missing scores are treated in three ways: left out; weighted by one over the chance of having a score, from a logistic regression on what is known at the operation (a value that is not recorded counts as the average); and as bounds " +
		"(Manski, Am Econ Rev 1990;80:319), with all of them below and all above the threshold. No threshold is a default: each was named in the study plan."
	return []report.Text{report.Words(text)}
}
