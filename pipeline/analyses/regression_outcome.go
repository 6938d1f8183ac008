package analyses

import (
	"math"
	"slices"
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/regression"
)

// yearDays turns the time at risk of a rate into prosthesis-years.
const yearDays = 365.25

// dayZero is the time at risk, in days, of a shoulder that leaves on the day of the operation: half a day, since an event needs some.
const dayZero = 0.5

// ofOutcome says whether the model is of an outcome (odds, or a rate) and not of the time to an event.
func (s *modelled) ofOutcome() bool {
	return s.asked.Model == plan.OddsModel || s.asked.Model == plan.RateModel
}

// needsStart says whether the model needs everybody from the start.
func (s *modelled) needsStart() bool {
	return s.asked.Model == plan.IncidenceModel || s.asked.Model == plan.OddsModel && s.asked.Outcome == nil
}

func (s *modelled) modelWithArticle() string {
	if s.asked.Model == plan.OddsModel {
		return "a model of the odds"
	}
	return "a model of the cumulative incidence"
}

// whatWord is what the events of the model are.
func (s *modelled) whatWord() string {
	if s.asked.Outcome != nil {
		return "the outcome"
	}
	return "the endpoint"
}

// observe finds out what the model is about, for every episode: how many events, over how much time, and of whom nobody knows.
func (s *modelled) observe() error {
	if !s.ofOutcome() {
		return nil
	}
	n := len(s.episodes.Exit)
	s.happenings, s.unknown = make([]int32, n), make([]bool, n)
	if s.asked.Outcome != nil {
		return s.readOutcome()
	}
	until := int32(math.MaxInt32)
	if s.asked.Horizon > 0 {
		until = int32(max(1, math.Round(s.days(s.asked.Horizon))))
	}
	if s.asked.Model == plan.RateModel {
		s.timeAtRisk(until)
		return nil
	}
	for i, exit := range s.episodes.Exit {
		switch cause := s.episodes.Cause[i]; {
		case exit <= until && cause == 1:
			s.happenings[i] = 1
		case exit < until && cause == 0:
			s.unknown[i] = true
		}
	}
	return nil
}

// timeAtRisk measures the time of every episode up to a day, in years, and counts the events in it.
func (s *modelled) timeAtRisk(until int32) {
	s.years = make([]float64, len(s.episodes.Exit))
	for i, exit := range s.episodes.Exit {
		from := int32(0)
		if s.episodes.Entry != nil {
			from = s.episodes.Entry[i]
		}
		if from >= until {
			s.unknown[i] = true
			continue
		}
		s.years[i] = max(dayZero, float64(min(exit, until)-from)) / yearDays
		if s.episodes.Cause[i] == 1 && exit <= until {
			s.happenings[i] = 1
		}
	}
}

// readOutcome reads the outcome from a field: codes that count as yes, or counts with the time that each was made over.
func (s *modelled) readOutcome() error {
	asked := s.asked.Outcome
	column, time, err := s.outcomeColumns()
	if err != nil {
		return err
	}
	if time != nil {
		s.years = make([]float64, len(s.happenings))
	}
	for i := range s.happenings {
		row := int(s.cohort.Registry.Shoulders[s.cohort.Shoulders[s.shoulder(i)]].Row)
		switch {
		case column.IsMissing(row):
			s.unknown[i] = true
		case s.asked.Model == plan.RateModel:
			n := column.Integers()[row]
			s.happenings[i], s.unknown[i] = int32(n), n < 0
		case slices.Contains(asked.Codes, column.String(row)):
			s.happenings[i] = 1
		}
		if time != nil {
			s.years[i] = numberAt(time, row)
			s.unknown[i] = s.unknown[i] || !(s.years[i] > 0)
		}
	}
	return nil
}

