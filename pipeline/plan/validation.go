package plan

import (
	"math"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// GivenModel is a model that was made elsewhere: the risk by the horizon is 1 − survival^exp(Σ coefficient (x − centre)).
type GivenModel struct {
	Source       string
	Survival     float64 // free of the endpoint at the horizon, of someone at the centres
	Coefficients []GivenCoefficient
}

// GivenCoefficient is what one characteristic adds to the log hazard: so much for each unit of a measured field above the centre,
// or so much for those with one of the codes.
type GivenCoefficient struct {
	Field  string
	Codes  []string // nil for a measured field
	Value  float64  // log hazard ratio, for one unit more of a measured field
	Centre float64
	Place  string
}

// The bootstrap when the plan does not say otherwise.
const (
	defaultReplicates = 200
	defaultSeed       = 1
)

// validation reads the keys of a model validation.
func (r *reader) validation(s section, a *Analysis, end *declared) {
	if a.Kind != Validation {
		return
	}
	a.Replicates, a.Seed = defaultReplicates, defaultSeed
	competes := end != nil && len(end.endpoint.Competing) > 0
	if s.values["model"] == nil {
		a.Model = HazardModel
		if competes {
			a.Model = IncidenceModel
		}
	}
	if a.Ties == "" {
		a.Ties = EfronTies
	}
	r.validated(s, a, end, competes)
	r.resampling(s, a)
	if v := s.values["given"]; v != nil {
		r.given(v, a)
	}
}

// resampling reads how often samples are drawn again, and by which random numbers.
func (r *reader) resampling(s section, a *Analysis) {
	if v := s.values["replicates"]; v != nil {
		const allowed = "a whole number from 20 to 10000"
		n, ok := r.whole(v, "replicates", 0, allowed)
		if ok && (n < 20 || n > 10_000) {
			r.malformed(v, "replicates is "+cut(v.Value), allowed, "write 200")
		}
		a.Replicates = n
	}
	if v := s.values["seed"]; v != nil {
		n, _ := r.whole(v, "seed", 0, "a whole number from 0 to 1000000")
		a.Seed = uint64(n)
	}
}

// validated reports what does not make one model whose risks can be held against what happened.
func (r *reader) validated(s section, a *Analysis, end *declared, competes bool) {
	given, adjust := s.values["given"], s.values["adjust_for"]
	switch {
	case given == nil && adjust == nil:
		r.wrong(s.node, "a model validation has neither a given model nor characteristics to make one from", "given, or adjust_for",
			"give the coefficients, or name fields, as in \"adjust_for: [age, sex]\"")
	case given != nil && adjust != nil:
		r.wrong(given, "given stands beside adjust_for", "one of the two", "remove one of the two")
	}
	if given != nil {
		for _, key := range []string{"model", "ties", "penalised", "interactions", "replicates", "seed"} {
			if v := s.values[key]; v != nil {
				r.wrong(v, key+" stands with a given model, which is taken as it is", key+" with a model that is made here", "remove the key")
			}
		}
		return
	}
	v := s.values["model"]
	switch {
	case v == nil || end == nil || end.broken:
	case a.Model == OddsModel || a.Model == RateModel:
		r.wrong(v, "model is "+string(a.Model)+" in a model validation", "hazard, cumulative incidence", "write hazard")
	case a.Model == IncidenceModel && !competes:
		r.wrong(v, "model is cumulative incidence, but nothing competes with the endpoint "+quote(a.Endpoint), "hazard, or an endpoint with competing causes",
			"add \"competing: [died]\" to the endpoint, or write hazard")
	case a.Model == HazardModel && competes:
		r.wrong(v, "the risk of a model of the hazard supposes that nobody comes to a competing event first, but some do before "+quote(a.Endpoint),
			"cumulative incidence, or an endpoint without competing causes", "leave the key out")
	}
	if a.Model == IncidenceModel {
		for _, key := range []string{"ties", "penalised"} {
			if v := s.values[key]; v != nil {
				r.wrong(v, key+" stands with the model cumulative incidence", key+" with the model hazard", "remove one of the two")
			}
		}
	}
}

// given reads a model that was made elsewhere.
func (r *reader) given(n *yaml.Node, a *Analysis) {
	s := r.section(n, "given", "source", "survival", "coefficients")
	g := &GivenModel{}
	a.Given = g
	if v := s.need("source", "say where the model was published"); v != nil {
		g.Source, _ = r.text(v, "source")
	}
	if v := s.need("survival", "give the probability of being free of the endpoint at the horizon for someone at the centres, as in \"survival: 0.95\""); v != nil {
		const allowed = "a number between 0 and 1, without the two"
		x, ok := r.number(v, "survival", allowed)
		if ok && !(x > 0 && x < 1) {
			r.malformed(v, "survival is "+cut(v.Value), allowed, "write a probability, such as 0.95")
		}
		g.Survival = x
	}
	if v := s.need("coefficients", "list them, as in \"coefficients: [{field: age, ratio: 1.2, per: 10, centre: 70}]\""); v != nil {
		for _, node := range r.entries(v, "coefficients") {
			g.Coefficients = append(g.Coefficients, r.givenCoefficient(node))
		}
	}
}

func (r *reader) givenCoefficient(n *yaml.Node) (c GivenCoefficient) {
	s := r.section(n, "a coefficient", "field", "codes", "ratio", "coefficient", "per", "centre")
	c.Place = r.place(n)
	var f *schemas.Field
	if v := s.need("field", "name the field, as in \"field: age\""); v != nil {
		if name, ok := r.code(v, "field"); ok {
			c.Field = name
			f = r.fieldOfRegistry(v, isCovariate, "cannot be adjusted for: it holds days or identifies people")
		}
	}
	c.Value = r.logRatio(s)
	for _, key := range []string{"per", "centre"} {
		if v := s.values[key]; v != nil && f != nil && !isMeasured(f) {
			r.wrong(v, key+" stands with "+quote(f.Name)+", which holds codes or texts", key+" with a field of numbers", "remove the key")
		}
	}
	if v := s.values["per"]; v != nil {
		const allowed = "a number above 0"
		x, ok := r.number(v, "per", allowed)
		if ok && !(x > 0) {
			r.malformed(v, "per is "+cut(v.Value), allowed, "write 10 for a ratio for ten units more")
		} else if ok {
			c.Value /= x
		}
	}
	if v := s.values["centre"]; v != nil {
		c.Centre, _ = r.number(v, "centre", "a number")
	}
	r.givenCodes(s, &c, f)
	return c
}

// logRatio reads the ratio of hazards, or its logarithm.
func (r *reader) logRatio(s section) float64 {
	ratio, log := s.values["ratio"], s.values["coefficient"]
	switch {
	case ratio != nil && log != nil:
		r.wrong(log, "coefficient stands beside ratio", "one of the two", "remove one of the two")
	case ratio != nil:
		const allowed = "a number above 0"
		x, ok := r.number(ratio, "ratio", allowed)
		if ok && !(x > 0) {
			r.malformed(ratio, "ratio is "+cut(ratio.Value), allowed, "write a hazard ratio, such as 1.2")
			return 0
		}
		return math.Log(x)
	case log != nil:
		x, _ := r.number(log, "coefficient", "a number")
		return x
	case s.node.Kind == yaml.MappingNode:
		r.wrong(s.node, "a coefficient has no number", "ratio, or coefficient (its natural logarithm)", "add one of the two")
	}
	return 0
}

// givenCodes reads whom a coefficient of codes is for.
func (r *reader) givenCodes(s section, c *GivenCoefficient, f *schemas.Field) {
	v := s.values["codes"]
	switch {
	case v == nil && f != nil && isWord(f):
		r.wrong(s.node, "the coefficient of "+quote(f.Name)+" does not say for which codes", "codes", "add them, as in \"codes: [male]\"")
	case v == nil:
	case f != nil && isMeasured(f):
		r.wrong(v, "codes stands with "+quote(f.Name)+", which holds numbers", "codes with a field of codes or texts", "remove the key")
	default:
		for _, code := range r.codes(v, "codes") {
			if f == nil || r.hasCode(code, f) {
				c.Codes = append(c.Codes, code.Value)
			}
		}
	}
}

func (l *settings) validation(key string, a *Analysis) {
	l.add(key+".horizon", number(a.Horizon))
	l.add(key+".unit", string(a.Unit))
	if g := a.Given; g != nil {
		l.add(key+".given.source", g.Source)
		l.add(key+".given.survival", number(g.Survival))
		for _, c := range g.Coefficients {
			l.add(key+".given."+strings.Join(append([]string{c.Field}, c.Codes...), " "), number(c.Value)+" from "+number(c.Centre))
		}
	} else {
		l.add(key+".model", string(a.Model))
		for _, c := range a.AdjustFor {
			l.add(key+".adjust_for."+c.Field, c.words())
		}
		for _, pair := range a.Interactions {
			l.add(key+".interactions", pair[0]+" and "+pair[1])
		}
		if a.Model == HazardModel {
			l.add(key+".ties", string(a.Ties))
			l.add(key+".penalised", strconv.FormatBool(a.Penalised))
		}
		l.add(key+".replicates", strconv.Itoa(a.Replicates))
		l.add(key+".seed", strconv.FormatUint(a.Seed, 10))
	}
	l.add(key+".level", number(a.Level))
	l.add(key+".variance", string(a.Variance))
}
