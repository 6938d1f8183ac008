package plan

import (
	"slices"
	"strconv"

	"deltoid/cohorts"
)

// kinds lists the kinds of analysis: the keys without which they cannot be done, and those that only some of them know.
var kinds = []struct {
	kind  Kind
	needs []string
	knows []string
}{
	{ImplantSurvival, []string{"endpoint", "times"}, slices.Concat(overTime, inGroups, []string{"headline", "shares", "interval", "sensitivity", "weights", "hazard"})},
	{Comparison, []string{"endpoint", "by"}, slices.Concat(overTime, inGroups,
		[]string{"tests", "strata", "trend", "pairs", "horizon", "headline", "interval", "sensitivity", "weights"})},
	{Reasons, []string{"endpoint", "times"}, slices.Concat(overTime, inGroups, []string{"interval", "sensitivity", "weights"})},
	{RevisionRates, []string{"endpoint"}, slices.Concat(inGroups,
		[]string{"endpoint", "times", "unit", "landmark", "split", "variance", "per", "reference", "interval", "sensitivity"})},
	{Regression, nil, slices.Concat(inGroups, []string{"endpoint", "times", "unit", "landmark", "split", "variance", "reference", "strata", "model",
		"adjust_for", "interactions", "ties", "penalised", "horizon", "outcome", "predict"})},
	{Validation, []string{"endpoint", "horizon"}, []string{"endpoint", "horizon", "unit", "landmark", "variance", "model", "adjust_for", "interactions", "ties", "penalised",
		"given", "replicates", "seed"}},
	{Projection, []string{"endpoint", "times"}, slices.Concat(inGroups, []string{"endpoint", "times", "unit", "until", "landmark", "variance", "shape", "cuts"})},
	{NextStudyKind, []string{"endpoint", "power"}, []string{"endpoint", "unit", "variance", "patients", "hazard_ratio", "power", "significance", "allocation", "further",
		"replicates", "seed"}},
	{Baseline, nil, slices.Concat(inGroups, []string{"fields", "medians", "p_values"})},
	{BothShoulders, nil, inGroups},
	{Indication, nil, nil},
	{ProcedureAudit, nil, nil},
	{FollowUpKind, []string{"endpoint"}, slices.Concat(inGroups, []string{"endpoint", "instruments"})},
	{Recovery, []string{"endpoint", "instrument", "thresholds"}, slices.Concat(inGroups, ofScores, []string{"thresholds", "revised", "died", "adjust_for", "reliability"})},
	{RepeatedScores, []string{"endpoint", "instrument"}, slices.Concat(inGroups, ofScores, []string{"revised", "died", "adjust_for", "covariance", "degrees_of_freedom", "before_as", "dropout"})},
	{WithinPatient, []string{"endpoint", "instrument", "by"}, slices.Concat(inGroups, ofScores, []string{"thresholds"})},
	{Agreement, []string{"endpoint", "visits"}, []string{"endpoint", "instrument", "instruments", "visits", "cuts"}},
	{Discrimination, []string{"endpoint", "instruments", "visits", "positive"}, []string{"endpoint", "instruments", "before", "visits", "positive"}},
	{ThresholdsKind, []string{"endpoint", "instrument"}, slices.Concat(ofScores, []string{"anchor", "acceptable", "reliability", "replicates", "seed"})},
}

// Keys that come together.
var (
	overTime = []string{"endpoint", "times", "unit", "until", "variance", "landmark", "split"}
	inGroups = []string{"by", "labels", "order", "bands"}
	ofScores = []string{"endpoint", "instrument", "before", "visits"}
)

// remedies say how to add a key that a kind of analysis needs.
var remedies = map[string]string{
	"times":    "say at which times, as in \"times: [1, 2, 5, 10]\"",
	"by":       "name the field whose groups are compared, as in \"by: indication\"",
	"endpoint": "name one of the plan's endpoints",
	"power":    "say with which probability an effect is to be found, as in \"power: 0.8\"",
	"horizon":  "say for when risks are predicted, as in \"horizon: 5\"",

	"instrument":  "name an instrument of the scores, as in \"instrument: constant\"",
	"visits":      "name the visits, as in \"visits: [1 year]\"",
	"positive":    "say which shoulders are to be found, as in \"positive: {instrument: acceptable, from: 1}\"",
	"instruments": "name one score, or two to be compared, as in \"instruments: [constant]\"",
	"thresholds":  "say what counts as improved, as in \"thresholds: [{points: 12, reason: …}]\"; there is no default",
}

