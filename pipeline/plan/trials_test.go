package plan

import (
	"math"
	"testing"
)

// simulatedSchema writes the shape of a drawn study from the keys that the reader knows.
func simulatedSchema() object {
	words := func(o object, text string) object { o["description"] = text; return o }
	between := func(low, high float64, text string) object {
		return object{"type": "number", "exclusiveMinimum": low, "exclusiveMaximum": high, "description": text}
	}
	whole := func(low, high int, text string) object {
		return object{"type": "integer", "minimum": low, "maximum": high, "description": text}
	}
	points := func(time, what string, low, most float64, text string) object {
		o := object{"type": "object", "required": []string{time, what}, "additionalProperties": false,
			"properties": object{time: between(low, 100, "Years."), what: between(0, most, "What holds.")}}
		return object{"type": "array", "minItems": 1, "items": o, "description": text}
	}
	keys := object{}
	for _, k := range []string{"id", "outcome", "groups", "measured"} {
		keys[k] = object{"$ref": "#/$defs/" + k}
	}
	for _, d := range dials {
		o := object{"type": "number", "description": d.words, "exclusiveMaximum": d.high}
		if d.key == "both_shoulders" {
			delete(o, "exclusiveMaximum")
			o["maximum"] = d.high
		}
		o[map[bool]string{true: "minimum", false: "exclusiveMinimum"}[d.in]] = d.low
		keys[d.key] = o
	}
	for _, c := range choosings {
		keys[c.key] = object{"enum": c.among, "description": c.words}
	}
	keys["patients"] = whole(2, mostSimulated, "patients of the study; left out, they are what is looked for")
	keys["sides"] = whole(1, 2, "sides of the test; usual: 2")
	keys["first"] = between(0, 1, "share of the first group with the event by the time at, if nothing else happened")
	keys["at"] = between(0, 100, "years by which the first group has that share")
	keys["curve"] = points("by", "share", 0, 1, "share of the first group with the event by several times, in place of first and at")
	keys["hazard_ratio"] = between(0, 100, "hazard ratio of the second group; left out, the smallest detectable one is looked for")
	keys["hazard_ratios"] = points("from", "ratio", -1e-12, 100, "hazard ratio from each of several times on, the first of them 0, in place of hazard_ratio")
	keys["hospitals"] = whole(0, 100_000, "number of hospitals; left out, hospitals do not matter")
	keys["test"] = object{"enum": append(append([]string(nil), testsOfFollowUp...), testsOfScores...), "description": "what each study is analysed with; usual: log-rank, and adjusted scores"}
	looks := object{"type": "array", "minItems": 1, "items": whole(1, 1_000_000, "A look.")}
	keys["looks"] = words(object{"type": "object", "required": []string{"limits"}, "additionalProperties": false, "properties": object{
		"events": looks, "scores": looks, "limits": object{"enum": limitNames, "description": "how the level is spread over the looks"},
	}}, "numbers of events, or of scores of the last visit, at which the study is looked at, the last of them its end")
	numbers := object{"type": "array", "minItems": 1, "items": object{"type": "number"}}
	keys["scores"] = words(object{"type": "object", "required": []string{"visits", "first", "second", "sd", "correlation"}, "additionalProperties": false, "properties": object{
		"visits": numbers, "first": numbers, "second": numbers, "sd": numbers, "missing": numbers,
		"correlation": object{"type": "number"}, "shoulders": object{"type": "number"}, "hospital": object{"type": "number"},
		"by_known": object{"type": "number"}, "by_unknown": object{"type": "number"}, "fading": object{"type": "boolean"}, "dropout": object{"type": "boolean"},
	}}, "scores at visits (years), the first of them the baseline: means of both groups, standard deviations, correlation, and shares missing")
	keys["replicates"] = whole(fewestDrawn, mostDrawn, "studies that are drawn, at most; usual: 10000")
	keys["seed"] = whole(0, 1_000_000, "number that the studies are drawn by; the same gives the same")
	return object{"type": "object", "required": []string{"id"}, "additionalProperties": false, "properties": keys}
}

// A curve through points: the share with the event at each of them is what was given.
func TestHazardGoesThroughTheCurve(t *testing.T) {
	s := Simulated{Curve: []ShareBy{{1, 0.03}, {5, 0.06}, {10, 0.2}}}
	h := s.hazard()
	for _, p := range s.Curve {
		if got := 1 - h.Free(p.By*daysInYear); math.Abs(got-p.Share) > 1e-12 {
			t.Errorf("share %v by %v years, want %v", got, p.By, p.Share)
		}
	}
}
