package plan

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// Outcome is a field that a regression is about in place of an endpoint: codes that count as yes, or a number of events.
type Outcome struct {
	Field string
	Codes []string // that count as having the outcome; nil for a field of counts
	Time  string   // field of the time at risk of each count; empty where all had the same
	Place string
}

// Prediction says for whom a regression predicts, and for when.
type Prediction struct {
	Times    []float64 // in the unit of the analysis, rising; none for odds and rates
	Until    float64   // end of the curves; the last of the times when not given
	Patients []Described
}

// Described is a patient in the words of the plan.
type Described struct {
	Name   string
	Values map[string]string // field → code, or number
	Place  string
}

// outcome reads what the regression is about: an endpoint, by a horizon where it is odds, or a field.
func (r *reader) outcome(s section, a *Analysis) {
	v := s.values["outcome"]
	if v == nil {
		if s.values["endpoint"] == nil {
			r.wrong(s.node, "a regression has neither an endpoint nor an outcome", "endpoint, or an outcome with the model odds or rate", remedies["endpoint"])
		}
		if a.Model == OddsModel && s.values["horizon"] == nil && s.values["endpoint"] != nil {
			r.wrong(s.node, "the odds of an endpoint are asked for, but not by when", "a horizon", "add a time, as in \"horizon: 2\"")
		}
		if a.Model == HazardModel && s.values["horizon"] != nil && s.values["by"] == nil {
			r.wrong(s.values["horizon"], "horizon stands with the model hazard without groups", "horizon with by: the mean time free of the endpoint of each group",
				"add \"by\", or remove horizon")
		}
		return
	}
	for _, key := range []string{"endpoint", "horizon", "split", "landmark"} {
		if other := s.values[key]; other != nil {
			r.wrong(other, key+" stands beside outcome", "one of the two", "remove one of the two")
		}
	}
	a.Outcome = &Outcome{Place: r.place(v)}
	o := r.section(v, "outcome", "field", "codes", "time")
	field := o.need("field", "name the field, as in \"field: dislocated\"")
	if field == nil {
		return
	}
	name, ok := r.code(field, "field")
	if !ok {
		return
	}
	a.Outcome.Field = name
	if a.Model == RateModel {
		r.fieldOfRegistry(field, func(f *schemas.Field) bool { return f.Type == schemas.Integer && !f.Identifier }, "cannot be counted: it holds no whole numbers")
		r.timeOf(o, a)
	} else {
		f := r.fieldOfRegistry(field, isWord, "is neither yes nor no: it holds no codes or texts")
		r.outcomeCodes(o, a, f)
	}
	if name == a.Groups.By {
		r.wrong(field, "the outcome is the field of the groups", "another field", "name another field")
	}
}

// timeOf reads over which time each count was made.
func (r *reader) timeOf(o section, a *Analysis) {
	v := o.values["time"]
	if v == nil {
		return
	}
	if name, ok := r.code(v, "time"); ok {
		a.Outcome.Time = name
		r.fieldOfRegistry(v, isMeasured, "is no time: it holds no numbers")
	}
}

func (r *reader) outcomeCodes(o section, a *Analysis, f *schemas.Field) {
	v := o.values["codes"]
	if v == nil {
		if a.Model == OddsModel {
			r.wrong(o.node, "outcome does not say which codes count as yes", "codes", "add them, as in \"codes: [yes]\"")
		}
		return
	}
	for _, code := range r.codes(v, "codes") {
		if f == nil || r.hasCode(code, f) {
			a.Outcome.Codes = append(a.Outcome.Codes, code.Value)
		}
	}
}

