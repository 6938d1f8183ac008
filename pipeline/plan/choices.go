package plan

import (
	"math"

	"go.yaml.in/yaml/v3"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// indication reads which indication the field of that name means. Linked tables have findings to settle it by.
func (r *reader) indication(n *yaml.Node) {
	if r.registry() == "procedures" {
		r.plan.Cohort.Indication = cohorts.Settled
	}
	if n != nil {
		word, _ := r.choice(n, "indication", words([]cohorts.Basis{cohorts.Settled, cohorts.Recorded}))
		r.plan.Cohort.Indication = cohorts.Basis(word)
	}
}

// minimum reads how long shoulders must have been followed to be counted.
func (r *reader) minimum(n *yaml.Node) {
	if n == nil {
		return
	}
	s := r.section(n, "minimum_follow_up", "length", "unit", "counted")
	unit, known := schemas.Years, true
	if v := s.values["unit"]; v != nil {
		unit, known = r.unit(v, "unit")
	}
	m := cohorts.MinimumFollowUp{Place: r.place(n)}
	if v := s.need("length", "say how long, as in \"length: 2\""); v != nil {
		if x, ok := r.time(v, "length", unit, known); ok && known {
			per, _ := schemas.DaysPer(unit)
			m.Days, m.Words = int32(max(1, math.Round(x*per))), number(x)+" "+string(unit)
			if x == 1 {
				m.Words = m.Words[:len(m.Words)-1]
			}
		}
	}
	if v := s.values["counted"]; v != nil {
		word, _ := r.choice(v, "counted", []string{"possible", "achieved"})
		m.Achieved = word == "achieved"
	}
	if r.registry() == "shoulders" && !m.Achieved {
		r.wrong(n, "the minimum follow-up is a possible one, but a ready table has no data cut to tell what was possible",
			"\"counted: achieved\"", "add \"counted: achieved\", or remove the minimum")
	}
	r.plan.Cohort.Minimum = m
}

// counts reads what an endpoint counts as a revision.
func (r *reader) counts(n *yaml.Node, e *cohorts.Endpoint) {
	word, ok := r.choice(n, "counts", words(cohorts.AllCounts()))
	e.Counts = cohorts.Counts(word)
	switch {
	case !ok:
	case e.Event != cohorts.Revised && e.Event != "":
		r.wrong(n, "counts stands with the event "+string(e.Event), "counts with the event revised", "remove the key")
	case e.Counts == cohorts.StatedReasons && len(e.Reasons) == 0:
		r.wrong(n, "counts is stated reasons, but no reasons are stated", "stated reasons with reasons",
			"add the reasons, as in \"reasons: [infection]\"")
	case e.Counts == cohorts.AnyReoperation && len(e.Reasons) > 0:
		r.wrong(n, "counts is any reoperation, but reasons are stated", "stated reasons, or component exchanged", "remove one of the two")
	case e.Counts == cohorts.ComponentExchanged && r.registry() == "shoulders":
		r.wrong(n, "counts is component exchanged, but a ready table does not say what was exchanged", "component exchanged with linked tables",
			"remove the key: the ready row says already what counts as revised")
	}
}

// sorting reads how a measured field is divided, and from when on the groups count.
func (r *reader) sorting(s section, a *Analysis, f *schemas.Field) {
	bands, landmark, split := s.values["bands"], s.values["landmark"], s.values["split"]
	if s.values["by"] == nil {
		r.groupless("bands", bands)
		r.groupless("split", split)
	}
	if bands != nil {
		r.bands(bands, a, f)
		for _, key := range []string{"labels", "order"} {
			if v := s.values[key]; v != nil {
				r.wrong(v, key+" stands beside bands", key+" with a field of codes or texts", "remove one of the two")
			}
		}
	}
	if split != nil {
		a.Groups.Split = r.yesNo(split, "split")
		if f != nil && a.Groups.Split && f.KnownOn == "" {
			r.wrong(split, "follow-up cannot be split at "+quote(f.Name)+", because its values have no day",
				"an extra field with \"known_on: …\"", "declare under extra on which day the value became known")
		}
	}
	if landmark != nil {
		r.landmark(landmark, a)
		if a.Groups.Split {
			r.wrong(landmark, "landmark stands beside split", "one of the two", "remove one of the two")
		}
	}
	a.Groups.Place = a.Place
}

func (r *reader) bands(n *yaml.Node, a *Analysis, f *schemas.Field) {
	for _, v := range r.entries(n, "bands") {
		x := r.bound(v, "a bound of the bands", f)
		if x == nil {
			continue
		}
		if before := a.Groups.Bands; len(before) > 0 && *x <= before[len(before)-1] {
			r.wrong(v, "the bound "+cut(v.Value)+" does not come after the one before it", "bounds that rise", "put the bounds in order, each once")
			continue
		}
		a.Groups.Bands = append(a.Groups.Bands, *x)
	}
}

// landmark reads the time from which on shoulders are counted, in the unit of the analysis.
func (r *reader) landmark(n *yaml.Node, a *Analysis) {
	if x, ok := r.time(n, "landmark", a.Unit, true); ok {
		per, _ := schemas.DaysPer(a.Unit)
		a.Groups.Landmark = int32(max(1, math.Round(x*per)))
	}
}

// within reads a criterion that only one analysis applies.
func (r *reader) within(n *yaml.Node, a *Analysis) {
	if n != nil {
		c := r.readCriterion(n, "within")
		a.Within = &c
	}
}

// hasOrder reports whether a field can be divided into bands.
func hasOrder(f *schemas.Field) bool {
	return f.Type == schemas.Number || f.Type == schemas.Integer || f.Type == schemas.Date
}

// derivedField looks up a field that linking makes; a column of the export with its name comes first.
func (r *reader) derivedField(name string) *schemas.Field {
	if r.registry() != "procedures" || r.main.field(name) != nil {
		return nil
	}
	for _, f := range cohorts.Derived() {
		if f.Name == name {
			return &f
		}
	}
	return nil
}

// derivedNames lists the derived fields that pass.
func (r *reader) derivedNames(pass func(*schemas.Field) bool) []string {
	var names []string
	if r.registry() == "procedures" {
		for _, f := range cohorts.Derived() {
			if pass(&f) {
				names = append(names, f.Name)
			}
		}
	}
	return names
}

// knownOn reads on which day the values of an extra column became known.
func (r *reader) knownOn(n *yaml.Node, f *schemas.Field) {
	f.KnownOn, _ = r.code(n, "known_on")
}

// datesOfExtras reports a day of an extra column that no column of dates holds. It waits until all columns are known.
func (r *reader) datesOfExtras(n *yaml.Node, e *export) {
	for _, p := range r.pairs(n, "extra") {
		if p.value.Kind != yaml.MappingNode {
			continue
		}
		for i := 0; i+1 < len(p.value.Content); i += 2 {
			if key, v := p.value.Content[i], p.value.Content[i+1]; key.Value == "known_on" && v.Kind == yaml.ScalarNode {
				r.known(v, e, isDate, "holds no dates")
			}
		}
	}
}
