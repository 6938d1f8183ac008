package analyses

import (
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

func (s *predictions) predictionTitle() string {
	if s.free() {
		return "Predicted probability of being free of " + s.endpoint.Label
	}
	return "Predicted cumulative incidence of " + s.endpoint.Label
}

func (s *predictions) predictionNote() string {
	note := "What the model says of patients described by their values, with " + plain(100*s.asked.Level) + "% intervals for the mean of many like them: it is no forecast for one " +
		"person, and holds as far as the model does."
	for _, d := range s.people {
		if len(d.beyond) > 0 {
			note += " Of “" + d.Name + "” it is extrapolated: no shoulder of the model has so low or so high a value of " + joinWords(d.beyond) + "."
		}
	}
	if s.free() && len(s.episodes.Causes) > 1 {
		note += " It supposes that nobody " + s.competingWords(" or ") + " first; how many really come to the endpoint is the cumulative incidence."
	}
	if s.asked.Groups.Landmark > 0 {
		note += " Time runs from the operation, for those still under observation at " + s.landmark() + "."
	}
	return note
}

// predictionSentence says the last of the predictions of the first patients.
func (s *modelled) predictionSentence() []report.Text {
	p := s.asked.Predict
	if p == nil || s.fit.why != "" {
		return nil
	}
	var parts []report.Text
	for i, name := range s.patientSlugs() {
		id := s.id("predicted", name)
		if len(p.Times) > 0 {
			id = s.id("predicted", name, s.timeMark(p.Times[len(p.Times)-1]))
		}
		if len(parts) < answerRoom && s.get(id).Value.Known {
			parts = append(parts, say(withInterval(id), " ("+p.Patients[i].Name+")"))
		}
	}
	if len(parts) == 0 {
		return nil
	}
	start := "The model predicts a probability of being free of " + s.endpoint.Label + " of "
	switch {
	case s.asked.Model == plan.IncidenceModel:
		start = "The model predicts a cumulative incidence of " + s.endpoint.Label + " of "
	case s.asked.Model == plan.OddsModel:
		start = "The model predicts a probability of " + s.what() + " of "
	case s.asked.Model == plan.RateModel:
		start = "The model predicts for " + s.endpoint.Label + " "
	}
	if len(p.Times) > 0 {
		t := p.Times[len(p.Times)-1]
		start = "At " + plain(t) + " " + unitWord(string(s.asked.Unit), t) + ", t" + start[1:]
	}
	return []report.Text{say(start, join(parts), ".")}
}

func (s *modelled) patientSlugs() []string {
	names := make([]string, len(s.asked.Predict.Patients))
	for i, d := range s.asked.Predict.Patients {
		names[i] = d.Name
	}
	return slugs(names)
}

// predictionText is the method of predictions.
func (s *modelled) predictionText() []report.Text {
	switch {
	case s.asked.Predict == nil || s.fit.why != "":
		return nil
	case s.ofOutcome():
		return []report.Text{report.Words("Predictions are those of the model at the values described, with intervals made on its own scale.")}
	case s.asked.Model == plan.IncidenceModel:
		return []report.Text{report.Words("Predicted cumulative incidences rest on the model's cumulative subdistribution hazard; their variance is that of the influences of " +
			"shoulders on it, the estimated weights included (Fine and Gray, section 5).")}
	}
	return []report.Text{report.Words("Predicted probabilities rest on the model's cumulative hazard, estimated with the same method of ties; their variance is that of Link " +
		"(Biometrics 1984;40:601) and Tsiatis (Ann Stat 1981;9:93), with the variance of the model's coefficients.")}
}
