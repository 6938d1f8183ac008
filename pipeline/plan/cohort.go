package plan

import (
	"go.yaml.in/yaml/v3"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// allShoulders names a cohort that the plan does not name.
const allShoulders = "All shoulders"

// cohort reads who is counted.
func (r *reader) cohort(n *yaml.Node) {
	r.plan.Cohort.Name = allShoulders
	if n == nil {
		return
	}
	s := r.section(n, "cohort", "name", "criteria", "minimum_follow_up", "first_shoulder_only")
	if v := s.values["name"]; v != nil {
		r.plan.Cohort.Name, _ = r.text(v, "name")
	}
	if v := s.values["criteria"]; v != nil {
		for _, c := range r.entries(v, "criteria") {
			r.plan.Cohort.Criteria = append(r.plan.Cohort.Criteria, r.readCriterion(c, "a criterion"))
		}
	}
	r.minimum(s.values["minimum_follow_up"])
	if v := s.values["first_shoulder_only"]; v != nil {
		r.plan.Cohort.FirstShoulderOnly = r.yesNo(v, "first_shoulder_only")
	}
}

func (r *reader) readCriterion(n *yaml.Node, name string) cohorts.Criterion {
	s := r.section(n, name, "keep", "where")
	c := cohorts.Criterion{Place: r.place(n)}
	if v := s.need("keep", "say what is kept, in words for the participant flow"); v != nil {
		c.Label, _ = r.text(v, "keep")
	}
	if v := s.need("where", "say which field must hold what, as in \"where: {procedure: reverse}\""); v != nil {
		conditions := r.pairs(v, "where")
		if len(conditions) == 0 && v.Kind == yaml.MappingNode && len(v.Content) == 0 {
			r.malformed(v, "where names no field", "at least one field", "name the field and the values that stay")
		}
		for _, p := range conditions {
			c.Where = append(c.Where, r.condition(p))
		}
	}
	return c
}

// condition reads what one field must hold. Its shape is checked also when the field is not known.
func (r *reader) condition(p pair) cohorts.Condition {
	c := cohorts.Condition{Field: p.key.Value}
	f := r.fieldOfRegistry(p.key, func(f *schemas.Field) bool { return !f.Identifier }, "")
	if p.value.Kind == yaml.MappingNode {
		r.bounds(p.value, f, &c)
		return c
	}
	values := r.codes(p.value, "where."+plain(p.key.Value))
	if f != nil && !isWord(f) {
		r.wrong(p.value, quote(f.Name)+" holds "+holdsWhat(f)+", which have no codes", "{from: …, to: …}",
			"write the smallest and the largest value that stay")
		return c
	}
	for _, v := range values {
		if f == nil || r.hasCode(v, f) {
			c.In = append(c.In, v.Value)
		}
	}
	return c
}

func holdsWhat(f *schemas.Field) string {
	if f.Type == schemas.Date {
		return "days"
	}
	return "numbers"
}

// bounds reads the smallest and the largest value that stay.
func (r *reader) bounds(n *yaml.Node, f *schemas.Field, c *cohorts.Condition) {
	s := r.section(n, "where."+plain(c.Field), "from", "to")
	from, to := s.values["from"], s.values["to"]
	if len(n.Content) == 0 {
		r.malformed(n, "where."+plain(c.Field)+" has neither from nor to", "{from: …, to: …}, or one of the two",
			"write a bound")
	}
	if f != nil && isWord(f) {
		r.wrong(n, quote(f.Name)+" holds codes or texts, which have no bounds", "a code or a list of codes",
			"list the codes that stay")
		f = nil
	}
	c.From, c.To = r.bound(from, "from", f), r.bound(to, "to", f)
	if c.From != nil && c.To != nil && *c.From > *c.To {
		r.wrong(n, "from "+cut(from.Value)+" is more than to "+cut(to.Value), "from at most to", "exchange the two")
	}
}

// bound reads a number, or a day in the terms of the exports; nil when it is not there or broken.
func (r *reader) bound(n *yaml.Node, name string, f *schemas.Field) *float64 {
	if n == nil {
		return nil
	}
	if n.Kind == yaml.ScalarNode && !isoDate.MatchString(n.Value) {
		v, ok := r.number(n, name, "a number, or a date as YYYY-MM-DD")
		if ok && f != nil && f.Type == schemas.Date && (!r.plan.Offsets || v != float64(int32(v))) {
			r.wrong(n, name+" is the number "+cut(n.Value)+", but "+quote(f.Name)+" holds "+dayKind(r.plan.Offsets),
				boundAllowed(r.plan.Offsets), "write the day in the terms of the exports")
			return nil
		}
		return pointer(v, ok)
	}
	day, _, ok := r.day(n, name, "a number, or a date as YYYY-MM-DD")
	switch {
	case !ok || f == nil:
		return nil
	case f.Type != schemas.Date:
		r.wrong(n, name+" is a date, but "+quote(f.Name)+" holds numbers", "a number", "write a number")
		return nil
	case r.plan.Offsets:
		r.wrong(n, name+" is a date, but "+quote(f.Name)+" holds day numbers", boundAllowed(true),
			"write the day in the terms of the exports")
		return nil
	}
	return pointer(float64(day), true)
}

func boundAllowed(offsets bool) string {
	if offsets {
		return "a whole day number"
	}
	return "a date as YYYY-MM-DD"
}

func pointer(v float64, ok bool) *float64 {
	if !ok {
		return nil
	}
	return &v
}

// fieldOfRegistry looks up a field of the table the shoulders come from. Without that table, which is reported
// elsewhere, nothing can be said about the field.
func (r *reader) fieldOfRegistry(key *yaml.Node, pass func(*schemas.Field) bool, why string) *schemas.Field {
	if r.main == nil {
		return nil
	}
	if f := r.derivedField(key.Value); f != nil && pass(f) {
		return f
	}
	if more := r.derivedNames(pass); len(more) > 0 && r.main.field(key.Value) == nil {
		names := append(r.main.fields(pass), more...)
		what, allowed, remedy := unknown("field", key.Value, names, "name one of the fields allowed, or declare the column under extra")
		r.wrong(key, what+" in "+r.main.schema.Name, allowed, remedy)
		return nil
	}
	return r.known(key, r.main, pass, why)
}
