package plan

import (
	"slices"

	"go.yaml.in/yaml/v3"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// Scored is what an analysis of scores asks for.
type Scored struct {
	Instrument string
	Before     string   // id of the visit before the operation; empty where the state alone is asked about
	Visits     []string // ids of the visits after it, in order of time
	Thresholds []Threshold
	Revised    Ruling // what becomes of a shoulder that was revised before the visit
	Died       Ruling // and of one whose patient died before it
	Anchor     *Anchor
	Acceptable *Acceptable
	// Reliability is that of one score, from 0 to 1; 0 when the plan does not say.
	Reliability float64
	Cuts        []float64 // of agreement: the scores at which categories begin
	Positive    *Positive // of discrimination: which shoulders are to be found
}

// Ruling says how a shoulder counts whose score cannot be had any more.
type Ruling string

// The rulings.
const (
	NotImproved Ruling = "not improved"
	LeftOut     Ruling = "left out"
	Missing     Ruling = "missing" // as one that was not assessed
)

var rulings = []Ruling{NotImproved, LeftOut, Missing}

// thresholdReplicates is how often patients are drawn again when the plan does not say; defaultFloor is the least correlation
// of an anchor with the change, after Revicki and others 2008.
const (
	thresholdReplicates = 1000
	defaultFloor        = 0.3
)

// aboutScores reports whether a kind is about scores and takes the keys below.
func (k Kind) aboutScores() bool {
	return slices.Contains([]Kind{Recovery, ThresholdsKind, RepeatedScores, WithinPatient, Agreement, Discrimination}, k)
}

// Visit returns the visit with an id, or nil.
func (p *Plan) Visit(id string) *cohorts.Window {
	for i := range p.Visits {
		if p.Visits[i].ID == id {
			return &p.Visits[i]
		}
	}
	return nil
}

// scored reads the keys of the kinds that are about scores.
func (r *reader) scored(s section, a *Analysis) {
	w := &a.Scores
	if a.Kind.aboutScores() {
		w.Revised, w.Died = NotImproved, LeftOut
		if a.Kind == ThresholdsKind {
			a.Replicates, a.Seed = thresholdReplicates, defaultSeed
			r.resampling(s, a)
		}
	}
	if v := s.values["instrument"]; v != nil {
		w.Instrument = r.instrument(v, "instrument", false)
	}
	r.whichVisits(s, a)
	if v := s.values["thresholds"]; v != nil {
		for _, entry := range r.entries(v, "thresholds") {
			w.Thresholds = append(w.Thresholds, r.threshold(entry, a))
		}
	}
	r.ruling(s, "revised", &w.Revised)
	r.ruling(s, "died", &w.Died)
	if v := s.values["anchor"]; v != nil {
		w.Anchor = r.anchor(v)
	}
	if v := s.values["acceptable"]; v != nil {
		w.Acceptable = r.acceptable(v)
	}
	if v := s.values["reliability"]; v != nil {
		w.Reliability = r.share(v, "reliability")
	}
	r.fitScores(s, a)
}

// instrument reads an instrument of the scores; a question is one with words for answers.
func (r *reader) instrument(n *yaml.Node, name string, question bool) string {
	code, ok := r.code(n, name)
	scores := r.tables["scores"]
	if !ok {
		return ""
	}
	if scores == nil {
		if len(r.tables) > 0 {
			r.wrong(n, name+" is "+quote(code)+", but no export holds scores", "a table scores under exports", "add the table, or remove the analysis")
		}
		return code
	}
	if !r.hasCode(n, scores.field("instrument")) {
		return ""
	}
	i, known := schemas.InstrumentOf(code)
	switch {
	case known && question && !i.IsQuestion():
		r.wrong(n, quote(code)+" is a score, not a question with a few answers", join(questions(true)), "name the question that patients were asked")
		return ""
	case known && !question && i.IsQuestion():
		r.wrong(n, quote(code)+" is a question with a few answers, not a score", join(questions(false)), "name a score")
		return ""
	}
	return code
}

// whichVisits reads which visits are compared: without a word, the only one before the operation with all after it.
func (r *reader) whichVisits(s section, a *Analysis) {
	w := &a.Scores
	if v := s.values["before"]; v != nil {
		if visit := r.visitNamed(v, "before"); visit != nil {
			w.Before = visit.ID
			if visit.To > 0 {
				r.wrong(v, "the visit "+quote(visit.Label)+" may be after the operation", "a visit whose window ends on the day of the operation", "name a visit before it")
			}
		}
	} else if a.Kind.aboutScores() && a.Kind != Agreement && a.Kind != Discrimination {
		for _, visit := range r.plan.Visits {
			if visit.To <= 0 {
				w.Before = visit.ID
			}
		}
	}
	if v := s.values["visits"]; v != nil {
		for _, node := range r.distinct(r.entries(v, "visits of an analysis"), "visits of an analysis") {
			if visit := r.visitNamed(node, "an entry of visits"); visit != nil {
				w.Visits = append(w.Visits, visit.ID)
				if visit.To <= 0 && a.Kind != Agreement {
					r.wrong(node, "the visit "+quote(visit.Label)+" is before the operation", "a visit after it", "name it under before")
				}
			}
		}
		return
	}
	if a.Kind.aboutScores() {
		for _, visit := range r.plan.Visits {
			if visit.From > 0 {
				w.Visits = append(w.Visits, visit.ID)
			}
		}
	}
}

func (r *reader) visitNamed(n *yaml.Node, name string) *cohorts.Window {
	label, ok := r.code(n, name)
	if !ok {
		return nil
	}
	var labels []string
	for i := range r.plan.Visits {
		if r.plan.Visits[i].Label == label {
			return &r.plan.Visits[i]
		}
		labels = append(labels, r.plan.Visits[i].Label)
	}
	if len(labels) > 0 {
		what, allowed, remedy := unknown("visit", label, labels, "describe it under visits")
		r.wrong(n, what, allowed, remedy)
	}
	return nil
}

func (r *reader) ruling(s section, key string, out *Ruling) {
	if v := s.values[key]; v != nil {
		word, _ := r.choice(v, key, words(rulings))
		*out = Ruling(word)
	}
}

// fitScores reports what does not go together in an analysis of scores.
func (r *reader) fitScores(s section, a *Analysis) {
	w := &a.Scores
	if !a.Kind.aboutScores() {
		return
	}
	if len(r.plan.Visits) == 0 {
		r.wrong(s.node, "an analysis of scores stands in a plan without visits", "visits at the top of the plan",
			"say when scores are due, as in \"visits: [{label: 1 year, at: 12, from: 9, to: 18}]\"")
		return
	}
	if a.Kind == ThresholdsKind && w.Anchor == nil && w.Acceptable == nil && s.values["anchor"] == nil && s.values["acceptable"] == nil && w.Reliability == 0 {
		r.wrong(s.node, "an analysis of thresholds has no question to go by, and no reliability", "anchor, acceptable, reliability, or several of them", "add \"anchor: …\"")
	}
	r.paired(s, a)
	states := 0
	for _, t := range w.Thresholds {
		if t.IsState {
			states++
		}
	}
	if states > 0 && states < len(w.Thresholds) {
		r.wrong(s.values["thresholds"], "thresholds of improvement stand beside thresholds of a state", "one of the two kinds in one analysis", "ask for the others in an analysis of their own")
	}
	ofChange := !slices.Contains([]Kind{RepeatedScores, Agreement, Discrimination}, a.Kind) && states < max(1, len(w.Thresholds))
	if w.Before == "" && s.values["before"] == nil && ofChange {
		r.wrong(s.node, "no visit is before the operation, so that nothing can be said about change", "a visit whose window ends on the day of the operation or before it", "add it under visits")
	}
	if len(w.Visits) == 0 && s.values["visits"] == nil {
		r.wrong(s.node, "no visit is after the operation", "a visit whose window begins after the day of the operation", "add it under visits")
	}
	for _, c := range a.AdjustFor {
		if c.Knots > 0 {
			r.wrong(s.values["adjust_for"], "a spline stands in an analysis of the kind "+quote(string(a.Kind)), "straight lines, bands and codes", "remove spline, or write bands")
		}
	}
}
