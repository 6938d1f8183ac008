package analyses

import (
	"math"

	"deltoid/pipeline/report"
	"deltoid/stats/change"
)

// thresholdAnswer says between which amounts the methods lie, and whether the answers can carry one.
func (s *thresholds) thresholdAnswer() []report.Text {
	var texts []report.Text
	for _, a := range s.asking {
		texts = append(texts, s.spanWords(a))
	}
	if len(texts) > 0 {
		s.short[s.asked.ID] = texts[0]
	}
	return texts
}

func (s *thresholds) spanWords(a *asking) report.Text {
	name := inSentence(benefitWords[a.of]) + " of " + s.instrument.Spoken + " at " + s.visitWords(s.last())
	if a.anchor != nil && !a.table.Anchor.Support.OK() {
		return report.Words("The " + name + " cannot be found from " + instrumentSpoken(a.code) + ": " + s.refusal(a) + ".")
	}
	low, high, n := "", "", 0
	least, most := math.Inf(1), math.Inf(-1)
	for _, t := range a.table.Rows {
		if !s.shows(a, t.Method) || t.Method.Ratio() || !t.OK() || a.anchor != nil && !t.Method.FromAnchor() {
			continue
		}
		id := thresholdID(s.asked.ID, a.of, t.Method)
		n++
		if t.Value < least {
			least, low = t.Value, id
		}
		if t.Value > most {
			most, high = t.Value, id
		}
	}
	switch {
	case n == 0:
		return report.Words("No method gives the " + name + "; the table says why.")
	case n == 1:
		return say("The "+name+" is ", withInterval(low), " "+s.points()+" by the one method that gives it.")
	}
	t := say("The "+name+" lies between ", value(low), " and ", value(high), " "+s.points()+", by method")
	if a.anchor != nil {
		t = say(t, " from "+instrumentSpoken(a.code))
	}
	if r := a.table.Row(change.PredictiveReliable); r.OK() && s.shows(a, change.PredictiveReliable) {
		t = say(t, "; adjusted for the proportion improved and the reliability of the answers it is ", withInterval(thresholdID(s.asked.ID, a.of, change.PredictiveReliable)))
	} else if r := a.table.Row(change.PredictiveAdjusted); r.OK() && s.shows(a, change.PredictiveAdjusted) {
		t = say(t, "; adjusted for the proportion improved it is ", withInterval(thresholdID(s.asked.ID, a.of, change.PredictiveAdjusted)))
	}
	return say(t, ".")
}

func (s *thresholds) thresholdMethod() []report.Text {
	return []report.Text{report.Words("Thresholds are of groups and are applied to shoulders as common practice. From the anchor: mean improvement of those who are just improved enough, and its difference from that of the unchanged; cut points of the receiver operating characteristic " +
		"by Youden's index and by the distance to the corner, the direction being that of the scale and never taken from the data; predictive modelling by logistic regression (Terluin and others, J Clin Epidemiol 2015;68:1388), adjusted for the proportion improved (2017;83:90), " +
		"and adjusted for the reliability of the answers too (Qual Life Res 2022;31), where the plan gives it. From the distribution: parts of the standard deviation before the operation (Norman and others, Med Care 2003;41:582), and the error of measurement where the plan gives the reliability of the score. " +
		"Intervals come from drawing patients again with all their shoulders, by percentiles and corrected for bias and skewness; for cut points they are common practice and no more. Where the checks of the anchor fail, its thresholds are not given.")}
}
