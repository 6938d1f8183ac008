package plan

import (
	"strconv"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// Anchor is a question about change and what its answers mean.
type Anchor struct {
	Instrument                      string
	Unchanged, Minimal, Substantial int // values of the answers; Substantial is that which means a substantial benefit
	HasSubstantial                  bool
	Reliability                     float64 // of the answers, from 0 to 1; 0 when the plan does not say
	Floor                           float64 // least rank correlation with the change that supports a threshold
}

// Acceptable is a question about the state, and the lowest answer that calls it acceptable.
type Acceptable struct {
	Instrument  string
	From        int
	Reliability float64 // of the answers, from 0 to 1; 0 when the plan does not say
	Floor       float64 // least rank correlation with the score that supports a threshold
}

// questions lists the instruments that are questions, or those that are scores.
func questions(question bool) (codes []string) {
	for _, i := range schemas.Instruments() {
		if i.IsQuestion() == question {
			codes = append(codes, i.Code)
		}
	}
	return codes
}

// anchor reads a question about change.
func (r *reader) anchor(n *yaml.Node) *Anchor {
	a := &Anchor{Floor: defaultFloor}
	s := r.section(n, "anchor", "instrument", "unchanged", "minimal", "substantial", "reliability", "floor")
	if v := s.need("instrument", "name the question, as in \"instrument: rating\""); v != nil {
		a.Instrument = r.instrument(v, "the instrument of the anchor", true)
	}
	if v := s.need("unchanged", "say which answer means about the same"); v != nil {
		a.Unchanged = r.answer(v, "unchanged", a.Instrument)
	}
	if v := s.need("minimal", "say which answer means just better enough to matter"); v != nil {
		a.Minimal = r.answer(v, "minimal", a.Instrument)
	}
	if v := s.values["substantial"]; v != nil {
		a.Substantial, a.HasSubstantial = r.answer(v, "substantial", a.Instrument), true
	}
	r.qualities(s, &a.Reliability, &a.Floor)
	if s.values["unchanged"] != nil && s.values["minimal"] != nil && a.Minimal <= a.Unchanged {
		r.wrong(s.values["minimal"], "minimal is "+strconv.Itoa(a.Minimal)+", no better an answer than unchanged", "an answer above "+strconv.Itoa(a.Unchanged), "put the two right")
	}
	if a.HasSubstantial && s.values["minimal"] != nil && a.Substantial <= a.Minimal {
		r.wrong(s.values["substantial"], "substantial is "+strconv.Itoa(a.Substantial)+", no better an answer than minimal", "an answer above "+strconv.Itoa(a.Minimal), "put the two right")
	}
	return a
}

// answer reads a value that the question can have.
func (r *reader) answer(n *yaml.Node, name, instrument string) int {
	x, ok := r.number(n, name, "a whole number")
	if ok && x != float64(int(x)) {
		r.malformed(n, name+" is "+cut(n.Value), "a whole number", "write the value of an answer")
		return 0
	}
	i, known := schemas.InstrumentOf(instrument)
	if _, is := i.Answer(x); ok && known && !is {
		var answers []string
		for _, a := range i.Answers {
			answers = append(answers, number(a.Value)+" "+a.Words)
		}
		r.wrong(n, cut(n.Value)+" is no answer of "+quote(instrument), join(answers), "write one of these numbers")
	}
	return int(x)
}

func (r *reader) acceptable(n *yaml.Node) *Acceptable {
	a := &Acceptable{From: 1, Floor: defaultFloor}
	s := r.section(n, "acceptable", "instrument", "from", "reliability", "floor")
	if v := s.need("instrument", "name the question, as in \"instrument: acceptable\""); v != nil {
		a.Instrument = r.instrument(v, "the instrument of acceptable", true)
	}
	if v := s.need("from", "say from which answer on the state is acceptable, as in \"from: 1\""); v != nil {
		a.From = r.answer(v, "from", a.Instrument)
	}
	r.qualities(s, &a.Reliability, &a.Floor)
	return a
}

// qualities read how reliable answers are, and how closely they have to go with the score.
func (r *reader) qualities(s section, reliability, floor *float64) {
	if v := s.values["reliability"]; v != nil {
		*reliability = r.share(v, "reliability")
	}
	if v := s.values["floor"]; v != nil {
		*floor = r.share(v, "floor")
	}
}

// share reads a number between 0 and 1.
func (r *reader) share(n *yaml.Node, name string) float64 {
	const allowed = "a number above 0, at most 1"
	x, ok := r.number(n, name, allowed)
	if ok && !(x > 0 && x <= 1) {
		r.malformed(n, name+" is "+cut(n.Value), allowed, "write for instance 0.9")
	}
	return x
}
