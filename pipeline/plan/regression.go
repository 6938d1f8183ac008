package plan

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// Model says what a regression is about.
type Model string

// The models. With a competing cause they answer two questions, as survival and cumulative incidence do.
const (
	// HazardModel asks what changes the rate of the endpoint among those who still can have it (Cox).
	HazardModel Model = "hazard"
	// IncidenceModel asks what changes how many come to the endpoint, given that some come to a competing event first (Fine and
	// Gray).
	IncidenceModel Model = "cumulative incidence"
	// OddsModel asks what changes the odds of having come to the endpoint by a horizon, or of an outcome that a field holds (logistic).
	OddsModel Model = "odds"
	// RateModel asks what changes the number of events for a time at risk (Poisson).
	RateModel Model = "rate"
)

// Ties says what is done with several events on one day.
type Ties string

// The methods of ties of a hazard model.
const (
	EfronTies   Ties = "Efron"
	BreslowTies Ties = "Breslow"
	ExactTies   Ties = "exact"
)

// Covariate is one characteristic that a regression adjusts for, and the form in which it enters.
type Covariate struct {
	Field     string
	Labels    map[string]string // code → label; codes with one label are one level
	Order     []string          // codes in the order wanted
	Bands     []float64         // rising bounds that divide a measured field
	Knots     int               // of a natural cubic spline; 0 for a straight line
	Per       float64           // a ratio of a measured field is for so many units more
	Reference string            // code, or the value of a spline, that others are compared with; empty for the usual one
	Place     string            // file:line in the plan
}

// regression reads the keys of a regression.
func (r *reader) regression(s section, a *Analysis, end *declared) {
	if a.Kind == Regression {
		a.Model, a.Ties = HazardModel, EfronTies
		if s.values["adjust_for"] == nil && s.values["by"] == nil {
			r.wrong(s.node, "a regression has neither groups nor characteristics to adjust for", "by, adjust_for, or both",
				"name fields, as in \"adjust_for: [age, sex]\"")
		}
	}
	if v := s.values["model"]; v != nil {
		word, _ := r.choice(v, "model", words([]Model{HazardModel, IncidenceModel, OddsModel, RateModel}))
		a.Model = Model(word)
	}
	if a.Kind == Regression {
		r.incidence(s, a, end)
		r.modelKeys(s, a)
		r.outcome(s, a)
	}
	if v := s.values["ties"]; v != nil {
		word, _ := r.choice(v, "ties", words([]Ties{EfronTies, BreslowTies, ExactTies}))
		a.Ties = Ties(word)
	}
	if v := s.values["penalised"]; v != nil {
		a.Penalised = r.yesNo(v, "penalised")
	}
	if v := s.values["adjust_for"]; v != nil {
		r.adjustFor(v, a)
	}
	if v := s.values["interactions"]; v != nil {
		r.interactions(v, a)
	}
	if v := s.values["predict"]; v != nil {
		r.predict(v, a)
	}
}

// incidence reports what a model of the cumulative incidence has no answer for.
func (r *reader) incidence(s section, a *Analysis, end *declared) {
	if a.Model != IncidenceModel {
		return
	}
	if s.values["model"] != nil && end != nil && !end.broken && len(end.endpoint.Competing) == 0 {
		r.wrong(s.values["model"], "model is cumulative incidence, but nothing competes with the endpoint "+quote(a.Endpoint),
			"hazard, or an endpoint with competing causes", "add \"competing: [died]\" to the endpoint, or write hazard")
	}
}

// modelKeys reports keys that stand with another model than theirs.
func (r *reader) modelKeys(s section, a *Analysis) {
	for _, k := range []struct {
		key    string
		models []Model
	}{
		{"times", []Model{HazardModel}}, {"ties", []Model{HazardModel}}, {"strata", []Model{HazardModel}}, {"split", []Model{HazardModel, RateModel}},
		{"landmark", []Model{HazardModel, OddsModel, RateModel}}, {"penalised", []Model{HazardModel, OddsModel, RateModel}},
		{"horizon", []Model{HazardModel, OddsModel, RateModel}}, {"outcome", []Model{OddsModel, RateModel}},
	} {
		if v := s.values[k.key]; v != nil && a.Model != "" && !slices.Contains(k.models, a.Model) {
			r.wrong(v, k.key+" stands with the model "+string(a.Model), k.key+" with the model "+strings.Join(words(k.models), " or "), "remove one of the two")
		}
	}
}

