package analyses

import (
	"strconv"
	"strings"

	"deltoid/pipeline/report"
	"deltoid/stats/trials"
)

// sentences say the answer with all that it rests on.
func (s *drawn) sentences() []report.Text {
	if !s.found() {
		return []report.Text{s.notFound(), s.circumstances()}
	}
	texts := []report.Text{s.mainSentence(), s.circumstances(), s.withoutEffectSentence()}
	if s.asked.Looks != nil {
		texts = append(texts, s.lookSentence())
	}
	return texts
}

func (s *drawn) notFound() report.Text {
	if s.solution.Status == trials.AlwaysEnough {
		return say("Even the smallest study that was tried has a power of ", s.assumed("power"), " to ", s.finding(), s.at(), ": look at the assumptions, or use a formula.")
	}
	if s.asked.Patients == 0 {
		return say("No study of up to "+searchToWords+" patients has a power of ", s.assumed("power"), " to ", s.finding(), s.at(), ".")
	}
	return say("A study of ", value(s.id("patients")), " patients has a power of ", s.assumed("power"), " for no effect that could be: not even to ", s.finding(), s.at(), ".")
}

func (s *drawn) mainSentence() report.Text {
	power := withInterval(s.id("power-simulated"))
	switch {
	case s.asked.Patients == 0:
		return say(value(s.id("patients")), " patients have to be recruited for a power of ", s.assumed("power"), " to ", s.finding(), s.at(), "; of the studies of this size that were simulated ", power, " found it.")
	case len(s.asked.Ratios) == 0 && s.asked.Scores == nil:
		return say("A study of ", value(s.id("patients")), " patients has a power of ", s.assumed("power"), " to ", s.finding(), " or a larger effect", s.at(), "; of the studies that were simulated ", power, " found it.")
	}
	return say("A study of ", value(s.id("patients")), " patients has a power of ", power, " to ", s.finding(), s.at(), ".")
}

// at is the test with its level.
func (s *drawn) at() report.Text {
	sides := "two-sided"
	if s.asked.Sides == 1 {
		sides = "one-sided"
	}
	test := s.test.Name
	if strings.Contains(test, ",") {
		test += ","
	}
	article := "a "
	if strings.ContainsAny(test[:1], "aeiou") {
		article = "an "
	}
	if strings.Contains(test, "'s ") {
		article = ""
	}
	return say(", with "+article+test+" at the "+sides+" ", s.assumed("significance"), " level")
}

// finding is what the study is to find or to show, after "a power of 90% to".
func (s *drawn) finding() report.Text {
	a, b := s.asked.Groups[0], s.asked.Groups[1]
	if x := s.asked.Scores; x != nil {
		last := strconv.Itoa(len(x.Visits))
		if s.asked.Test == "responders" {
			return say("find a difference in the share that rises by ", s.assumed("threshold"), " "+s.asked.Measured+" or more, when the mean at the last visit is ", s.assumed("mean-first-"+last),
				" in "+a+" and ", s.assumed("mean-second-"+last), " in "+b)
		}
		return say("find a difference between a mean of ", s.assumed("mean-first-"+last), " "+s.asked.Measured+" in "+a+" and ", s.assumed("mean-second-"+last), " in "+b+" at the last visit")
	}
	ratio := say("a hazard ratio of ", s.ratioShown(1))
	for i := range s.ratios[1:] {
		n := strconv.Itoa(i + 2)
		ratio = append(ratio, say(", from ", s.assumed("from-"+n), " on of ", s.assumed("ratio-"+n), ",")...)
	}
	if s.asked.Margin > 0 {
		return say("show that the hazard of "+s.asked.Outcome+" in "+b+" is less than ", s.assumed("margin"), " times that in "+a+", when there is ", ratio)
	}
	if len(s.ratios) == 1 && s.ratios[0].Ratio == 1 {
		return say("find a difference between "+a+" and "+b+" where there is none (", ratio, ")")
	}
	return say("find ", ratio, " for "+b+" against "+a)
}

