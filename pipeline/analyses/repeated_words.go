package analyses

import (
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

func (s *repeated) heading() string {
	heading := "Scores over the visits: " + s.instrument.Title
	if by := s.byWords(); by != "" {
		heading += ", by " + by
	}
	return heading + withinWords(s.asked)
}

func (s *repeated) question() string {
	if s.asked.Groups.By != "" {
		return "How do scores run over the visits, and do groups that begin alike run apart?"
	}
	return "How do scores run over the visits?"
}

// meansWords says what the means are of.
func (s *repeated) meansWords() string {
	adjusted := s.adjustedFor()
	if adjusted == "" {
		return "means of the model; nothing is adjusted for"
	}
	return "means for shoulders with the average of the cohort in " + adjusted
}

// adjustedFor lists what the model adjusts for.
func (s *repeated) adjustedFor() string {
	var names []string
	if s.adjusts {
		names = append(names, "the score before the operation")
	}
	for _, c := range s.asked.AdjustFor {
		name := c.Field
		if column := s.cohort.Registry.Column(c.Field, s.cohort.Definition.Indication); column != nil {
			name = lowerTitle(column.Field)
		}
		names = append(names, name)
	}
	items := make([]report.Text, len(names))
	for i, name := range names {
		items[i] = report.Words(name)
	}
	text := ""
	for _, span := range join(items) {
		text += span.Words
	}
	return text
}

// missingWords says which scores are shifted.
func (s *repeated) missingWords() string {
	if s.asked.Repeated.Between {
		return "without a score"
	}
	return "without a score there or later"
}

// modelWords names the model for a footnote.
func (s *repeated) modelWords() string {
	text := "mixed model by REML, covariance " + string(s.chosen.covariance)
	if s.two {
		text += ", with an intercept of each patient"
	}
	return text + ", " + s.model.Fit.Options.Degrees.String() + "'s degrees of freedom"
}

// answer says the means of the last visit, what separates the groups, and what the missing could make of it.
func (s *repeated) answer() []report.Text {
	all := len(s.labels) - 1
	who := say("The model has the scores of ", value(s.inModel[all]), " shoulders; ", value(s.unseen[all]), " more have none, although a visit was due.")
	if s.get(s.left[all]).Value.X > 0 {
		who = say(who, " Another ", value(s.left[all]), " have no part in it, because ", s.leftWords(), ".")
	}
	if s.model == nil {
		first := s.tried[0].model.Fit
		t := report.Words(sentence(s.instrument.Spoken) + " cannot be modelled over the visits: " + repeatedWords(first.Status, first.AtFault) + ".")
		s.short[s.asked.ID] = t
		return []report.Text{t, who}
	}
	lead := s.leadSentence()
	s.short[s.asked.ID] = lead
	texts := []report.Text{lead}
	if t, any := s.differenceSentence(); any {
		texts = append(texts, t)
	}
	texts = append(texts, who)
	if s.chosen.covariance != s.asked.Repeated.Covariances[0] {
		texts = append(texts, report.Words("The covariance is "+string(s.chosen.covariance)+": those named before it in the plan have no result, for the reasons in the table."))
	}
	if t, any := s.dropoutSentence(); any {
		texts = append(texts, t)
	}
	return texts
}

func (s *repeated) leftWords() string {
	if s.adjusts && len(s.asked.AdjustFor) == 0 {
		return "they have no score before the operation"
	}
	return "not all is known that the model adjusts for"
}

// leadSentence gives the adjusted means at the last visit.
func (s *repeated) leadSentence() report.Text {
	last := s.each[len(s.each)-1]
	adjusted := s.adjustedFor()
	if adjusted != "" {
		adjusted = ", adjusted for " + adjusted + ","
	}
	start := "At " + s.visitWords(last.k) + " the mean of " + s.instrument.Spoken + adjusted + " is "
	if len(s.columns) == 1 {
		return say(start, withInterval(last.mean[s.columns[0]]), ".")
	}
	var items []report.Text
	for _, column := range s.columns {
		if len(items) < mostCourses {
			items = append(items, say(withInterval(last.mean[column]), " in "+inSentence(s.labels[column])))
		}
	}
	return say(start, join(items), ".")
}

// differenceSentence says what separates the groups at the last visit, and whether they run apart.
func (s *repeated) differenceSentence() (report.Text, bool) {
	if len(s.columns) < 2 {
		return nil, false
	}
	last := s.each[len(s.each)-1]
	var items []report.Text
	for _, column := range s.columns[1:] {
		if len(items) < mostCourses {
			items = append(items, say(withInterval(last.difference[column]), " "+s.points()+" in "+inSentence(s.labels[column])+" (p ", value(last.p[column]), ")"))
		}
	}
	return say("Against "+inSentence(s.labels[s.columns[0]])+" the difference is ", join(items), ". That differences are the same at every visit: p ", value(s.overall["course"]), "."), true
}

// dropoutSentence says what the missing could make of the last visit.
func (s *repeated) dropoutSentence() (report.Text, bool) {
	worst := s.asked.Repeated.WorseBy
	if len(worst) == 0 {
		return nil, false
	}
	last, all := s.each[len(s.each)-1], len(s.labels)-1
	id := s.visits.Windows[last.k].ID + ".worse-" + plain(worst[len(worst)-1])
	start := say("Of ", value(last.due[all]), " whose last visit was due, ", value(last.missing[all]), " have no score there. Had they done "+plain(worst[len(worst)-1])+" "+s.points()+" worse than expected, the ")
	if len(s.columns) == 1 {
		return say(start, "mean would be ", withInterval(s.id(id, "mean", s.slugs[s.columns[0]])), "."), true
	}
	var items []report.Text
	for _, column := range s.columns[1:] {
		if len(items) < mostCourses {
			items = append(items, say(withInterval(s.id(id, "difference", s.slugs[column])), " in "+inSentence(s.labels[column])))
		}
	}
	return say(start, "difference would be ", join(items), "."), true
}

// method is the method, in sentences fit for a paper.
func (s *repeated) method() []report.Text {
	text := "Scores of all visits were modelled together by a linear mixed model for repeated measures with a mean for each visit and group"
	if s.adjusts {
		text += " and an effect of the score before the operation that may differ between visits"
	}
	if len(s.asked.AdjustFor) > 0 {
		text += "; other characteristics have one effect at all visits, and measured ones enter as straight lines"
	}
	text += ". Scores of one shoulder have a covariance over the visits (" + joinWords(covarianceNames(s.asked.Repeated.Covariances)) + ": the first of these that the scores can tell)"
	if s.two {
		text += ", and the two shoulders of a patient a common part"
	}
	text += ". Its parameters have the largest restricted likelihood (Patterson and Thompson, Biometrika 1971;58:545). "
	if s.asked.Repeated.Degrees == plan.KenwardRoger {
		text += "Standard errors, degrees of freedom and tests are Kenward and Roger's (Biometrics 1997;53:983). "
	} else {
		text += "Degrees of freedom are Satterthwaite's (Biometrics Bull 1946;2:110) with the observed information, of several contrasts Fai and Cornelius's (J Stat Comput Simul 1996;54:363). "
	}
	text += "Scores that are missing are supposed to be so at random, given the scores and characteristics that are known. " + s.endWords()
	if len(s.asked.Repeated.WorseBy) > 0 {
		text += " In a pattern-mixture analysis missing scores are supposed to be worse than that by so many points (Little, J Am Stat Assoc 1993;88:125): a mean moves by the share of missing scores times the points, and its variance by the " +
			"sampling variance of that share, summed over patients. This is what repeated imputation under the same supposition comes to, without its random error."
	}
	return []report.Text{report.Words(text)}
}

// endWords say when nothing more is asked of a shoulder.
func (s *repeated) endWords() string {
	revised := map[plan.Ruling]string{plan.LeftOut: "After a revision nothing more is asked of a shoulder", plan.Missing: "Scores after a revision count as missing"}[s.asked.Scores.Revised]
	died := map[plan.Ruling]string{plan.LeftOut: "after a death nothing more is asked", plan.Missing: "those after a death count as missing"}[s.asked.Scores.Died]
	return revised + "; " + died + "."
}

func covarianceNames(list []plan.Covariance) (names []string) {
	for _, c := range list {
		names = append(names, string(c))
	}
	return names
}

// notes say what a reader should know.
func (s *repeated) notes() []report.Text {
	notes := []report.Text{report.Words("An adjusted difference is not a cause: groups that are alike in what the model knows may differ in what it does not.")}
	if s.model == nil {
		return notes
	}
	if p := s.model.Fit.Parameters; s.two && p[len(p)-1].Boundary {
		notes = append(notes, report.Words("Two shoulders of a patient agree no more than those of two patients here: their common part is estimated as 0."))
	}
	return notes
}
