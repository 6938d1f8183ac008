package plan

import (
	"strconv"

	"deltoid/stats/trials"
)

// simulated lists the settings of a drawn study.
func (l *settings) simulated(s *Simulated) {
	key := "simulated." + s.ID
	if s.Patients > 0 {
		l.add(key+".patients", strconv.Itoa(s.Patients))
	}
	l.add(key+".sides", strconv.Itoa(s.Sides))
	l.add(key+".test", s.Test)
	l.add(key+".better", []string{"lower", "higher"}[s.Better])
	l.add(key+".pattern", s.Pattern)
	for _, d := range dials {
		if x := *d.to(s); x != 0 {
			l.add(key+"."+d.key, number(x))
		}
	}
	for _, p := range s.Curve {
		l.add(key+".curve.by "+number(p.By), number(p.Share))
	}
	for _, p := range s.Ratios {
		l.add(key+".hazard_ratio.from "+number(p.From), number(p.Ratio))
	}
	if d := s.dependence(); d.Copula != trials.Independent {
		l.add(key+".copula", copulaNames[d.Copula-1])
	}
	if s.BothShoulders > 0 {
		l.add(key+".treated", []string{"alike", "apart"}[s.Treated])
	}
	if s.Hospitals.Number > 0 {
		l.add(key+".hospitals", strconv.Itoa(s.Hospitals.Number))
		l.add(key+".allocated", map[bool]string{false: "patients", true: "hospitals"}[s.Hospitals.Allocated])
	}
	if s.Looks != nil {
		at := make([]float64, len(s.Looks.At))
		for i, x := range s.Looks.At {
			at[i] = float64(x)
		}
		l.add(key+".looks."+[]string{"events", "scores"}[s.Looks.Schedule], join(numbers(at)))
		l.add(key+".looks.limits", s.Looks.Shape.String())
	}
	if s.Scores != nil {
		l.scores(key+".scores", s.Scores)
	}
	l.add(key+".replicates", strconv.Itoa(s.Replicates))
	l.add(key+".seed", strconv.FormatUint(s.Seed, 10))
}

func (l *settings) scores(key string, x *SimulatedScores) {
	l.add(key+".visits", join(numbers(x.Visits)))
	l.add(key+".first", join(numbers(x.First)))
	l.add(key+".second", join(numbers(x.Second)))
	l.add(key+".sd", join(numbers(x.SD)))
	l.add(key+".correlation", number(x.Correlation))
	l.add(key+".fading", strconv.FormatBool(x.Fading))
	l.add(key+".shoulders", number(x.Shoulders))
	l.add(key+".hospital", number(x.Hospital))
	l.add(key+".missing", join(numbers(x.Missing.Share)))
	l.add(key+".by_known", number(x.Missing.Known))
	l.add(key+".by_unknown", number(x.Missing.Unknown))
	l.add(key+".dropout", strconv.FormatBool(x.Missing.Dropout))
}