// adjustFor reads the characteristics: each is a field, or a group of keys that says in which form it enters.
func (r *reader) adjustFor(n *yaml.Node, a *Analysis) {
	for _, v := range r.entries(n, "adjust_for") {
		c := r.covariate(v)
		twice := slices.ContainsFunc(a.AdjustFor, func(o Covariate) bool { return o.Field == c.Field })
		if c.Field != "" && (twice || c.Field == a.Groups.By || c.Field == a.Strata) {
			r.wrong(v, quote(c.Field)+" is in the model twice", "each field once: in adjust_for, by or strata", "delete one of the two")
			continue
		}
		a.AdjustFor = append(a.AdjustFor, c)
	}
}

func (r *reader) covariate(n *yaml.Node) Covariate {
	c := Covariate{Place: r.place(n), Per: 1}
	if n.Kind != yaml.MappingNode {
		if name, ok := r.code(n, "an entry of adjust_for"); ok {
			c.Field = name
			r.fieldOfRegistry(n, isCovariate, "cannot be adjusted for: it holds days or identifies people")
		}
		return c
	}
	s := r.section(n, "an entry of adjust_for", "field", "reference", "labels", "order", "bands", "spline", "per")
	var f *schemas.Field
	if v := s.need("field", "name the field, as in \"field: age\""); v != nil {
		if name, ok := r.code(v, "field"); ok {
			c.Field = name
			f = r.fieldOfRegistry(v, isCovariate, "cannot be adjusted for: it holds days or identifies people")
		}
	}
	r.levels(s, &c, f)
	r.measuredForm(s, &c, f)
	r.referenceOf(s, &c, f)
	return c
}

func isCovariate(f *schemas.Field) bool { return !f.Identifier && f.Type != schemas.Date }

// levels reads how the codes of a field become levels.
func (r *reader) levels(s section, c *Covariate, f *schemas.Field) {
	for _, key := range []string{"labels", "order"} {
		if v := s.values[key]; v != nil && f != nil && !isWord(f) {
			r.wrong(v, key+" stands with "+quote(f.Name)+", whose values are measured", key+" with a field of codes or texts", "remove the key")
		}
	}
	if v := s.values["labels"]; v != nil {
		for _, p := range r.pairs(v, "labels") {
			label, ok := r.text(p.value, "the label of "+quote(p.key.Value))
			if ok && (f == nil || !isWord(f) || r.hasCode(p.key, f)) {
				c.Labels = put(c.Labels, p.key.Value, label)
			}
		}
	}
	if v := s.values["order"]; v != nil {
		for _, v := range r.distinct(r.entries(v, "order"), "order") {
			if f == nil || !isWord(f) || r.hasCode(v, f) {
				c.Order = append(c.Order, v.Value)
			}
		}
	}
}

// measuredForm reads how a measured field enters: in bands, as a spline, or as a straight line for so many units.
func (r *reader) measuredForm(s section, c *Covariate, f *schemas.Field) {
	forms := 0
	for _, key := range []string{"bands", "spline", "per"} {
		v := s.values[key]
		if v == nil {
			continue
		}
		if f != nil && !isMeasured(f) {
			r.wrong(v, key+" stands with "+quote(f.Name)+", which holds codes or texts", key+" with a field of numbers", "remove the key")
		}
		if forms++; forms == 2 {
			r.wrong(v, quote(c.Field)+" enters in two forms", "one of bands, spline and per", "remove the others")
		}
	}
	if v := s.values["bands"]; v != nil {
		in := Analysis{}
		r.bands(v, &in, f)
		c.Bands = in.Groups.Bands
	}
	if v := s.values["spline"]; v != nil {
		const allowed = "a whole number of knots from 3 to 7"
		n, ok := r.whole(v, "spline", 0, allowed)
		if ok && (n < 3 || n > 7) {
			r.malformed(v, "spline is "+cut(v.Value), allowed, "write 4")
		}
		c.Knots = n
	}
	if v := s.values["per"]; v != nil {
		const allowed = "a number above 0"
		x, ok := r.number(v, "per", allowed)
		if ok && !(x > 0) {
			r.malformed(v, "per is "+cut(v.Value), allowed, "write 10 for a ratio for ten units more")
		}
		c.Per = x
	}
}