// outcomeColumns finds the column of the outcome, and that of the time of each count where the plan names one.
func (s *modelled) outcomeColumns() (column, time *schemas.Column, err error) {
	asked := s.asked.Outcome
	if column = s.cohort.Registry.Column(asked.Field, s.cohort.Definition.Indication); column == nil {
		_, err = s.cohort.Baseline(asked.Field, asked.Place)
		return nil, nil, err
	}
	if asked.Time == "" {
		return column, nil, nil
	}
	if time = s.cohort.Registry.Column(asked.Time, s.cohort.Definition.Indication); time == nil {
		_, err = s.cohort.Baseline(asked.Time, asked.Place)
	}
	return column, time, err
}

// numberAt is the value of a measured column in a row, NaN where it is not known.
func numberAt(column *schemas.Column, row int) float64 {
	switch {
	case column.IsMissing(row):
		return math.NaN()
	case column.Numbers() != nil:
		return column.Numbers()[row]
	}
	return float64(column.Integers()[row])
}

// outcomeLabel names the outcome that a field holds, as it stands inside a sentence.
func (s *modelled) outcomeLabel() string {
	o := s.asked.Outcome
	column := s.cohort.Registry.Column(o.Field, s.cohort.Definition.Indication)
	if column == nil {
		return o.Field
	}
	label := uncapped(column.Field.Title)
	var words []string
	for _, code := range o.Codes {
		words = append(words, speaker(column.Field)(column.Field.Label(code)))
	}
	if len(words) > 0 {
		label += ": " + strings.Join(words, " or ")
	}
	return label
}

// maximiseOutcome fits a logistic or a Poisson model.
func (s *modelled) maximiseOutcome(f *fitted, columns []covariates.Column) (err error) {
	d := regression.Data{Outcome: make([]float64, len(s.rows)), Cluster: s.cluster()}
	for i, at := range s.rows {
		d.Outcome[i] = float64(s.happenings[at])
	}
	o := regression.Options{Penalised: s.asked.Penalised}
	if s.asked.Model == plan.OddsModel {
		f.outcome, err = regression.Logistic(d, columns, o)
	} else {
		if s.years != nil {
			d.Offset = make([]float64, len(s.rows))
			for i, at := range s.rows {
				d.Offset[i] = math.Log(s.years[at])
			}
		}
		o.Robust = s.asked.Outcome != nil && !s.asked.Penalised
		f.outcome, err = regression.Poisson(d, columns, o)
	}
	if err == nil {
		f.Fit = &f.outcome.Fit
	}
	return err
}

// ranking records the area under the curve of a model of odds: how often, of two shoulders, one with the outcome and one without,
// the model expects it rather of the first.
func (s *modelled) ranking() error {
	if s.asked.Model != plan.OddsModel {
		return nil
	}
	e := s.estimatedIn(s.id("auc"), "", "area under the curve", report.UnitProbability)
	e.N, e.Events = report.Optional{}, report.Optional{}
	e.Method += s.formOf(s.fit) + "; interval on the plain scale, infinitesimal jackknife"
	if s.fit.why != "" {
		e.Status, e.Note = s.fit.status, s.fit.why
		s.derivedFrom(s.add(e), s.usedID(), s.eventID())
		return nil
	}
	chance, err := s.fit.outcome.Fitted()
	if err != nil {
		return err
	}
	d := hazards.Data{Exit: make([]int32, len(chance)), Cause: make([]uint8, len(chance)), Cluster: s.cluster()}
	for i, at := range s.rows {
		if d.Exit[i] = 2; s.happenings[at] > 0 {
			d.Exit[i], d.Cause[i] = 1, 1
		}
	}
	c, err := hazards.Concord(d, 1, chance)
	if err != nil {
		return err
	}
	s.settleConcordance(&e, c)
	s.derivedFrom(s.add(e), s.usedID(), s.eventID())
	return nil
}

