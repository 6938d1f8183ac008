package plan

import (
	"cmp"
	"math"
	"slices"

	"go.yaml.in/yaml/v3"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// overTime reports whether a kind follows shoulders to an endpoint; the other kinds describe the cohort.
func (k Kind) overTime() bool {
	return !k.aboutScores() && !slices.Contains([]Kind{Baseline, BothShoulders, Indication, ProcedureAudit}, k)
}

// described reads the keys of the kinds that describe the cohort.
func (r *reader) described(s section, a *Analysis) {
	a.Fields = r.fieldList(s.values["fields"], "fields", func(f *schemas.Field) bool {
		return !f.Identifier && f.Type != schemas.Date
	}, "cannot be described: it holds days")
	a.Medians = r.fieldList(s.values["medians"], "medians", isMeasured, "has no median, because it holds codes, texts or days")
	if v := s.values["p_values"]; v != nil {
		a.PValues = r.yesNo(v, "p_values")
	}
	if v := s.values["instruments"]; v != nil {
		r.instruments(v, a)
	}
}

func isMeasured(f *schemas.Field) bool {
	return !f.Identifier && (f.Type == schemas.Number || f.Type == schemas.Integer)
}

// fieldList reads fields of the table the shoulders come from.
func (r *reader) fieldList(n *yaml.Node, name string, pass func(*schemas.Field) bool, why string) []string {
	if n == nil {
		return nil
	}
	var fields []string
	for _, v := range r.distinct(r.entries(n, name), name) {
		if f := r.fieldOfRegistry(v, pass, why); f != nil {
			fields = append(fields, f.Name)
		}
	}
	return fields
}

// instruments reads whose visits are followed.
func (r *reader) instruments(n *yaml.Node, a *Analysis) {
	scores := r.tables["scores"]
	if scores == nil && len(r.tables) > 0 {
		r.wrong(n, "instruments are named, but no export holds scores", "a table scores under exports", "add the table, or remove the key")
	}
	if r.plan.Visits == nil {
		r.wrong(n, "instruments are named, but the plan has no visits", "visits at the top of the plan",
			"say when scores are due, as in \"visits: [{at: 12, from: 9, to: 18, unit: months}]\"")
	}
	for _, v := range r.distinct(r.entries(n, "instruments"), "instruments") {
		if scores == nil {
			continue
		}
		if f := scores.field("instrument"); f == nil || r.hasCode(v, f) {
			a.Instruments = append(a.Instruments, v.Value)
		}
	}
}

// visits reads when scores are due.
func (r *reader) visits(n *yaml.Node) {
	if n == nil {
		return
	}
	before := len(r.faults)
	for _, entry := range r.entries(n, "visits") {
		r.visit(entry)
	}
	if len(r.faults) > before {
		return
	}
	slices.SortStableFunc(r.plan.Visits, func(a, b cohorts.Window) int { return cmp.Compare(a.From, b.From) })
	for i := 1; i < len(r.plan.Visits); i++ {
		if a, b := r.plan.Visits[i-1], r.plan.Visits[i]; b.From <= a.To {
			r.wrong(n, "the visits "+quote(a.Label)+" and "+quote(b.Label)+" share a day", "visits that do not overlap",
				"let the later one begin after the earlier one ends")
		}
	}
}

// visit reads one visit. Its times count from the operation, and are negative before it.
func (r *reader) visit(n *yaml.Node) {
	before := len(r.faults)
	s := r.section(n, "a visit", "label", "at", "from", "to", "unit")
	unit := schemas.Months
	if v := s.values["unit"]; v != nil {
		unit, _ = r.unit(v, "unit")
	}
	at, from, to := r.visitTime(s, "at", unit), r.visitTime(s, "from", unit), r.visitTime(s, "to", unit)
	w := cohorts.Window{Target: at, From: from, To: to}
	if v := s.need("label", "name the visit, as in \"label: 1 year\""); v != nil {
		w.Label, _ = r.text(v, "label")
		w.ID = slug(w.Label)
	}
	if len(r.faults) > before {
		return
	}
	if !(from <= at && at <= to) {
		r.wrong(n, "the visit "+quote(w.Label)+" is not within its window", "from, at and to in this order", "put the three in order")
	}
	if slices.ContainsFunc(r.plan.Visits, func(v cohorts.Window) bool { return v.ID == w.ID }) {
		r.wrong(n, "two visits are called "+quote(w.Label), "each label once", "change one of the labels")
	}
	r.plan.Visits = append(r.plan.Visits, w)
}

func (r *reader) visitTime(s section, key string, unit schemas.Unit) int32 {
	v := s.need(key, "say when, counted from the operation, as in \""+key+": 12\"")
	if v == nil {
		return 0
	}
	x, _ := r.number(v, key, "a number")
	per, _ := schemas.DaysPer(unit)
	if math.Abs(x*per) > longest {
		r.wrong(v, key+" is "+cut(v.Value)+" "+string(unit), "at most 120 years from the operation", "declare the unit that is meant, as in \"unit: days\"")
		return 0
	}
	return int32(math.Round(x * per))
}