// ratioShown is a ratio that was given with all its digits, one that was worked out with two places.
func (s *drawn) ratioShown(n int) shown {
	if len(s.asked.Ratios) == 0 {
		return value(s.id("assumed", "ratio-"+strconv.Itoa(n)))
	}
	return s.assumed("ratio-" + strconv.Itoa(n))
}

// circumstances say who is followed how long, and what is seen of them.
func (s *drawn) circumstances() report.Text {
	if s.asked.Scores != nil {
		return s.scoreCircumstances()
	}
	var parts []report.Text
	for i := range s.asked.Curve {
		n := strconv.Itoa(i + 1)
		parts = append(parts, say(s.assumed("first-"+n), " by ", s.assumed("at-"+n)))
	}
	t := say("In "+s.asked.Groups[0]+" ", join(parts), " would come to "+s.asked.Outcome+" if nobody died. Patients are recruited over ", s.assumed("recruitment"), " and followed for ", s.assumed("follow-up"), " after that")
	if s.has("followed-for") {
		t = append(t, say(", each for ", s.assumed("followed-for"), " at most")...)
	}
	t = append(t, say("; ", s.assumed("deaths"), " die and ", s.assumed("loss"), " are lost within a year.")...)
	if s.asked.Pattern != "even" {
		t = append(t, say(" Recruitment is taken as "+s.asked.Pattern+".")...)
	}
	if s.found() {
		t = append(t, say(" About ", value(s.id("events")), " events are expected to be seen")...)
		if s.asked.Deaths > 0 {
			t = append(t, say(", and ", value(s.id("deaths")), " shoulders whose patient dies first")...)
		}
		t = append(t, say(".")...)
	}
	return append(t, s.likenessWords()...)
}

func (s *drawn) scoreCircumstances() report.Text {
	t := say("Scores of one shoulder are correlated by ", s.assumed("correlation"))
	if s.asked.Scores.Fading {
		t = append(t, say(" at neighbouring visits, and less the farther apart they are")...)
	}
	if s.found() {
		t = append(t, say("; ", value(s.id("scores-seen")), " of the shoulders are expected to have a score at the last visit")...)
	}
	t = append(t, say(".")...)
	if s.has("recruitment") {
		t = append(t, say(" Patients are recruited over ", s.assumed("recruitment"), " and followed for ", s.assumed("follow-up"), " after that.")...)
	}
	return append(t, s.likenessWords()...)
}

// likenessWords say what shoulders of one patient or hospital have in common.
func (s *drawn) likenessWords() report.Text {
	var t report.Text
	if s.asked.BothShoulders > 0 {
		t = say(" ", s.assumed("both-shoulders"), " of the patients have both shoulders in")
		if s.asked.Treated == trials.Apart {
			t = append(t, say(", one in each group")...)
		}
		if s.asked.Scores == nil {
			t = append(t, say("; their times have a concordance (Kendall's tau) of ", s.assumed("concordance"))...)
		}
		t = append(t, say(".")...)
	}
	if s.asked.Hospitals.Number > 0 {
		who := "patients of each hospital are in both groups"
		if s.asked.Hospitals.Allocated {
			who = "whole hospitals are allocated"
		}
		t = append(t, say(" There are ", s.assumed("hospitals"), " hospitals; "+who+".")...)
	}
	return t
}

func (s *drawn) withoutEffectSentence() report.Text {
	if s.asked.Margin > 0 {
		return say("If the second group were worse by the whole margin, ", withInterval(s.id("found-without-effect")), " of such studies would still call it no worse.")
	}
	return say("If the groups did not differ, ", withInterval(s.id("found-without-effect")), " of such studies would find an effect all the same.")
}

// lookSentence says when the study may stop.
func (s *drawn) lookSentence() report.Text {
	var parts []report.Text
	for k := range s.result.Looks {
		n := "look-" + strconv.Itoa(k+1)
		parts = append(parts, say(value(s.id(n, "stopped")), " by ", value(s.id(n, "at"))))
	}
	t := say("It is looked at while it goes on, and has stopped for an effect with probability ", join(parts), " "+s.lookUnit()+".")
	if s.asked.Scores == nil {
		return append(t, say(" On the average such studies end with ", value(s.id("events")), " events, after ", value(s.id("length")), ".")...)
	}
	return append(t, say(" On the average such studies end with ", value(s.id("shoulders")), " shoulders, after ", value(s.id("length")), ".")...)
}

