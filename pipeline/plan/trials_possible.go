package plan

import (
	"errors"
	"math"
	"slices"

	"deltoid/stats/trials"
)

// daysInYear turns the years of a plan into the days of a drawn study.
const daysInYear = 365.25

// possible reports what is missing, what contradicts, and what cannot be about a study whose keys are each right.
func (r *reader) possible(s section, out *Simulated) {
	before := len(r.faults)
	r.asked(s, out)
	r.contradictions(s, out)
	r.lookedFor(s, out)
	if len(r.faults) > before {
		return
	}
	patients := out.Patients
	if patients == 0 {
		patients = 1000
	}
	ratios := out.Ratios
	if len(ratios) == 0 {
		ratios = []RatioFrom{{0, 0.5}}
	}
	err := trials.Check(out.Design(patients, ratios), out.Options(out.Replicates))
	var e *trials.Impossible
	if errors.As(err, &e) {
		remedy := e.Instead
		if remedy == "" {
			remedy = "change the assumption"
		}
		r.wrong(s.node, "the study cannot be: "+e.Assumption+" is "+e.Found, e.Want, remedy)
	}
}

// asked names the assumptions about the world that are left out; none is invented.
func (r *reader) asked(s section, out *Simulated) {
	ask := func(key, words string) {
		if s.values[key] == nil {
			r.wrong(s.node, "the assumption "+quote(key)+" is not said: "+words, "", "add \""+key+": …\"")
		}
	}
	if out.Scores != nil {
		if len(out.Scores.Visits) < 2 && out.Test != "scores" {
			r.wrong(s.values["scores"], "the test "+quote(out.Test)+" needs a first score to start from, and there is one visit", "two visits or more, the first of them the baseline", "add a visit")
		}
		if out.Test == "responders" {
			ask("threshold", "rise of the score that makes a responder")
		}
		return
	}
	if s.values["curve"] == nil {
		ask("first", "share of the first group with the event by the time \"at\"")
		ask("at", "years by which the first group has that share")
	}
	for _, d := range dials {
		if slices.Contains([]string{"deaths", "loss", "recruitment", "follow_up"}, d.key) {
			ask(d.key, d.words)
		}
	}
	if out.Test == "restricted mean" || out.Test == "shares" {
		ask("horizon", "years up to which mean times, or shares with the event, are compared")
	}
}

// contradictions reports keys that exclude one another.
func (r *reader) contradictions(s section, out *Simulated) {
	apart := func(key, other, why string) {
		if v := s.values[key]; v != nil && s.values[other] != nil {
			r.wrong(v, key+" stands beside "+other+": "+why, "one of the two", "remove one of them")
		}
	}
	apart("curve", "first", "both say how the first group fares")
	apart("curve", "at", "both say how the first group fares")
	apart("hazard_ratios", "hazard_ratio", "both say how the second group differs")
	for _, key := range []string{"first", "curve", "hazard_ratio", "hazard_ratios", "margin", "hospital_variance", "concordance"} {
		apart(key, "scores", "it is about events, and scores are studied")
	}
	if v := s.values["margin"]; v != nil && out.Test != "Cox" && out.Test != "Fine and Gray" {
		r.wrong(v, "a margin stands with the test "+quote(out.Test), "a margin with Cox, Fine and Gray", "write \"test: Cox\"")
	}
	if v := s.values["concordance"]; v != nil && out.BothShoulders == 0 {
		r.wrong(v, "two shoulders are to hang together, and no patient has both in", "concordance with both_shoulders", "add \"both_shoulders: 0.1\", say, or remove the key")
	}
	if v := s.values["treated"]; v != nil && out.BothShoulders == 0 {
		r.wrong(v, "no patient has both shoulders in", "treated with both_shoulders", "remove the key")
	}
	if v := s.values["looks"]; v != nil && len(out.Looks.At) == 0 {
		r.wrong(v, "looks do not say when", "events or scores, as in \"events: [60, 120]\"", "add the numbers at which the study is looked at")
	} else if v != nil && (out.Looks.Schedule == trials.AtScores) != (out.Scores != nil) {
		r.wrong(v, "looks are counted in what is not studied", "events with events, scores with scores", "change the key")
	}
}

