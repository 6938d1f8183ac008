package plan

import (
	"slices"
	"strconv"
	"strings"
	"unicode"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// longest is the longest time that an analysis can ask for, in days: 120 years, the limit of the schemas.
const longest = 43_830

// defaultLevel is the level of the intervals when the plan does not say otherwise.
const defaultLevel = 0.95

// analyses reads what the plan asks for.
func (r *reader) analyses(n *yaml.Node) {
	if n == nil {
		return
	}
	lines := map[string]int{}
	for _, node := range r.entries(n, "analyses") {
		a := r.analysis(node)
		if line := lines[a.ID]; a.ID != "" && line > 0 {
			r.wrong(node, "two analyses have the id "+quote(a.ID)+"; the first is in line "+strconv.Itoa(line),
				"each id once", "add or change an \"id\"")
		} else {
			lines[a.ID] = node.Line
		}
		r.plan.Analyses = append(r.plan.Analyses, a)
	}
}

func (r *reader) analysis(n *yaml.Node) Analysis {
	s := r.section(n, "an analysis", "id", "kind", "endpoint", "by", "labels", "order",
		"times", "unit", "until", "headline", "level", "interval", "variance", "weights", "shares", "hazard", "tests", "strata", "trend", "pairs",
		"horizon", "sensitivity", "fields", "medians", "p_values", "instruments", "bands", "landmark", "split", "within",
		"per", "reference", "model", "adjust_for", "interactions", "ties", "penalised", "outcome", "predict",
		"given", "replicates", "seed", "shape", "cuts", "instrument", "before", "visits", "thresholds", "revised", "died", "anchor",
		"acceptable", "reliability", "positive", "covariance", "degrees_of_freedom", "before_as", "dropout",
		"patients", "hazard_ratio", "power", "significance", "allocation", "further")
	a := Analysis{Unit: schemas.Years, Level: defaultLevel, Interval: LogLogInterval, Variance: Clustered, Place: r.place(n)}
	if v := s.need("kind", "add \"kind: "+string(ImplantSurvival)+"\""); v != nil {
		word, _ := r.choice(v, "kind", kindNames())
		a.Kind = Kind(word)
	}
	r.fits(s, a.Kind)
	end := r.endpointOf(s, &a)
	f := r.groups(s, &a)
	r.times(s, &a)
	r.sorting(s, &a, f)
	r.within(s.values["within"], &a)
	r.variance(s, &a)
	r.weights(s, &a)
	r.shares(s, &a)
	r.hazard(s, &a)
	r.comparison(s, &a, end)
	r.regression(s, &a, end)
	r.validation(s, &a, end)
	r.projection(s, &a)
	r.nextStudy(s, &a)
	r.reasonsOf(s, &a, end)
	r.sensitivity(s, &a)
	r.described(s, &a)
	r.scored(s, &a)
	r.repeated(s, &a)
	if v := s.values["level"]; v != nil {
		a.Level = r.level(v)
	}
	r.rates(s, &a, f)
	r.interval(s, &a)
	r.headline(s, &a, end)
	a.ID = madeID(&a)
	if v := s.values["id"]; v != nil {
		a.ID, _ = r.named(v, "id")
	}
	return a
}

// endpointOf looks up the endpoint of an analysis.
func (r *reader) endpointOf(s section, a *Analysis) *declared {
	v := s.values["endpoint"]
	if v == nil {
		return nil
	}
	id, ok := r.code(v, "endpoint")
	if !ok {
		return nil
	}
	a.Endpoint = id
	end := r.ends[id]
	if end == nil && len(r.ends) > 0 {
		var ids []string
		for _, e := range r.plan.Endpoints {
			if endpointName.MatchString(e.ID) {
				ids = append(ids, e.ID)
			}
		}
		what, allowed, remedy := unknown("endpoint", id, ids, "describe it under endpoints")
		r.wrong(v, what, allowed, remedy)
	}
	return end
}

// groups reads how the cohort is split.
func (r *reader) groups(s section, a *Analysis) (f *schemas.Field) {
	pass, why := isWord, "cannot make groups, because it holds neither codes nor texts; a measured field needs bands"
	if s.values["bands"] != nil {
		pass, why = hasOrder, "cannot be divided into bands, because it holds codes or texts"
	}
	by, labels, order := s.values["by"], s.values["labels"], s.values["order"]
	if by != nil {
		if name, ok := r.code(by, "by"); ok {
			a.Groups.By = name
			if !a.byReason() {
				f = r.fieldOfRegistry(by, pass, why)
			}
		}
	}
	if by == nil {
		r.groupless("labels", labels)
		r.groupless("order", order)
	}
	if labels != nil {
		for _, p := range r.pairs(labels, "labels") {
			label, ok := r.text(p.value, "the label of "+quote(p.key.Value))
			if ok && (f == nil || r.hasCode(p.key, f)) {
				a.Groups.Labels = put(a.Groups.Labels, p.key.Value, label)
			}
		}
	}
	if order != nil {
		for _, v := range r.distinct(r.entries(order, "order"), "order") {
			if f == nil || r.hasCode(v, f) {
				a.Groups.Order = append(a.Groups.Order, v.Value)
			}
		}
	}
	return f
}

func (r *reader) groupless(key string, n *yaml.Node) {
	if n != nil {
		r.malformed(n, key+" stands without by", key+" of the groups that by makes", "add \"by\", or remove "+key)
	}
}

// times reads the times of the estimates and the end of the curves.
func (r *reader) times(s section, a *Analysis) {
	known := true
	if v := s.values["unit"]; v != nil {
		if a.Unit, known = r.unit(v, "unit"); !known {
			a.Unit = schemas.Years
		}
	}
	if v := s.values["times"]; v != nil {
		for _, t := range r.entries(v, "times") {
			if x, ok := r.time(t, "a time", a.Unit, known); ok {
				r.rises(t, x, a.Times)
				a.Times = append(a.Times, x)
			}
		}
	}
	if len(a.Times) > 0 {
		a.Until = slices.Max(a.Times)
	}
	if v := s.values["until"]; v != nil {
		x, ok := r.time(v, "until", a.Unit, known)
		if ok && x < a.Until {
			r.wrong(v, "until is "+cut(v.Value)+", before the last of the times",
				"a time from the last of the times on", "make until larger, or leave it out")
		}
		a.Until = x
	}
}

func (r *reader) rises(n *yaml.Node, x float64, before []float64) {
	if len(before) > 0 && x <= before[len(before)-1] {
		r.wrong(n, "the time "+cut(n.Value)+" does not come after the one before it", "times that rise",
			"put the times in order, each once")
	}
}

// time reads a time that is positive and not longer than a life.
func (r *reader) time(n *yaml.Node, name string, unit schemas.Unit, known bool) (float64, bool) {
	x, ok := r.number(n, name, "a number above 0")
	if !ok {
		return 0, false
	}
	if !(x > 0) {
		r.malformed(n, name+" is "+cut(n.Value), "a number above 0", notAboveZero(name))
		return 0, false
	}
	if days, _ := schemas.DaysPer(unit); known && x*days > longest {
		r.wrong(n, name+" is "+cut(n.Value)+" "+string(unit), "at most 120 years",
			"declare the unit that is meant, as in \"unit: days\"")
		return 0, false
	}
	return x, true
}

// notAboveZero says what to do about a length of time of 0 or less. What a minimum or a landmark of 0 would ask for is what
// holds without it; a time of 0 asks about a day before which nothing can have happened.
func notAboveZero(name string) string {
	switch name {
	case "length":
		return "remove minimum_follow_up to count everybody, or say how long they must have been followed"
	case "landmark":
		return "remove landmark to count from the operation on, or say from when on to count"
	case "hazard":
		return "remove hazard to leave it out, or say over how long it is smoothed, as in \"hazard: 1\""
	case "horizon":
		return "remove horizon to leave out the mean time, or say up to when it is taken"
	case "further":
		return "remove further to follow as the cohort was followed, or say for how much longer"
	case "until":
		return "remove until to end the curves at the last of the times, or make it later"
	}
	return "leave out the day of the procedure: nothing can have happened before it"
}

// level reads the level of the intervals.
func (r *reader) level(n *yaml.Node) float64 {
	const allowed = "a number between 0.5 and 1, without the two"
	if percent, ok := strings.CutSuffix(n.Value, "%"); ok && n.Kind == yaml.ScalarNode {
		if v, err := strconv.ParseFloat(strings.TrimSpace(percent), 64); err == nil {
			r.malformed(n, "level is "+quote(n.Value), allowed, levelRemedy(v))
			return 0
		}
	}
	v, ok := r.number(n, "level", allowed)
	if ok && !(v > 0.5 && v < 1) {
		r.malformed(n, "level is "+cut(n.Value), allowed, levelRemedy(v))
	}
	return v
}

// levelRemedy guesses the level behind a percentage or the chance of missing.
func levelRemedy(v float64) string {
	switch {
	case v > 50 && v < 100:
		v /= 100
	case v > 0 && v < 0.5:
		v = 1 - v
	default:
		v = defaultLevel
	}
	return "write " + strconv.FormatFloat(v, 'g', 4, 64)
}

// headline reads which answer leads. Without a competing cause there is nothing that cumulative incidence would add.
func (r *reader) headline(s section, a *Analysis, end *declared) {
	competing := end != nil && len(end.endpoint.Competing) > 0
	a.Headline = LeadSurvival
	if competing {
		a.Headline = LeadIncidence
	}
	v := s.values["headline"]
	if v == nil {
		return
	}
	word, ok := r.choice(v, "headline", []string{string(LeadIncidence), string(LeadSurvival)})
	a.Headline = Headline(word)
	if ok && a.Headline == LeadIncidence && end != nil && !end.broken && !competing {
		r.wrong(v, "headline is cumulative incidence, but nothing competes with the endpoint "+quote(a.Endpoint),
			"survival, or an endpoint with competing causes",
			"add \"competing: [died]\" to the endpoint, or write survival")
	}
}

// madeID makes the id of an analysis that the plan does not name.
func madeID(a *Analysis) string {
	if a.Kind == "" || a.Endpoint == "" && a.Outcome == nil && a.Kind.overTime() {
		return ""
	}
	id := string(a.Kind) + " " + a.Endpoint
	switch {
	case a.Kind == Validation:
	case a.Model == IncidenceModel:
		id = string(a.Kind) + " of incidence " + a.Endpoint
	case a.Model == OddsModel || a.Model == RateModel:
		id = string(a.Kind) + " of " + string(a.Model) + " " + a.Endpoint
	}
	if a.Outcome != nil {
		id += " " + a.Outcome.Field
	}
	if a.Kind.aboutScores() {
		id = strings.Join(append([]string{string(a.Kind), a.Scores.Instrument}, a.Instruments...), " ")
	}
	if a.Groups.By != "" {
		id += " by " + a.Groups.By
	}
	return slug(id)
}

// slug makes a name of letters, digits and hyphens from any text.
func slug(s string) string {
	words := strings.FieldsFunc(strings.ToLower(s), func(c rune) bool {
		return c > unicode.MaxASCII || !unicode.IsLetter(c) && !unicode.IsDigit(c)
	})
	if len(words) == 0 {
		return "study"
	}
	return strings.Trim(strings.Join(words, "-")[:min(80, len(strings.Join(words, "-")))], "-")
}
