package plan

import (
	"slices"
	"strconv"

	"go.yaml.in/yaml/v3"
)

// RepeatedScores asks how scores run over the visits: a linear mixed model.
const RepeatedScores Kind = "repeated scores"

// Repeated is what an analysis of repeated scores asks for beside the instrument and its visits.
type Repeated struct {
	// Covariances are tried in this order: the first that the scores can tell is that of the results, and all are compared.
	Covariances []Covariance
	Degrees     Degrees
	BeforeAs    BeforeRole
	// WorseBy are the points by which scores that are missing after a dropout are supposed to be worse than expected.
	WorseBy []float64
	Between bool // also those missing before a later score
}

// Covariance is the form of the covariance of one shoulder's scores.
type Covariance string

// The forms.
const (
	Unstructured      Covariance = "unstructured"
	CompoundSymmetric Covariance = "compound symmetric"
	Autoregressive    Covariance = "autoregressive"
	SpatialPower      Covariance = "spatial power"
)

var covariances = []Covariance{Unstructured, CompoundSymmetric, Autoregressive, SpatialPower}

// Degrees is the method for degrees of freedom.
type Degrees string

// The methods.
const (
	KenwardRoger  Degrees = "Kenward-Roger"
	Satterthwaite Degrees = "Satterthwaite"
)

// BeforeRole is what the score before the operation is in the model.
type BeforeRole string

// The roles.
const (
	BeforeCovariate BeforeRole = "covariate" // what later scores are adjusted for
	BeforeVisit     BeforeRole = "visit"     // the first of the visits
)

// repeated reads the keys of repeated scores.
func (r *reader) repeated(s section, a *Analysis) {
	w := &a.Repeated
	if a.Kind == RepeatedScores {
		*w = Repeated{Covariances: []Covariance{Unstructured, CompoundSymmetric}, Degrees: KenwardRoger, BeforeAs: BeforeCovariate}
		if s.values["revised"] == nil {
			a.Scores.Revised = LeftOut
		}
	}
	if v := s.values["covariance"]; v != nil {
		r.covariances(v, w)
	}
	if v := s.values["degrees_of_freedom"]; v != nil {
		word, _ := r.choice(v, "degrees_of_freedom", words([]Degrees{KenwardRoger, Satterthwaite}))
		w.Degrees = Degrees(word)
	}
	if v := s.values["before_as"]; v != nil {
		word, _ := r.choice(v, "before_as", words([]BeforeRole{BeforeCovariate, BeforeVisit}))
		w.BeforeAs = BeforeRole(word)
	}
	if v := s.values["dropout"]; v != nil {
		r.dropout(v, w)
	}
	if a.Kind == RepeatedScores {
		r.fitRepeated(s, a)
	}
}

// covariances reads the covariances in the order in which they are tried.
func (r *reader) covariances(n *yaml.Node, w *Repeated) {
	var asked []Covariance
	for _, word := range r.choices(n, "covariance", words(covariances)) {
		asked = append(asked, Covariance(word.Value))
	}
	if len(asked) > 0 {
		w.Covariances = asked
	}
}

// dropout reads what is supposed of the scores that are missing.
func (r *reader) dropout(n *yaml.Node, w *Repeated) {
	s := r.section(n, "dropout", "worse_by", "between")
	if v := s.need("worse_by", "say by how many points the missing may have done worse, as in \"worse_by: [5, 10]\""); v != nil {
		const allowed = "a number of points above 0"
		for _, node := range r.entries(v, "worse_by") {
			x, ok := r.number(node, "an entry of worse_by", allowed)
			switch {
			case !ok:
			case !(x > 0):
				r.malformed(node, "an entry of worse_by is "+cut(node.Value), allowed, "write how many points worse, whichever way the scale runs")
			case slices.Contains(w.WorseBy, x):
				r.wrong(node, "worse_by has "+cut(node.Value)+" twice", "each number once", "remove one of the two")
			default:
				w.WorseBy = append(w.WorseBy, x)
			}
		}
	}
	if v := s.values["between"]; v != nil {
		w.Between = r.yesNo(v, "between")
	}
}

// fitRepeated reports what does not go together.
func (r *reader) fitRepeated(s section, a *Analysis) {
	w := &a.Repeated
	for _, key := range []string{"revised", "died"} {
		if v := s.values[key]; v != nil && v.Value == string(NotImproved) {
			r.wrong(v, key+" is "+quote(string(NotImproved))+", which is no score", string(LeftOut)+", "+string(Missing),
				"write left out where nothing is asked about such a shoulder, or missing where its score is supposed to go on as that of others")
		}
	}
	if a.Scores.Before == "" && s.values["before_as"] != nil && s.values["before"] == nil {
		r.wrong(s.values["before_as"], "before_as stands in an analysis without a visit before the operation", "a visit whose window ends on the day of the operation or before it", "add it under visits, or remove before_as")
	}
	visits := len(a.Scores.Visits)
	if w.BeforeAs == BeforeVisit && a.Scores.Before != "" {
		visits++
	}
	if visits == 1 {
		r.wrong(s.node, "repeated scores of one visit are not repeated", "two visits or more; with \"before_as: visit\" that before the operation is one of them",
			"name another visit, or ask for recovery")
	}
}

// repeated lists what an analysis of repeated scores asks for.
func (l *settings) repeated(key string, a *Analysis) {
	w := &a.Repeated
	l.add(key+".revised", string(a.Scores.Revised))
	l.add(key+".died", string(a.Scores.Died))
	l.add(key+".covariance", join(words(w.Covariances)))
	l.add(key+".degrees_of_freedom", string(w.Degrees))
	if a.Scores.Before != "" {
		l.add(key+".before_as", string(w.BeforeAs))
	}
	if len(w.WorseBy) > 0 {
		l.add(key+".dropout.worse_by", join(numbers(w.WorseBy)))
		l.add(key+".dropout.between", strconv.FormatBool(w.Between))
	}
}