// lookedFor holds that one of size, power and effect is left out.
func (r *reader) lookedFor(s section, out *Simulated) {
	size, power, effect := out.Patients > 0, out.Power > 0, len(out.Ratios) > 0 || out.Scores != nil
	switch {
	case power && out.Power <= out.Significance:
		r.wrong(s.values["power"], "power is "+number(out.Power)+", not more than the significance", "a number above "+number(out.Significance),
			"a study without any effect finds one with the probability of its level")
	case size && power && effect:
		r.wrong(s.node, "patients, power and the effect are all given, so that nothing is left to be looked for", "two of them", "remove one")
	case !size && !power:
		r.wrong(s.node, "neither patients nor power is given", "one of them", "add \"patients: …\" to ask for the power, or \"power: 0.8\" to ask for the patients")
	case !effect && !size, !effect && !power:
		r.wrong(s.node, "the effect is looked for, and patients or power is missing", "both", "give patients and power, or a hazard_ratio")
	case !size && out.Looks != nil:
		r.wrong(s.values["looks"], "patients are looked for, while the study ends with a number of looks: its power follows from them", "looks with patients", "give patients")
	case effect && out.Scores == nil && !slices.ContainsFunc(out.Ratios, func(x RatioFrom) bool { return x.Ratio != 1 }) && out.Margin == 0 && !size:
		r.wrong(s.node, "the hazard ratio is 1, no effect: the power is then the level, whatever the size", "a hazard ratio below or above 1", "write the effect that would matter")
	case out.Margin > 0 && !effect:
		r.wrong(s.values["margin"], "a margin stands without a hazard ratio", "the hazard ratio that is true, 1 if the groups are equal", "add \"hazard_ratio: 1\"")
	}
}

// Design is the study with so many patients and these hazard ratios of the second group.
func (s *Simulated) Design(patients int, ratios []RatioFrom) *trials.Design {
	d := &trials.Design{Patients: patients, Both: s.BothShoulders, Sides: s.Treated, Dependence: s.dependence(), Hospitals: s.Hospitals,
		Arms: []trials.Arm{{Name: s.Groups[0], Share: 1}, {Name: s.Groups[1], Share: s.Allocation}}}
	d.Accrual = trials.Accrual{Days: inDays(s.Recruitment), FollowUp: inDays(s.FollowUp), Longest: inDays(s.FollowedFor), Pattern: patternOf(s.Pattern)}
	base := s.hazard()
	for i := range d.Arms {
		d.Arms[i].Event, d.Arms[i].Death, d.Arms[i].Loss = base, yearly(s.Deaths), yearly(s.Loss)
	}
	if s.Scores == nil {
		var pieces []trials.Piece
		for _, x := range ratios {
			pieces = append(pieces, trials.Piece{From: x.From * daysInYear, Rate: x.Ratio})
		}
		d.Arms[1].Event = base.TimesFrom(pieces)
		return d
	}
	d.Scores = s.scores()
	if n := len(d.Scores.Visits); n > 0 && d.Accrual.FollowUp == 0 {
		d.Accrual.FollowUp = d.Scores.Visits[n-1] + 1
	}
	return d
}

// dependence of the two shoulders of a patient; Clayton's copula is the usual one.
func (s *Simulated) dependence() trials.Dependence {
	d := s.Dependence
	switch {
	case d.Tau == 0:
		return trials.Dependence{}
	case d.Copula == trials.Independent:
		d.Copula = trials.Clayton
	}
	return d
}

func inDays(years float64) int32 { return int32(math.Round(years * daysInYear)) }

// yearly turns a share within a year into a hazard per day.
func yearly(share float64) trials.Hazard {
	if share == 0 {
		return nil
	}
	return trials.Constant(-math.Log1p(-share) / daysInYear)
}

// hazard goes through the points of the curve with a hazard that is constant between them, and goes on as between the last.
func (s *Simulated) hazard() trials.Hazard {
	var h trials.Hazard
	from := ShareBy{}
	for _, p := range s.Curve {
		rate := (math.Log1p(-from.Share) - math.Log1p(-p.Share)) / ((p.By - from.By) * daysInYear)
		h = append(h, trials.Piece{From: from.By * daysInYear, Rate: rate})
		from = p
	}
	return h
}

// patternOf is recruitment that rises from nothing, or falls to it, in a straight line.
func patternOf(word string) []trials.Entered {
	if word != "rising" && word != "falling" {
		return nil
	}
	const pieces = 50
	var list []trials.Entered
	for i := 1; i <= pieces; i++ {
		by := float64(i) / pieces
		share := by * by
		if word == "falling" {
			share = 1 - (1-by)*(1-by)
		}
		list = append(list, trials.Entered{By: by, Share: share})
	}
	return list
}

func (s *Simulated) scores() *trials.Scores {
	x := s.Scores
	out := &trials.Scores{Mean: [][]float64{x.First, x.Second}, SD: x.SD, Shoulders: x.Shoulders, Hospital: x.Hospital, Missing: x.Missing}
	for _, v := range x.Visits {
		out.Visits = append(out.Visits, inDays(v))
	}
	out.Correlation = trials.EqualCorrelation(len(x.Visits), x.Correlation)
	if x.Fading {
		out.Correlation = trials.FadingCorrelation(len(x.Visits), x.Correlation)
	}
	return out
}

// Options are those of so many replicates.
func (s *Simulated) Options(most int) trials.Options {
	o := trials.Options{Seed: s.Seed, Level: s.Significance, Sides: s.Sides, Better: s.Better, Error: s.Error, Most: most}
	if s.Looks != nil {
		o.Looks = &trials.Looks{Schedule: s.Looks.Schedule, At: s.Looks.At, Shape: s.Looks.Shape}
	}
	return o
}
