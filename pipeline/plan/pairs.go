package plan

import (
	"slices"
	"strconv"

	"go.yaml.in/yaml/v3"

	"deltoid/cohorts"
)

// The kinds that set two measurements against one another.
const (
	// WithinPatient asks how two procedures compare in patients who have one on each side.
	WithinPatient Kind = "within patient"
	// Agreement asks how well two measurements of one shoulder agree.
	Agreement Kind = "agreement"
	// Discrimination asks how well a score tells two kinds of shoulders apart.
	Discrimination Kind = "discrimination"
)

// Positive says which shoulders a score has to find: those with an answer of at least From, or those that meet a criterion.
type Positive struct {
	Instrument string // question; empty for a criterion
	From       int
	Criterion  *cohorts.Criterion
}

// paired reads the keys of the kinds that set two measurements against one another.
func (r *reader) paired(s section, a *Analysis) {
	w := &a.Scores
	if v := s.values["positive"]; v != nil {
		w.Positive = r.positive(v)
	}
	if v := s.values["cuts"]; v != nil && a.Kind == Agreement {
		r.categories(v, w)
	}
	switch a.Kind {
	case WithinPatient:
		if len(w.Thresholds) > 1 {
			r.wrong(s.values["thresholds"], "thresholds has more than one entry", "one, or none", "keep the one that is meant")
		}
	case Agreement:
		r.agreement(s, a)
	case Discrimination:
		if n := len(a.Instruments); n > 2 {
			r.wrong(s.values["instruments"], "instruments names "+strconv.Itoa(n)+" scores", "one, or two to be compared", "ask for the others in an analysis of their own")
		}
		if len(w.Visits) != 1 && s.values["visits"] != nil {
			r.wrong(s.values["visits"], "a discrimination has more than one visit", "one", "keep the one that is meant")
		}
		for _, code := range a.Instruments {
			r.isScore(s.values["instruments"], code)
		}
	}
}

// isScore reports an instrument that is a question.
func (r *reader) isScore(n *yaml.Node, code string) {
	if slices.Contains(questions(true), code) {
		r.wrong(n, quote(code)+" is a question with a few answers, not a score", join(questions(false)), "name a score")
	}
}

// agreement reports measurements that are not two.
func (r *reader) agreement(s section, a *Analysis) {
	w := &a.Scores
	one, two := s.values["instrument"], s.values["instruments"]
	switch {
	case one != nil && two != nil:
		r.wrong(two, "instruments stands beside instrument", "one score at two visits, or two scores at one visit", "remove one of the two")
	case one == nil && two == nil:
		r.wrong(s.node, "an agreement has neither instrument nor instruments", "one score at two visits, or two scores at one visit", "name what was measured twice")
	case one != nil && len(w.Visits) != 2 && s.values["visits"] != nil:
		r.wrong(s.values["visits"], "one score is measured twice at two visits, and visits names "+strconv.Itoa(len(w.Visits)), "two visits", "name the two that are compared")
	case two != nil && len(a.Instruments) > 0 && (len(a.Instruments) != 2 || len(w.Visits) != 1):
		r.wrong(two, "two scores are compared at one visit", "two scores, and one visit under visits", "name two scores and one visit")
	}
	for _, code := range a.Instruments {
		r.isScore(two, code)
	}
}

// categories reads the scores at which categories begin.
func (r *reader) categories(n *yaml.Node, w *Scored) {
	for _, v := range r.entries(n, "cuts") {
		const allowed = "a number above 0"
		x, ok := r.number(v, "a cut", allowed)
		switch {
		case !ok:
		case !(x > 0):
			r.malformed(v, "a cut is "+cut(v.Value), allowed, "write the score at which a category begins")
		case len(w.Cuts) > 0 && x <= w.Cuts[len(w.Cuts)-1]:
			r.wrong(v, "the cut "+cut(v.Value)+" does not come after the one before it", "cuts that rise", "put the cuts in order, each once")
		default:
			w.Cuts = append(w.Cuts, x)
		}
	}
}

// positive reads which shoulders are to be found.
func (r *reader) positive(n *yaml.Node) *Positive {
	p := &Positive{}
	s := r.section(n, "positive", "instrument", "from", "keep", "where")
	byAnswer, byField := s.values["instrument"] != nil || s.values["from"] != nil, s.values["keep"] != nil || s.values["where"] != nil
	if byAnswer == byField && n.Kind == yaml.MappingNode {
		r.malformed(n, "positive has "+map[bool]string{true: "both an answer and a criterion", false: "neither an answer nor a criterion"}[byAnswer],
			"{instrument:, from:}, or {keep:, where:}", "keep the one that is meant")
		return p
	}
	if byAnswer {
		if v := s.need("instrument", "name the question, as in \"instrument: acceptable\""); v != nil {
			p.Instrument = r.instrument(v, "the instrument of positive", true)
		}
		if v := s.need("from", "say from which answer on, as in \"from: 1\""); v != nil {
			p.From = r.answer(v, "from", p.Instrument)
		}
		return p
	}
	if byField {
		c := r.readCriterion(n, "positive")
		p.Criterion = &c
	}
	return p
}

// words says which shoulders are to be found.
func (p *Positive) words() string {
	if p.Criterion != nil {
		return p.Criterion.Label
	}
	return p.Instrument + " from " + strconv.Itoa(p.From)
}