// methods are the paragraph for the protocol.
func (s *drawn) methods() []report.Text {
	r := s.result
	what := "The power"
	switch {
	case s.asked.Patients == 0:
		what = "The size"
	case len(s.asked.Ratios) == 0 && s.asked.Scores == nil:
		what = "The smallest detectable effect"
	}
	text := what + " was found by simulation: " + strconv.Itoa(r.Replicates) + " studies were drawn under the assumptions (seed " + strconv.FormatUint(s.asked.Seed, 10) + "), each was analysed with: " + s.test.Name +
		", and those that found the effect were counted. A study without a verdict counts as having found nothing."
	if s.solution != nil {
		text += " It was searched for by halving the range, with up to " + strconv.Itoa(min(s.asked.Replicates, searchStudies)) + " studies at each step that share their random numbers."
	}
	if s.asked.Scores == nil {
		text += " Hazards are constant between the times given; deaths and loss are independent of the event given the group."
	} else {
		text += " Scores are normal."
	}
	text += s.dependenceMethod() + s.missingMethod() + s.looksMethod()
	return []report.Text{report.Words(text)}
}

func (s *drawn) dependenceMethod() string {
	text := ""
	d := s.asked.Design(max(s.patients, searchFrom), s.ratios).Dependence
	switch d.Copula {
	case trials.Clayton:
		text = " The times of a patient's two shoulders follow Clayton's copula with θ = " + plain(round(d.Parameter(), 3)) + " (Biometrika 1978;65:141)."
	case trials.Gaussian:
		text = " The times of a patient's two shoulders follow a Gaussian copula with a correlation of " + plain(round(d.Parameter(), 3)) + "."
	}
	if s.asked.Hospitals.Frailty > 0 {
		text += " The hazard of each hospital is multiplied by a gamma variable of mean 1."
	}
	return text
}

func (s *drawn) missingMethod() string {
	x := s.asked.Scores
	if x == nil || x.Missing.Share == nil {
		return ""
	}
	text := " Scores are missing at random"
	switch {
	case x.Missing.Unknown != 0:
		text = " Scores are missing not at random: also because of what they would have been"
	case x.Missing.Known != 0:
		text = " Scores are missing at random given the last that was seen"
	}
	if x.Missing.Dropout {
		text += "; after a missing score none follows"
	}
	return text + "."
}

func (s *drawn) looksMethod() string {
	if s.asked.Looks == nil {
		return ""
	}
	source := map[trials.Shape]string{
		trials.Pocock: "limits after Pocock (Biometrika 1977;64:191)", trials.OBrienFleming: "limits after O'Brien and Fleming (Biometrics 1979;35:549)",
		trials.SpendingPocock:        "the level spent like Pocock's limits do (Lan and DeMets, Biometrika 1983;70:659)",
		trials.SpendingOBrienFleming: "the level spent like O'Brien and Fleming's limits do (Lan and DeMets, Biometrika 1983;70:659)",
	}[s.asked.Looks.Shape]
	return " The study is looked at while it goes on, with " + source + ", worked out by numerical integration (Armitage, McPherson and Rowe, J R Stat Soc A 1969;132:235). It stops for an effect only."
}

// remarks warn where the simulation itself is a poor guide.
func (s *drawn) remarks() []report.Text {
	var notes []report.Text
	if s.result.Status == trials.Uncertain {
		notes = append(notes, report.Words("The Monte-Carlo error is still above the bound that the plan sets: ask for more replicates."))
	}
	if s.clusters() != trials.NoClusters && !s.knowsClusters() {
		notes = append(notes, report.Words("The test takes shoulders as independent, though some belong to one patient or hospital: see how often it finds an effect where there is none."))
	}
	if s.asked.Replicates < 1000 {
		notes = append(notes, report.Words("Fewer than 1000 studies were drawn: the power is known to a few percent only."))
	}
	return notes
}

func round(x float64, places int) float64 {
	text := strconv.FormatFloat(x, 'f', places, 64)
	y, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return x
	}
	return y
}
