package analyses

import (
	"fmt"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

func (s *comparison) comparedHeading() string {
	h := sentence(s.endpoint.Label) + ": do the groups differ?"
	if by := s.byWords(); by != "" {
		h = sentence(s.endpoint.Label) + ", compared by " + by
	}
	return h + s.chosen()
}

// answer says what each test gives, and the differences at the latest time at which all groups have an estimate.
func (s *comparison) answer() []report.Text {
	var texts []report.Text
	if len(s.tests) > 0 {
		t := s.tests[0]
		first := say("The "+t.name+" of no difference between the "+counted(len(t.groups), "group")+" gives p ", value(t.id), ", on ",
			shown{t.id, report.ShowN}, " shoulders with ", shown{t.id, report.ShowEvents}, " events.")
		s.short[s.asked.ID] = say(sentence(s.endpoint.Label)+" compared by "+s.byWords()+", over the whole of follow-up: "+t.name+", p ", value(t.id), ".")
		texts = append(texts, first)
	}
	if d, ok := s.differenceSentence(); ok {
		texts = append(texts, d)
	}
	return texts
}

// differenceSentence says how each group differs from the reference at the latest time.
func (s *comparison) differenceSentence() (report.Text, bool) {
	if len(s.asked.Times) == 0 {
		return nil, false
	}
	t, ok := s.latest(s.measure)
	if !ok || len(s.compared()) > manyGroups {
		return nil, false
	}
	var parts []report.Text
	for _, g := range s.compared()[1:] {
		parts = append(parts, say(withInterval(s.differenceID(g, t)), " in "+s.spoken(g.label)))
	}
	at := shown{s.differenceID(s.groups[1], t), report.ShowAt}
	return say("At ", at, " the "+s.measure.inWords()+" differs from that in "+s.spoken(s.reference().label)+" by ", join(parts), "."), true
}

// estimateTexts say how the curves were estimated.
func (s *followed) estimateTexts() []report.Text {
	texts := []report.Text{s.timeText()}
	if len(s.episodes.Causes) > 1 {
		texts = append(texts, s.incidenceText())
	}
	return append(texts, s.survivalText(), s.intervalText())
}

func (s *comparison) methodText() []report.Text {
	texts := []report.Text{s.testText()}
	if len(s.asked.Times) > 0 {
		texts = append(texts, report.Words("Differences at fixed times have intervals on the plain scale; their p-values come from the "+
			"complementary log-log scale (Klein and others, Stat Med 2007;26:4505)."))
	}
	if s.asked.Horizon > 0 {
		texts = append(texts, report.Words("The mean time free of the endpoint is the area under the survival curve up to the horizon; its variance is that of the "+
			"estimate (Irwin, J Hyg 1949;47:188)."))
	}
	return texts
}

func (s *comparison) testText() report.Text {
	words := "Rates were compared by the log-rank test (Mantel, Cancer Chemother Rep 1966;50:163), every event other than the endpoint being censored"
	switch {
	case s.clustered:
		words += "; its variance is clustered by patient (Lee, Wei and Amato 1992)"
	case s.weights != nil:
		words += "; its variance is robust for weights (Lin and Wei 1989)"
	}
	for _, t := range s.asked.Tests {
		if t == plan.Gray {
			words += ". Cumulative incidences were compared by Gray's test (Ann Stat 1988;16:1141), which compares what happens, competing events included"
			switch {
			case s.weights != nil && !s.clustered:
				words += "; its variance is robust for weights"
			case s.clustered:
				words += "; its variance is clustered by patient (Chen and others, Biometrics 2008;64:172)"
			}
		}
	}
	if s.asked.Strata != "" {
		words += ". Groups were compared within strata of " + s.fieldWords(s.asked.Strata)
	}
	if s.asked.Pairs != plan.NoPairs && len(s.compared()) > mostPaired {
		words += fmt.Sprintf(". Pairs were not compared: there are more than %d groups", mostPaired)
	}
	if s.asked.Pairs != plan.NoPairs && s.paired() {
		words += ". P-values of pairs are adjusted by the method of " + pairsName(s.asked.Pairs)
	}
	return report.Words(words + ". All p-values are two-sided.")
}

// acrossNote says how many patients have shoulders in two groups, and what was done about it.
func (s *comparison) acrossNote() []report.Text {
	across := s.patientsAcross()
	if across == 0 || s.cohort.Registry.Anonymous {
		return nil
	}
	e := report.Count(s.id("note", "across"), s.asked.ID, "patients with shoulders in two groups", across, "patients")
	e.Endpoint, e.Cohort = s.endpoint.ID, s.cohort.Name
	return []report.Text{say(value(s.add(e)), " "+s.acrossWords())}
}

func (s *comparison) acrossWords() string {
	if s.clustered {
		return "patients have shoulders in two groups. Tests, differences and ratios allow for that: their variance is summed over patients, in whichever group their shoulders are."
	}
	return "patients have shoulders in two groups, which are taken as independent."
}

func (s *comparison) patientsAcross() int {
	first, across := map[int32]int32{}, map[int32]bool{}
	for i, p := range s.episodes.Patient {
		if g, seen := first[p]; !seen {
			first[p] = s.episodes.Group[i]
		} else if g != s.episodes.Group[i] {
			across[p] = true
		}
	}
	return len(across)
}