// referenceOf reads the level that the others are compared with, or the value of a spline.
func (r *reader) referenceOf(s section, c *Covariate, f *schemas.Field) {
	v := s.values["reference"]
	if v == nil {
		return
	}
	word, ok := r.code(v, "reference")
	if !ok {
		return
	}
	c.Reference = word
	switch {
	case c.Knots > 0:
		if _, err := strconv.ParseFloat(word, 64); err != nil || !decimal.MatchString(word) {
			r.wrong(v, "the reference of a spline is "+quote(word), "a value of "+quote(c.Field), "write a number")
		}
	case f != nil && isMeasured(f) && c.Bands == nil:
		r.wrong(v, "reference stands with "+quote(f.Name)+", which enters as a straight line", "reference with codes, bands or a spline",
			"remove the key")
	case f != nil && isWord(f):
		r.hasCode(v, f)
	}
}

// interactions reads pairs of characteristics whose effects may depend on one another.
func (r *reader) interactions(n *yaml.Node, a *Analysis) {
	for _, v := range r.entries(n, "interactions") {
		pair := r.distinct(r.entries(v, "an entry of interactions"), "an entry of interactions")
		if v.Kind != yaml.SequenceNode || len(v.Content) == 0 {
			continue
		}
		if len(v.Content) != 2 {
			r.malformed(v, "an entry of interactions has "+strconv.Itoa(len(v.Content))+" fields", "two fields", "write pairs, as in [[age, sex]]")
			continue
		}
		for _, field := range pair {
			known := field.Value == a.Groups.By || slices.ContainsFunc(a.AdjustFor, func(c Covariate) bool { return c.Field == field.Value })
			if !known {
				r.wrong(field, quote(field.Value)+" is not in the model", "the fields of by and adjust_for", "add it to adjust_for")
			}
		}
		again := func(o [2]string) bool {
			return len(pair) == 2 && slices.Contains(o[:], pair[0].Value) && slices.Contains(o[:], pair[1].Value)
		}
		if slices.ContainsFunc(a.Interactions, again) {
			r.wrong(v, "two entries of interactions are of the same fields", "each pair once", "delete one of the two")
		} else if len(pair) == 2 {
			a.Interactions = append(a.Interactions, [2]string{pair[0].Value, pair[1].Value})
		}
	}
}

// regression lists what a regression asks for.
func (l *settings) regression(key string, a *Analysis) {
	l.add(key+".times", join(numbers(a.Times)))
	l.add(key+".unit", string(a.Unit))
	l.add(key+".model", string(a.Model))
	for _, c := range a.AdjustFor {
		l.add(key+".adjust_for."+c.Field, c.words())
	}
	for _, pair := range a.Interactions {
		l.add(key+".interactions", pair[0]+" and "+pair[1])
	}
	l.add(key+".reference", a.Reference)
	l.add(key+".strata", a.Strata)
	if a.Model == HazardModel {
		l.add(key+".ties", string(a.Ties))
	}
	if a.Model != IncidenceModel {
		l.add(key+".penalised", strconv.FormatBool(a.Penalised))
	}
	l.outcome(key, a)
	l.predict(key, a.Predict)
	l.add(key+".level", number(a.Level))
	l.add(key+".variance", string(a.Variance))
}

// words says in which form a characteristic enters.
func (c *Covariate) words() string {
	text := "as it is recorded"
	switch {
	case len(c.Bands) > 0:
		text = "in bands at " + join(numbers(c.Bands))
	case c.Knots > 0:
		text = "natural cubic spline, " + strconv.Itoa(c.Knots) + " knots"
	case c.Per != 1:
		text = "for each " + number(c.Per)
	}
	if len(c.Order) > 0 {
		text += ", in the order " + join(c.Order)
	}
	for _, code := range slices.Sorted(maps.Keys(c.Labels)) {
		text += ", " + code + " as " + c.Labels[code]
	}
	if c.Reference != "" {
		text += ", reference " + c.Reference
	}
	return text
}
