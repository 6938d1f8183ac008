package analyses

import (
	"strings"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// enoughEvents is how many events a model should have for each coefficient; fewer make ratios too large and intervals too
// short. A common rule (Peduzzi and others 1995), not a law.
const enoughEvents = 10

func (s *modelled) modelHeading() string {
	what := map[plan.Model]string{plan.HazardModel: "Hazard of ", plan.IncidenceModel: "Cumulative incidence of ", plan.OddsModel: "Odds of ",
		plan.RateModel: "Rate of "}[s.asked.Model]
	h := what + s.endpoint.Label
	if s.asked.Horizon > 0 && s.ofOutcome() {
		h += map[plan.Model]string{plan.OddsModel: " by ", plan.RateModel: " up to "}[s.asked.Model] + s.horizonWords()
	}
	if by := s.byWords(); by != "" {
		h += ", by " + by
	}
	if len(s.asked.AdjustFor) > 0 {
		h += ", adjusted"
	}
	return h + s.chosen()
}

func (s *modelled) modelQuestion() string {
	switch {
	case s.asked.Model == plan.IncidenceModel:
		return "Which characteristics go with more or fewer who come to " + s.endpoint.Label + ", given that some come to another end first?"
	case s.asked.Outcome != nil && s.asked.Model == plan.OddsModel:
		return "Which characteristics go with higher or lower odds of " + s.endpoint.Label + "?"
	case s.asked.Model == plan.OddsModel:
		return "Which characteristics go with higher or lower odds of having come to " + s.endpoint.Label + " by " + s.horizonWords() + "?"
	case s.counts():
		return "Which characteristics go with more or less of " + s.endpoint.Label + "?"
	case s.asked.Model == plan.RateModel:
		return "Which characteristics go with more or fewer events of " + s.endpoint.Label + " for a time at risk?"
	}
	return "Which characteristics go with a higher or lower rate of " + s.endpoint.Label + " among those who still can come to it?"
}

// answerRoom is how many effects the answer names, and briefRoom how many the top of the report does when there are no groups.
const (
	answerRoom = 4
	briefRoom  = 2
)

// spokenGroup names what a ratio compares inside a sentence.
func spokenGroup(t *term, e effect) string {
	for _, x := range t.effects {
		if x.reference && !e.reference {
			return t.spoken(e.label) + " against " + t.spoken(x.label)
		}
	}
	return inSentence(e.label)
}

// modelAnswer says the ratios, of the groups where there are some; or why there are none.
func (s *modelled) modelAnswer() []report.Text {
	who := say("The model has ", value(s.usedID()), " of ", value(s.allID()), " shoulders, with ", value(s.eventID()),
		" "+strings.ToLower(s.endpointWord())+": ", value(s.eachID()), ".")
	if s.tellsUnknown() {
		who = append(who, say(" Left out are ", value(s.unknownID()), " shoulders "+s.unknownClause()+".")...)
	}
	if s.fit.why != "" {
		s.short[s.asked.ID] = report.Words(s.modelHeading() + ": the model cannot be estimated; the section says why.")
		return []report.Text{report.Words("The model cannot be estimated: " + s.fit.why + "."), who}
	}
	texts := []report.Text{s.ratioSentence(), who}
	if few := float64(s.events) / float64(max(1, s.coefficients())); few < enoughEvents {
		texts = append(texts, report.Words("That is few: below ten for each coefficient, ratios tend to be too large and intervals too short. "+s.fewWords()))
	}
	return append(texts, s.steadySentences()...)
}

// unknownClause says of shoulders why their outcome is not known.
func (s *modelled) unknownClause() string {
	if s.asked.Outcome != nil {
		return "whose outcome is not recorded"
	}
	return s.unknownWords()
}

// ratioSentence says the ratios of the groups, or of the first characteristics.
func (s *modelled) ratioSentence() report.Text {
	terms := s.terms
	if s.asked.Groups.By != "" {
		terms = terms[:1]
	}
	var parts, brief []report.Text
	for _, t := range terms {
		for _, e := range t.effects {
			if e.reference || t.between[0] != nil || len(parts) == answerRoom {
				continue
			}
			id := s.effectID("ratio", t, e)
			name := spokenGroup(t, e)
			if s.asked.Groups.By == "" {
				name = inSentence(t.title) + ": " + name
			}
			name += s.whereOthersAre(t)
			parts = append(parts, say(withInterval(id), ", p ", value(s.effectID("p", t, e)), " ("+name+")"))
			if len(brief) < briefRoom || s.asked.Groups.By != "" {
				brief = append(brief, say(inTable(id), " ("+name+")"))
			}
		}
	}
	start := "The " + s.ratioWords() + " of " + s.what() + " is "
	if s.coefficients() > 1 && len(s.terms) > 1 {
		start = "Adjusted for the other characteristics of the model, the " + s.ratioWords() + " of " + s.what() + " is "
	}
	s.short[s.asked.ID] = say(sentence(s.ratioWords())+" of "+s.what()+": ", join(brief), ".")
	return say(start, join(parts), ".")
}

// whereOthersAre says at which values of the others, with which a term has an interaction, its ratios hold.
func (s *modelled) whereOthersAre(t *term) string {
	var out string
	for _, x := range s.terms {
		other := x.between[1]
		if other == t {
			other = x.between[0]
		} else if x.between[0] != t {
			continue
		}
		out += ", where " + inSentence(other.title) + " is " + other.originWords()
	}
	return out
}

// modelMethod is the method, in sentences fit for a paper.
func (s *modelled) modelMethod() []report.Text {
	texts := []report.Text{s.timeText(), report.Words(s.modelText() + s.varianceText()), report.Words(s.formText())}
	if s.asked.Outcome != nil {
		texts[0] = report.Words("The unit of analysis is the shoulder. The outcome is " + s.endpoint.Label + ".")
	}
	if s.fit.hazard != nil && s.fit.why == "" {
		if len(s.asked.Times) > 0 {
			texts = append(texts, report.Words("In a further model ratios may differ between stretches of follow-up; whether they do is tested by the differences from the "+
				"first stretch, with the variance of the model's intervals."))
		}
		texts = append(texts, report.Words("Proportional hazards were tested by the score of an effect that changes with 1 − survival just before the event "+
			"(Grambsch and Therneau, Biometrika 1994;81:515), for each characteristic and for all; the test takes shoulders as independent. Concordance is the share of "+
			"pairs of shoulders that the model puts into the order of their events (Harrell and others, J Am Med Assoc 1982;247:2543; weighted for censoring: Uno and others, Stat Med 2011;30:1105)."))
	}
	if s.fit.incidence != nil && s.fit.why == "" {
		texts = append(texts, report.Words("Proportional subdistribution hazards were tested by the score of an effect that changes with the share of the events before "+
			"(Zhou, Fine and Laird, Stat Med 2013;32:3804), with the variance of the model's intervals."))
	}
	return texts
}

// modelText names the model and its source.
func (s *modelled) modelText() string {
	if s.asked.Model == plan.IncidenceModel {
		return "The cumulative incidence was modelled by proportional subdistribution hazards (Fine and Gray, J Am Stat Assoc 1999;94:496): who comes to another end " +
			"first stays in the comparison, with a weight that falls as they would have been censored. Tied events are treated by Breslow's method; an event comes " +
			"before a censoring of the same day in the weights too. "
	}
	if s.ofOutcome() {
		return s.outcomeText()
	}
	text := "The hazard was modelled by Cox's proportional hazards (J R Stat Soc B 1972;34:187)"
	if len(s.episodes.Causes) > 1 {
		text += ", cause-specific: other ends of follow-up are censored"
	}
	text += map[plan.Ties]string{plan.EfronTies: ". Tied events are treated by Efron's method (J Am Stat Assoc 1977;72:557). ",
		plan.BreslowTies: ". Tied events are treated by Breslow's method (Biometrics 1974;30:89). ",
		plan.ExactTies:   ". Tied events are treated by the exact partial likelihood. "}[s.asked.Ties]
	if s.asked.Strata != "" {
		text += "Each group of " + s.fieldWords(s.asked.Strata) + " has a baseline hazard of its own. "
	}
	if s.asked.Penalised {
		text += "The likelihood is penalised (Firth, Biometrika 1993;80:27; Heinze and Schemper, Biometrics 2001;57:114), and intervals are those of its profile. "
	}
	return text
}

// outcomeText names a model of an outcome and its source.
func (s *modelled) outcomeText() string {
	text := "The odds were modelled by logistic regression (Cox, J R Stat Soc B 1958;20:215). "
	if s.asked.Model == plan.RateModel {
		text = "The number of events was modelled by Poisson regression"
		if s.years != nil && s.asked.Outcome == nil {
			text += " with the time at risk as offset, in years of 365.25 days (Frome, Biometrics 1983;39:665); who leaves on the day of the operation counts half a day"
		} else if s.years != nil {
			text += " with the time at risk as offset, taken from " + s.fieldWords(s.asked.Outcome.Time)
		}
		text += ". "
	}
	if s.asked.Penalised {
		text += "The likelihood is penalised (Firth, Biometrika 1993;80:27; Heinze and Schemper, Stat Med 2002;21:2409), and intervals are those of its profile. "
	}
	return text
}

// varianceText says what the intervals rest on.
func (s *modelled) varianceText() string {
	switch {
	case s.asked.Model == plan.IncidenceModel && s.clustered:
		return "The variance is clustered by patient (Zhou and others, Biostatistics 2012;13:371)."
	case s.asked.Model == plan.IncidenceModel:
		return "The variance is that of its inventors, which knows that the weights are estimated."
	case s.clustered && s.ofOutcome():
		return "The variance is clustered by patient (Liang and Zeger, Biometrika 1986;73:13)."
	case s.counts() && !s.asked.Penalised:
		return "The variance is robust: it does not suppose that counts vary as Poisson's do (White, Econometrica 1982;50:1)."
	case s.clustered:
		return "The variance is clustered by patient (Lin and Wei, J Am Stat Assoc 1989;84:1074)."
	case s.asked.Penalised:
		return "Shoulders are taken as independent."
	default:
		return "The variance is that of the model."
	}
}

// formText says in which form characteristics enter, and who is in the models.
func (s *modelled) formText() string {
	var splines []string
	for _, t := range s.terms {
		if t.asked.Knots > 0 {
			splines = append(splines, inSentence(t.title))
		}
	}
	text := "Models are fitted to the shoulders that have a value in every characteristic, the unadjusted ones too."
	if s.asked.Kind == plan.Validation {
		text = "The model is fitted to the shoulders that have a value in every characteristic."
	}
	text += " Measured characteristics enter as a straight line"
	if len(splines) > 0 {
		text += ", " + strings.Join(splines, ", ") + " as a natural cubic spline with knots at fixed quantiles (Harrell, Regression Modeling Strategies, 2001)"
	}
	if s.asked.Kind == plan.Validation {
		return text + ". Intervals aim at " + plain(100*s.asked.Level) + "%."
	}
	return text + ". Intervals aim at " + plain(100*s.asked.Level) + "%; p-values are two-sided and come from Wald tests. No characteristic was chosen by its p-value."
}

// modelNotes say what a reader should know about the ratios.
func (s *modelled) modelNotes() []report.Text {
	notes := []report.Text{report.Words("A ratio is not a cause: it says how groups that differ in one characteristic compare when they are alike in the others of the model, " +
		"not what a change would do.")}
	if s.fit.hazard != nil && s.fit.why == "" {
		notes = append(notes, say("Concordance: ", withInterval(s.concordanceID()), " of the pairs of shoulders are in the order that the model expects; one half is no "+
			"better than chance. Weighted so that censoring does not move it: ", withInterval(s.id("concordance-weighted")), ". Both are measured on the shoulders that the model was made from."))
	}
	notes = append(notes, s.outcomeNotes()...)
	if s.asked.Penalised && !s.ofOutcome() && s.asked.Variance == plan.Clustered && s.repeated() {
		notes = append(notes, report.Words("The penalised likelihood takes the two shoulders of a patient as independent, so that intervals are slightly too short."))
	}
	for _, t := range s.terms {
		if t.between[0] != nil {
			notes = append(notes, report.Words("Beside an interaction, the ratios of "+inSentence(t.between[0].title)+" and "+inSentence(t.between[1].title)+
				" are those at the reference of the other, or where it is 0 if it enters as a straight line; the ratio of an interaction is what the two together multiply by beyond that."))
		}
	}
	if len(s.episodes.Causes) > 1 && !s.ofOutcome() {
		notes = append(notes, report.Words("The hazard says what bears on those who still can come to the endpoint; the cumulative incidence also reflects who comes to another end first. "+
			"A characteristic can raise the one and not the other, so both deserve to be asked for."))
	}
	return notes
}
