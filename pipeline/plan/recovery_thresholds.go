package plan

import (
	"slices"
	"strconv"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// Threshold is what a shoulder must reach to count as improved, or as well. Exactly one of Points, State, Published and
// Derived is set. There is none by default: published thresholds of one score differ by more than half.
type Threshold struct {
	Points    float64 // of improvement
	State     float64 // score to be reached at the visit
	IsState   bool
	Reason    string // why Points or State was chosen
	Published string // id of a published threshold
	Derived   string // id of an analysis of the kind thresholds before this one
	Of        Benefit
	Method    ThresholdMethod
	Place     string // file:line in the plan
}

// Benefit is which threshold of an analysis of thresholds is meant.
type Benefit string

// The benefits.
const (
	Minimal     Benefit = "minimal"     // minimal clinically important difference
	Substantial Benefit = "substantial" // substantial clinical benefit
	Accepted    Benefit = "acceptable"  // patient acceptable symptom state
)

// ThresholdMethod is how a threshold was found.
type ThresholdMethod string

// The methods by which an own threshold may be chosen.
const (
	MeanChange         ThresholdMethod = "mean change"
	MeanDifference     ThresholdMethod = "difference of mean changes"
	Youden             ThresholdMethod = "Youden"
	ClosestToCorner    ThresholdMethod = "closest to corner"
	Predictive         ThresholdMethod = "predictive"
	PredictiveAdjusted ThresholdMethod = "predictive adjusted"
	PredictiveReliable ThresholdMethod = "predictive reliable"
	Quartile           ThresholdMethod = "quartile of acceptable"
	HalfSD             ThresholdMethod = "half a standard deviation"
	Detectable95       ThresholdMethod = "smallest detectable change"
)

var thresholdMethods = []ThresholdMethod{MeanChange, MeanDifference, Youden, ClosestToCorner, Predictive, PredictiveAdjusted, PredictiveReliable, Quartile,
	HalfSD, Detectable95}

// threshold reads what has to be reached. Whatever it is, the plan says where it comes from.
func (r *reader) threshold(n *yaml.Node, a *Analysis) Threshold {
	t := Threshold{Place: r.place(n)}
	s := r.section(n, "a threshold", "points", "state", "reason", "published", "derived", "of", "method")
	given := 0
	for _, key := range []string{"points", "state", "published", "derived"} {
		if s.values[key] != nil {
			given++
		}
	}
	if given != 1 && n.Kind == yaml.MappingNode {
		r.malformed(n, "a threshold has "+strconv.Itoa(given)+" of points, state, published and derived", "one of the four", "keep the one that is meant")
	}
	if v := s.values["points"]; v != nil {
		const allowed = "a number of points of improvement, above 0"
		x, ok := r.number(v, "points", allowed)
		if ok && !(x > 0) {
			r.malformed(v, "points is "+cut(v.Value), allowed, "write how many points better counts, whichever way the scale runs")
		}
		r.withinReach(v, a.Scores.Instrument, x)
		t.Points = x
	}
	if v := s.values["state"]; v != nil {
		t.State, _ = r.number(v, "state", "a score")
		t.IsState = true
		r.onScale(v, a.Scores.Instrument, t.State)
	}
	r.thresholdReason(s, &t)
	if v := s.values["published"]; v != nil {
		t.Published = r.published(v, a.Scores.Instrument)
		p, _ := schemas.PublishedOf(t.Published)
		t.IsState = p.Of == "state"
	}
	if v := s.values["derived"]; v != nil {
		r.derived(v, s, &t, a)
	}
	for _, key := range []string{"of", "method"} {
		if v := s.values[key]; v != nil && s.values["derived"] == nil {
			r.malformed(v, key+" stands without derived", key+" with a threshold that is derived", "remove the key")
		}
	}
	return t
}

func (r *reader) thresholdReason(s section, t *Threshold) {
	number := s.values["points"] != nil || s.values["state"] != nil
	if v := s.values["reason"]; v != nil {
		t.Reason, _ = r.text(v, "reason")
		if !number {
			r.malformed(v, "reason stands without points or state", "reason with a number of the plan's own", "remove the key")
		}
	} else if number {
		r.malformed(s.node, "a threshold is a number without a reason", "a reason with each number", "add \"reason: …\": who found it, in whom, and how")
	}
}

// onScale reports a score that the instrument cannot give.
func (r *reader) onScale(n *yaml.Node, instrument string, x float64) {
	if i, ok := schemas.InstrumentOf(instrument); ok && (x < i.Minimum || x > i.Maximum) {
		r.wrong(n, "state is "+cut(n.Value)+", which "+i.Title+" cannot give", "from "+number(i.Minimum)+" to "+number(i.Maximum),
			"write a score on the scale that deltoid takes")
	}
}

// withinReach reports an improvement that is more than the whole scale of the instrument.
func (r *reader) withinReach(n *yaml.Node, instrument string, points float64) {
	if i, ok := schemas.InstrumentOf(instrument); ok && points > i.Maximum-i.Minimum {
		r.wrong(n, "points is "+cut(n.Value)+", and the "+i.Title+" has no two scores so far apart", "above 0, up to "+number(i.Maximum-i.Minimum),
			"write how many points of the scale that deltoid takes count as better")
	}
}

// published looks up a published threshold. Those that were not read at their source are no choice.
func (r *reader) published(n *yaml.Node, instrument string) string {
	id, ok := r.code(n, "published")
	if !ok || instrument == "" {
		return ""
	}
	var offered []string
	for _, p := range schemas.PublishedFor(instrument) {
		if p.Offered() {
			offered = append(offered, p.ID)
		}
	}
	if slices.Contains(offered, id) {
		return id
	}
	if p, known := schemas.PublishedOf(id); known && p.Instrument == instrument {
		r.wrong(n, quote(id)+" cannot be chosen: it is a range, or nobody has read it at its source", orNoThreshold(offered), "name another one, or give its points with your reason")
		return ""
	}
	what, allowed, remedy := unknown("published threshold", id, offered, "name one that is listed, or give points and a reason")
	if len(offered) == 0 {
		allowed = orNoThreshold(nil)
	}
	r.wrong(n, what+" of "+quote(instrument), allowed, remedy)
	return ""
}

func orNoThreshold(offered []string) string {
	if len(offered) == 0 {
		return "none: no published threshold of this instrument is listed"
	}
	return join(offered)
}

// derived reads which threshold of an analysis before this one is meant.
func (r *reader) derived(n *yaml.Node, s section, t *Threshold, a *Analysis) {
	id, ok := r.code(n, "derived")
	if !ok {
		return
	}
	t.Derived, t.Of = id, Minimal
	if v := s.values["of"]; v != nil {
		word, _ := r.choice(v, "of", words([]Benefit{Minimal, Substantial, Accepted}))
		t.Of = Benefit(word)
	}
	t.IsState = t.Of == Accepted
	if v := s.need("method", "say by which of the methods, as in \"method: predictive adjusted\""); v != nil {
		word, _ := r.choice(v, "method", words(thresholdMethods))
		t.Method = ThresholdMethod(word)
	}
	at := slices.IndexFunc(r.plan.Analyses, func(o Analysis) bool { return o.ID == id && o.Kind == ThresholdsKind })
	switch {
	case at < 0:
		r.wrong(n, "no analysis of the kind "+quote(string(ThresholdsKind))+" before this one has the id "+quote(id), "an analysis further up", "put it before this one, and give it this id")
	case a.Scores.Instrument != "" && r.plan.Analyses[at].Scores.Instrument != a.Scores.Instrument:
		r.wrong(n, "the analysis "+quote(id)+" is about "+quote(r.plan.Analyses[at].Scores.Instrument), "one about "+quote(a.Scores.Instrument), "name an analysis of the same instrument")
	case t.Of == Accepted && r.plan.Analyses[at].Scores.Acceptable == nil,
		t.Of == Substantial && (r.plan.Analyses[at].Scores.Anchor == nil || !r.plan.Analyses[at].Scores.Anchor.HasSubstantial),
		t.Of == Minimal && r.plan.Analyses[at].Scores.Anchor == nil && t.Method != HalfSD && t.Method != Detectable95:
		r.wrong(n, "the analysis "+quote(id)+" asks for no "+string(t.Of)+" threshold", "one that it asks for", "add what it needs to that analysis")
	}
}