func kindNames() []string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = string(k.kind)
	}
	return names
}

// fits reports the keys that a kind of analysis needs and does not have, and those that belong to another kind.
func (r *reader) fits(s section, kind Kind) {
	at := slices.IndexFunc(kinds, func(k struct {
		kind         Kind
		needs, knows []string
	}) bool {
		return k.kind == kind
	})
	if at < 0 {
		return
	}
	for _, key := range kinds[at].needs {
		if s.values[key] == nil {
			r.wrong(s.node, "the key "+quote(key)+" is missing from an analysis of the kind "+quote(string(kind)), "", remedies[key])
		}
	}
	reported := map[string]bool{}
	for _, other := range kinds {
		for _, key := range other.knows {
			if v := s.values[key]; v != nil && !reported[key] && !slices.Contains(kinds[at].knows, key) {
				reported[key] = true
				r.wrong(v, key+" says nothing to an analysis of the kind "+quote(string(kind)), "with the kind "+quote(string(other.kind)),
					"remove the key, or change the kind")
			}
		}
	}
}

// variance reads whether the two shoulders of a patient are taken for two patients.
func (r *reader) variance(s section, a *Analysis) {
	if v := s.values["variance"]; v != nil {
		word, _ := r.choice(v, "variance", []string{string(Clustered), string(Independent)})
		a.Variance = Variance(word)
	}
}

// shares reads for which shares of the shoulders the time of the event is asked.
func (r *reader) shares(s section, a *Analysis) {
	v := s.values["shares"]
	if v == nil {
		return
	}
	const allowed = "a number between 0 and 1, without the two"
	for _, node := range r.entries(v, "shares") {
		x, ok := r.number(node, "a share", allowed)
		switch {
		case !ok:
		case !(x > 0 && x < 1):
			remedy := "write 0.5 for the median"
			if x > 1 && x < 100 {
				remedy = "write " + strconv.FormatFloat(x/100, 'g', 4, 64)
			}
			r.malformed(node, "a share is "+cut(node.Value), allowed, remedy)
		case len(a.Shares) > 0 && x <= a.Shares[len(a.Shares)-1]:
			r.wrong(node, "the share "+cut(node.Value)+" is not more than the one before it", "shares that rise",
				"put the shares in order, each once")
		default:
			a.Shares = append(a.Shares, x)
		}
	}
}

// sensitivity reads how an analysis is repeated.
func (r *reader) sensitivity(s section, a *Analysis) {
	if v := s.values["sensitivity"]; v != nil {
		for _, word := range r.choices(v, "sensitivity", words(cohorts.AllVariants())) {
			if cohorts.Variant(word.Value) == cohorts.AnyFollowUp && r.plan.Cohort.Minimum.Days == 0 {
				r.wrong(word, "an analysis "+quote(word.Value)+" is the analysis itself: the cohort has no minimum follow-up", "",
					"remove the entry, or give the cohort its minimum_follow_up")
				continue
			}
			a.Sensitivity = append(a.Sensitivity, Sensitivity(word.Value))
		}
	}
}

// reasonsOf reports an endpoint that has no reasons.
func (r *reader) reasonsOf(s section, a *Analysis, end *declared) {
	if a.Kind != Reasons && !a.byReason() || end == nil || end.broken {
		return
	}
	node := s.values["endpoint"]
	switch {
	case end.endpoint.Event != "revised":
		r.wrong(node, "the endpoint "+quote(a.Endpoint)+" is not a revision and has no reasons", "an endpoint with the event revised",
			"name another endpoint")
	case r.registry() == "procedures" && r.tables["revisions"] == nil:
		r.wrong(node, "reasons are asked for, but no export holds revisions", "a table revisions under exports", "add the table")
	}
}
