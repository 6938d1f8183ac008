package analyses

import (
	"strings"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// steadySentences say whose ratios change over follow-up, and what can be done.
func (s *modelled) steadySentences() []report.Text {
	var parts []report.Text
	for _, t := range s.terms {
		if p, tested := s.steady[t]; tested && p < doubtful {
			parts = append(parts, say(t.inWords()+" (p ", value(s.id("steady", t.slug)+".p"), ")"))
		}
	}
	if len(parts) == 0 {
		return nil
	}
	return []report.Text{say("Ratios do not seem to stay the same over follow-up for ", join(parts), ": one number then is an average over time. "+s.furtherWords())}
}

// furtherWords says what the section does about ratios that change, and what the plan can ask for.
func (s *modelled) furtherWords() string {
	if s.asked.Model == plan.IncidenceModel {
		return "To go on, look at the cumulative incidence of the groups themselves (implant survival by group), or ask for the model of the hazard with “times”, " +
			"whose ratios may differ between stretches of follow-up."
	}
	var done, open []string
	offer := func(has bool, doing, offering string) {
		if has {
			done = append(done, doing)
		} else {
			open = append(open, offering)
		}
	}
	offer(len(s.asked.Times) > 0, "the table by time since the index procedure lets ratios differ", "let ratios differ between stretches of follow-up (“times: [1, 5]”)")
	offer(s.asked.Strata != "", "each group of "+s.fieldWords(s.asked.Strata)+" has a baseline hazard of its own",
		"give each level of a characteristic a baseline hazard of its own, which then has no ratio (“strata: field”)")
	offer(s.asked.Horizon > 0, "the mean time free of the endpoint needs no ratio", "compare the mean time free of the endpoint of groups, which needs no ratio (“by: field” with “horizon: 5”)")
	var text string
	if len(done) > 0 {
		text = "Here " + strings.Join(done, ", and ") + ". "
	}
	if len(open) > 0 {
		text += "The plan can ask to " + strings.Join(open, "; or to ") + "."
	}
	return strings.TrimSpace(text)
}

// fewWords says what can be done about few events.
func (s *modelled) fewWords() string {
	switch {
	case s.asked.Penalised:
		return "The likelihood is penalised for that; fewer characteristics, or merged levels, would help more."
	case s.asked.Model == plan.IncidenceModel:
		return "Leave characteristics out, or merge levels."
	}
	return "Leave characteristics out, merge levels, or ask for the penalised likelihood (“penalised: true”)."
}
