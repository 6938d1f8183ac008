package plan

var testNames = words([]Test{LogRank, WeightedEarly, WeightedLate, WeightedAtRisk, WeightedRootAtRisk, Gray})

// comparison reads the keys of a comparison of groups.
func (r *reader) comparison(s section, a *Analysis, end *declared) {
	if a.Kind == Comparison {
		a.Pairs = Holm
		a.Tests = []Test{LogRank}
		if end != nil && len(end.endpoint.Competing) > 0 {
			a.Tests = append(a.Tests, Gray)
		}
	}
	if v := s.values["tests"]; v != nil {
		a.Tests = nil
		for _, word := range r.choices(v, "tests", testNames) {
			a.Tests = append(a.Tests, Test(word.Value))
		}
	}
	r.stratifier(s, a)
	if v := s.values["trend"]; v != nil {
		a.Trend = r.yesNo(v, "trend")
	}
	if v := s.values["pairs"]; v != nil {
		word, _ := r.choice(v, "pairs", words([]Pairs{NoPairs, Holm, BenjaminiHochberg}))
		a.Pairs = Pairs(word)
	}
	if v := s.values["horizon"]; v != nil {
		a.Horizon, _ = r.time(v, "horizon", a.Unit, true)
	}
}

// strata reads the field within whose groups the tests compare.
func (r *reader) stratifier(s section, a *Analysis) {
	v := s.values["strata"]
	if v == nil {
		return
	}
	if name, ok := r.code(v, "strata"); ok {
		a.Strata = name
		r.fieldOfRegistry(v, isWord, "cannot make strata, because it holds neither codes nor texts")
	}
	if a.Strata != "" && a.Strata == a.Groups.By {
		r.wrong(v, "strata names the field of the groups", "another field", "remove strata, or name another field")
	}
}