// predict reads for whom and when to predict.
func (r *reader) predict(n *yaml.Node, a *Analysis) {
	s := r.section(n, "predict", "times", "until", "patients")
	p := &Prediction{}
	a.Predict = p
	overTime := a.Model == HazardModel || a.Model == IncidenceModel
	for _, key := range []string{"times", "until"} {
		if v := s.values[key]; v != nil && !overTime {
			r.wrong(v, key+" of predict stands with the model "+string(a.Model), key+" with the model hazard or cumulative incidence", "remove the key")
		}
	}
	if v := s.values["times"]; v != nil {
		for _, t := range r.entries(v, "times") {
			if x, ok := r.time(t, "a time", a.Unit, true); ok {
				r.rises(t, x, p.Times)
				p.Times = append(p.Times, x)
			}
		}
	} else if overTime {
		r.wrong(n, "predict does not say for when", "times", remedies["times"])
	}
	if len(p.Times) > 0 {
		p.Until = slices.Max(p.Times)
	}
	if v := s.values["until"]; v != nil {
		if x, ok := r.time(v, "until", a.Unit, true); ok && x < p.Until {
			r.wrong(v, "until is "+cut(v.Value)+", before the last of the times", "a time from the last of the times on", "make until larger, or leave it out")
		} else if ok {
			p.Until = x
		}
	}
	if v := s.need("patients", "describe them, as in \"patients: [{name: Woman of 70, values: {sex: female, age: 70}}]\""); v != nil {
		for _, node := range r.entries(v, "patients") {
			r.patient(node, a)
		}
	}
}

// patient reads one described patient, who has a value in every characteristic of the model.
func (r *reader) patient(n *yaml.Node, a *Analysis) {
	s := r.section(n, "a patient", "name", "values")
	d := Described{Place: r.place(n), Values: map[string]string{}}
	if v := s.need("name", "say who it is, as in \"name: Woman of 70\""); v != nil {
		d.Name, _ = r.text(v, "name")
	}
	v := s.need("values", "give the values, as in \"values: {sex: female, age: 70}\"")
	if v == nil {
		return
	}
	asked := a.modelFields()
	var named []string // also those whose value is wrong, which has been said
	for _, p := range r.pairs(v, "values") {
		named = append(named, p.key.Value)
		f := r.fieldOfRegistry(p.key, isCovariate, "")
		word, ok := r.code(p.value, "the value of "+quote(p.key.Value))
		if !slices.Contains(asked, p.key.Value) {
			r.wrong(p.key, quote(p.key.Value)+" is not in the model", join(asked), "leave it out, or add it to adjust_for")
			continue
		}
		if ok && r.valueFits(p.value, f) {
			d.Values[p.key.Value] = word
		}
	}
	for _, field := range asked {
		if d.Name != "" && !slices.Contains(named, field) && v.Kind == yaml.MappingNode {
			r.wrong(v, "the patient "+quote(d.Name)+" has no value of "+quote(field), "a value of each field of the model", "add it: nothing is guessed")
		}
	}
	if d.Name != "" && slices.ContainsFunc(a.Predict.Patients, func(o Described) bool { return o.Name == d.Name }) {
		r.wrong(n, "two patients are called "+quote(d.Name), "each name once", "change one of the names")
	}
	a.Predict.Patients = append(a.Predict.Patients, d)
}

// valueFits reports a value that the field cannot have.
func (r *reader) valueFits(n *yaml.Node, f *schemas.Field) bool {
	switch {
	case f == nil:
		return true
	case isMeasured(f):
		_, err := strconv.ParseFloat(n.Value, 64)
		if err != nil || !decimal.MatchString(n.Value) {
			r.wrong(n, "the value of "+quote(f.Name)+" is "+quote(n.Value), "a number", "write a number")
			return false
		}
		return true
	}
	return r.hasCode(n, f)
}

// modelFields returns the fields of a model: those of the groups, the characteristics and the strata.
func (a *Analysis) modelFields() []string {
	var out []string
	for _, field := range []string{a.Groups.By, a.Strata} {
		if field != "" {
			out = append(out, field)
		}
	}
	for _, c := range a.AdjustFor {
		if c.Field != "" {
			out = append(out, c.Field)
		}
	}
	return out
}

func (l *settings) outcome(key string, a *Analysis) {
	if a.Horizon > 0 {
		l.add(key+".horizon", number(a.Horizon))
	}
	if o := a.Outcome; o != nil {
		l.add(key+".outcome.field", o.Field)
		l.add(key+".outcome.codes", join(o.Codes))
		l.add(key+".outcome.time", o.Time)
	}
}

func (l *settings) predict(key string, p *Prediction) {
	if p == nil {
		return
	}
	l.add(key+".predict.times", join(numbers(p.Times)))
	if p.Until > 0 {
		l.add(key+".predict.until", number(p.Until))
	}
	for _, d := range p.Patients {
		var values []string
		for _, field := range slices.Sorted(maps.Keys(d.Values)) {
			values = append(values, field+" "+d.Values[field])
		}
		l.add(key+".predict."+d.Name, strings.Join(values, ", "))
	}
}
