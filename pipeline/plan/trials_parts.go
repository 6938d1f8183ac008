package plan

import (
	"slices"

	"go.yaml.in/yaml/v3"

	"deltoid/stats/trials"
)

// hazards reads the curve of the first group and the hazard ratio of the second.
func (r *reader) hazards(s section, out *Simulated) {
	first, ok := r.aside(s, "first", 0, 1)
	at, timed := r.aside(s, "at", 0, 100)
	if ok && timed {
		out.Curve = []ShareBy{{at, first}}
	}
	if v := s.values["curve"]; v != nil {
		before := ShareBy{}
		for _, p := range r.pointsOf(v, "curve", "by", "share", 0, 100, 1) {
			if !(p[0] > before.By && p[1] >= before.Share) {
				r.wrong(v, "the curve does not rise with time", "times that rise, and shares that do not fall", "put the points in order")
				break
			}
			before = ShareBy{p[0], p[1]}
			out.Curve = append(out.Curve, before)
		}
	}
	if ratio, ok := r.aside(s, "hazard_ratio", 0, 100); ok {
		out.Ratios = []RatioFrom{{0, ratio}}
	}
	if v := s.values["hazard_ratios"]; v != nil {
		last := -1.0
		for i, p := range r.pointsOf(v, "hazard_ratios", "from", "ratio", -1e-12, 100, 100) {
			if i == 0 && p[0] != 0 || p[0] <= last {
				r.wrong(v, "hazard_ratios do not begin at 0 and go on in order", "from: 0 first, then times that rise", "say what the ratio is from the operation on")
				break
			}
			last = p[0]
			out.Ratios = append(out.Ratios, RatioFrom{p[0], p[1]})
		}
	}
}

// aside reads a number above low and below high that goes with others.
func (r *reader) aside(s section, key string, low, high float64) (float64, bool) {
	v := s.values[key]
	if v == nil {
		return 0, false
	}
	allowed := "a number above " + number(low) + " and below " + number(high)
	x, ok := r.number(v, key, allowed)
	if ok && !(x > low && x < high) {
		r.malformed(v, key+" is "+cut(v.Value), allowed, "correct the value")
		return 0, false
	}
	return x, ok
}

// pointsOf reads a list of pairs, each with a time and what holds there.
func (r *reader) pointsOf(n *yaml.Node, name, time, what string, low, high, most float64) (out [][2]float64) {
	for _, node := range r.entries(n, name) {
		s := r.section(node, "an entry of "+name, time, what)
		var p [2]float64
		good := true
		for i, key := range []string{time, what} {
			if s.need(key, "add it") == nil {
				good = false
				continue
			}
			from, to := low, high
			if i == 1 {
				from, to = 0, most
			}
			x, ok := r.aside(s, key, from, to)
			p[i], good = x, good && ok
		}
		if good {
			out = append(out, p)
		}
	}
	return out
}

// looks reads when the study is looked at, and with which limits.
func (r *reader) looks(n *yaml.Node) *SimulatedLooks {
	s := r.section(n, "looks", "events", "scores", "limits")
	out := &SimulatedLooks{Shape: trials.SpendingOBrienFleming}
	for i, key := range []string{"events", "scores"} {
		v := s.values[key]
		if v == nil {
			continue
		}
		out.Schedule, out.At = trials.Schedule(i), nil
		for _, node := range r.entries(v, key) {
			if x, ok := r.whole(node, "a look", 1, "a whole number from 1 to 1000000"); ok {
				out.At = append(out.At, int32(x))
			}
		}
	}
	if v := s.need("limits", "write \"limits: spending like O'Brien-Fleming\", say"); v != nil {
		if word, ok := r.choice(v, "limits", limitNames); ok {
			out.Shape = trials.Shape(slices.Index(limitNames, word) + 1)
		}
	}
	return out
}

// scoresOf reads the scores at visits.
func (r *reader) scoresOf(n *yaml.Node) *SimulatedScores {
	s := r.section(n, "scores", "visits", "first", "second", "sd", "correlation", "fading", "shoulders", "hospital", "missing", "by_known", "by_unknown", "dropout")
	out := &SimulatedScores{}
	for _, list := range []struct {
		key string
		to  *[]float64
	}{{"visits", &out.Visits}, {"first", &out.First}, {"second", &out.Second}, {"sd", &out.SD}, {"missing", &out.Missing.Share}} {
		if list.key != "missing" && s.need(list.key, "give one number for each visit") == nil {
			continue
		}
		if v := s.values[list.key]; v != nil {
			for _, node := range r.entries(v, list.key) {
				if x, ok := r.number(node, "an entry of "+list.key, "a number"); ok {
					*list.to = append(*list.to, x)
				}
			}
		}
	}
	for _, one := range []struct {
		key string
		to  *float64
	}{{"correlation", &out.Correlation}, {"shoulders", &out.Shoulders}, {"hospital", &out.Hospital}, {"by_known", &out.Missing.Known}, {"by_unknown", &out.Missing.Unknown}} {
		if v := s.values[one.key]; v != nil {
			*one.to, _ = r.number(v, one.key, "a number")
		}
	}
	s.need("correlation", "say how alike the scores of one shoulder are at two visits, as in \"correlation: 0.5\"")
	if v := s.values["fading"]; v != nil {
		out.Fading = r.yesNo(v, "fading")
	}
	if v := s.values["dropout"]; v != nil {
		out.Missing.Dropout = r.yesNo(v, "dropout")
	}
	return out
}