// dispersion records how much the counts vary beyond what a Poisson model expects.
func (s *modelled) dispersion() error {
	if s.asked.Model != plan.RateModel || s.fit.why != "" {
		return nil
	}
	mean, err := s.fit.outcome.Fitted()
	if err != nil {
		return err
	}
	sum := 0.0
	for i, at := range s.rows {
		d := float64(s.happenings[at]) - mean[i]
		sum += float64(d * d / mean[i])
	}
	e := s.estimatedIn(s.id("dispersion"), "", "dispersion: Pearson's chi-square / degrees of freedom", report.UnitRatio)
	e.Value = report.Some(sum / float64(max(1, len(s.rows)-len(s.fit.Names))))
	e.Method += "; Σ (count − expected)²/expected over rows less coefficients"
	s.derivedFrom(s.add(e), s.usedID(), s.eventID())
	return nil
}

// unknownID is the id of the number of shoulders of which nobody knows whether they came to the outcome.
func (s *modelled) unknownID() string { return s.id("shoulders", "unknown") }

// tellsUnknown says whether shoulders can be left out because their outcome is not known.
func (s *modelled) tellsUnknown() bool {
	return s.ofOutcome() && (s.asked.Outcome != nil || s.asked.Horizon > 0)
}

// unknownWords says why an outcome is not known.
func (s *modelled) unknownWords() string {
	switch {
	case s.asked.Outcome != nil:
		return "the outcome is not recorded"
	case s.asked.Model == plan.RateModel:
		return "under observation only from " + s.horizonWords() + " on"
	case len(s.episodes.Causes) > 1:
		return "no longer under observation at " + s.horizonWords() + ", neither with the endpoint nor with a competing event"
	}
	return "no longer under observation at " + s.horizonWords() + ", free of the endpoint until then"
}

// what is what the ratios are of: the endpoint, and by when where that matters.
func (s *modelled) what() string {
	if s.asked.Model == plan.OddsModel && s.asked.Outcome == nil {
		return s.endpoint.Label + " by " + s.horizonWords()
	}
	return s.endpoint.Label
}

func (s *modelled) horizonWords() string {
	return plain(s.asked.Horizon) + " " + unitWord(string(s.asked.Unit), s.asked.Horizon)
}

// outcomeNotes say who is left out because the outcome is not known, and what that does.
func (s *modelled) outcomeNotes() []report.Text {
	var notes []report.Text
	if s.asked.Model == plan.OddsModel && s.asked.Outcome == nil {
		notes = append(notes, say("Odds by a fixed time need to know of everybody what had happened by then: ", value(s.unknownID()), " shoulders were "+s.unknownWords()+
			", and are left out. That makes the event look more frequent than it is, the more so the more are left out; a model of the hazard, or of the cumulative "+
			"incidence, uses them all."))
		if len(s.episodes.Causes) > 1 {
			notes = append(notes, report.Words("Shoulders whose patients "+s.competingWords(" or ")+" before then count as not having come to the endpoint."))
		}
	}
	if s.fit.why != "" {
		return notes
	}
	switch s.asked.Model {
	case plan.OddsModel:
		notes = append(notes, say("Area under the curve: ", withInterval(s.id("auc")), ", the share of pairs of a shoulder with and one without the event in which the model "+
			"expects it of the right one; one half is no better than chance. It is measured on the shoulders that the model was made from."),
			report.Words("An odds ratio is further from 1 than the ratio of the risks, the more so the more frequent the event is."))
	case plan.RateModel:
		notes = append(notes, say("Dispersion: ", value(s.id("dispersion")), ". Counts that vary as the model supposes have about 1; well above it, intervals that rest on the "+
			"model are too short."))
	}
	return notes
}

// ofField makes the outcome that a field holds what the model is about, in the words of an endpoint.
func (s *modelled) ofField() {
	if s.asked.Outcome != nil {
		s.endpoint = cohorts.Endpoint{Label: s.outcomeLabel(), Event: cohorts.OtherEvent}
	}
}
