package analyses

import (
	"strings"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// projectionAnswer says what the curves say at the last time, and how far that lies beyond what was seen.
func (s *projected) projectionAnswer() []report.Text {
	t := s.asked.Times[len(s.asked.Times)-1]
	var parts, brief []report.Text
	var beyond []string
	for i, g := range s.parts() {
		if s.fits[i].why != "" || len(parts) == manyGroups {
			continue
		}
		id := s.projectedID(g, t)
		text, short := say(withInterval(id)), say(inTable(id))
		if len(s.parts()) > 1 {
			text, short = say(text, " in "+s.spoken(g.label)), say(short, " in "+s.spoken(g.label))
		}
		parts, brief = append(parts, text), append(brief, short)
		if s.days(t) > s.fits[i].last {
			beyond = append(beyond, s.spoken(g.label))
		}
	}
	if len(parts) == 0 {
		s.short[s.asked.ID] = report.Words("The projection of " + s.endpoint.Label + " cannot be made; the section says why.")
		return []report.Text{report.Words("No curve can be fitted; the table says why.")}
	}
	when := plain(t) + " " + unitWord(string(s.asked.Unit), t)
	s.short[s.asked.ID] = say(sentence(s.endpoint.Label)+" within "+when+", projected: ", join(brief), ".")
	texts := []report.Text{say("At "+when+s.supposing()+", the curve says that ", join(parts), " have come to "+s.endpoint.Label+".")}
	switch {
	case len(beyond) == 0:
		texts = append(texts, report.Words("That lies within the follow-up."))
	case len(s.parts()) == 1:
		texts = append(texts, report.Words("That is extrapolated: nobody was followed so long. It holds if the hazard goes on as the curve says, which no data here can show."))
	default:
		texts = append(texts, report.Words("For "+strings.Join(beyond, " and ")+" that is extrapolated: nobody was followed so long. It holds if the hazard goes on as the curve says, which no data here can show."))
	}
	return append(texts, s.countSentence())
}

// supposing says what 1 − survival supposes where something competes.
func (s *projected) supposing() string {
	if len(s.episodes.Causes) == 1 {
		return ""
	}
	return ", had nobody " + pastOf(s.competingWords(" or ")) + " first"
}

func (s *projected) projectionMethod() []report.Text {
	text := "The hazard is a power of time (Weibull), fitted to each group by itself by maximum likelihood (Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data, 1980); its " +
		"variance is that of the model"
	if s.clustered {
		text = strings.Replace(text, "that of the model", "clustered by patient", 1)
	}
	if s.asked.Shape == plan.PiecewiseShape {
		text = "The hazard is constant between the cuts, fitted to each group by itself: events over time at risk, with exact Poisson intervals (Holford, Biometrics 1980;36:299). After the last cut it " +
			"goes on as it was there. Curves take shoulders as independent"
	}
	return []report.Text{s.timeText(), report.Words(text + ". Events other than the endpoint end observation. Who leaves on the day of the operation counts half a day. Intervals aim at " +
		plain(100*s.asked.Level) + "%, are made on the complementary log-log scale and know only the uncertainty of the parameters."), s.survivalText()}
}

func (s *projected) projectionNotes() []report.Text {
	notes := []report.Text{report.Words("A projection is for planning. Compare the line with the dots where there is follow-up: where they part, the shape is wrong, and beyond follow-up it may be wrong " +
		"without showing it.")}
	if len(s.episodes.Causes) > 1 {
		notes = append(notes, report.Words("1 − survival supposes that nobody "+s.competingWords(" or ")+" first. Over decades most patients do, so that far fewer will come to the endpoint."))
	}
	return notes
}
