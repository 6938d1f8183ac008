package analyses_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"deltoid/pipeline/disclose"
	"deltoid/pipeline/report"
)

// forty are shoulders that do not exist. Every third is revised; nobody with "never" is; "twin" is age over again; "one" is the
// same for all; "rare" holds a value for half of them only.
func forty() string {
	var b strings.Builder
	b.WriteString("patient,side,follow_up,outcome,age,group,twin,one,rare,empty,blank\n")
	for i := range 40 {
		outcome, group, rare := "unrevised", "a", ""
		switch {
		case i%4 == 0:
			group = "never"
		case i%3 == 0:
			outcome = "revised"
		case i%7 == 0:
			outcome = "died"
		}
		if i%4 == 1 {
			group = "b"
		}
		if i%2 == 1 {
			rare = fmt.Sprint(i % 5)
		}
		age := 60 + i*7%23
		fmt.Fprintf(&b, "p%d,left,%d,%s,%d,%s,%d,5,%s,,\n", i, 100+i*37%900, outcome, age, group, 2*age+1, rare)
	}
	return b.String()
}

const modelPlan = `plan: 1
study: models
title: Models of shoulders that do not exist
invented: true
exports:
  shoulders:
    files: shoulders.csv
    extra:
      group: {type: code, title: Implant group}
      twin: {type: number, title: Twin of age}
      one: {type: number, title: Ground}
      rare: {type: number, title: Rarely measured}
      empty: {type: number, title: Never measured}
      blank: {type: code, title: Blank}
endpoints:
  revision: {competing: [died]}
  exchange: {reasons: [infection]}
disclosure: {mask_below: 1, reason: The data are invented.}
analyses:
`

// model runs one regression, whose id is m.
func model(t *testing.T, table, keys string) (report.Section, map[string]report.Estimate) {
	t.Helper()
	doc, err := readyReport(t, table, modelPlan+"  - {id: m, kind: regression, endpoint: revision, "+keys+"}\n")
	if err != nil {
		t.Fatal(err)
	}
	byID := map[string]report.Estimate{}
	for _, e := range doc.Estimates {
		byID[e.ID] = e
		if math.IsNaN(e.Value.X) || math.IsInf(e.Value.X, 0) || math.IsInf(e.Upper.X, 0) || math.IsNaN(e.Lower.X) {
			t.Errorf("%s has a value that is no number: %+v", e.ID, e)
		}
		if e.Status != report.Estimated && e.Note == "" {
			t.Errorf("%s is %s without a note", e.ID, e.Status)
		}
	}
	return doc.Sections[0], byID
}

// Each of these has no estimates, for a reason that names the characteristic and what to do.
func TestModelsThatCannotBeEstimated(t *testing.T) {
	for _, c := range []struct {
		name, keys string
		status     report.Status
		says       []string
	}{
		{"a level without events", "adjust_for: [age, group]", report.NotIdentifiable, []string{"“never” of implant group", "merge levels", "penalised: true"}},
		{"the same, of the incidence", "adjust_for: [group], model: cumulative incidence", report.NotIdentifiable, []string{"“never” of implant group", "merge levels"}},
		{"a column for all the same", "adjust_for: [age, one]", report.NotIdentifiable, []string{"Ground", "same value", "leave it out"}},
		{"a column twice", "adjust_for: [age, twin]", report.NotIdentifiable, []string{"Twin of age", "Age", "cannot be told apart", "leave one of them out"}},
		{"one level left", "adjust_for: [age, {field: group, labels: {a: All, b: All, never: All}}]", report.NotIdentifiable,
			[]string{"Implant group has one value only", "leave it out"}},
		{"more coefficients than events", "adjust_for: [{field: age, spline: 7}, {field: twin, bands: [125, 130, 135, 140, 145, 150]}, rare]", report.NotIdentifiable,
			[]string{"more coefficients than events", "merge levels"}},
		{"no spline of two values", "adjust_for: [{field: one, spline: 3}]", report.NotIdentifiable, []string{"Ground cannot be a spline"}},
		{"nobody has all values", "adjust_for: [age, empty]", report.NotIdentifiable, []string{"no shoulder has a value in every characteristic", "often missing"}},
		{"no level is known", "adjust_for: [{field: blank}]", report.NotIdentifiable, []string{"Blank has one value only"}},
		{"an interaction with nothing", "adjust_for: [one, group], interactions: [[one, group]]", report.NotIdentifiable, []string{"Ground"}},
	} {
		section, byID := model(t, forty(), c.keys)
		said := plainText(section.Answer[0])
		for _, word := range c.says {
			if !strings.Contains(said, word) {
				t.Errorf("%s: the answer does not say %q: %s", c.name, word, said)
			}
		}
		found := false
		for id, e := range byID {
			if strings.HasPrefix(id, "m.ratio.") {
				found = true
				if e.Status != c.status || e.Value.Known {
					t.Errorf("%s: %s is %s with %v", c.name, id, e.Status, e.Value)
				}
			}
		}
		if !found && !strings.Contains(c.name, "spline") && !strings.Contains(c.name, "no level") {
			t.Errorf("%s: no ratio is in the estimates", c.name)
		}
	}
}

func plainText(text report.Text) string {
	var b strings.Builder
	for _, span := range text {
		b.WriteString(span.Words)
	}
	return b.String()
}

// Splines and interactions at once, fields whose names could be taken for something else, knots that read alike.
func TestNamesNeverCollide(t *testing.T) {
	table := strings.Replace(forty(), "twin,one,rare", "interaction_1,one,age_straight", 1)
	plan := strings.NewReplacer("twin: {", "interaction_1: {", "rare: {", "age_straight: {").Replace(modelPlan)
	doc, err := readyReport(t, table, plan+`  - kind: regression
    endpoint: revision
    adjust_for: [{field: age, spline: 3}, {field: group, labels: {never: b}}, interaction_1, age_straight]
    interactions: [[age, group], [group, interaction_1]]
    times: [0.3]
    penalised: true
`)
	if err != nil {
		t.Fatal(err)
	}
	if len(doc.Estimates) < 50 {
		t.Errorf("%d estimates", len(doc.Estimates))
	}
}

// Beside an interaction with a spline the ratio of a group is that at the reference of the spline: it is the ratio of the
// cumulative hazards that the model predicts for two patients who are there, wherever the reference lies.
func TestRatioBesideAnInteractionWithASpline(t *testing.T) {
	for _, at := range []string{"65", "72"} {
		section, byID := model(t, forty(), `adjust_for: [{field: age, spline: 3, reference: `+at+`}, {field: group, labels: {never: b}}], interactions: [[age, group]], `+
			`predict: {times: [1], patients: [{name: first, values: {age: `+at+`, group: a}}, {name: second, values: {age: `+at+`, group: b}}]}`)
		first, second := byID["m.predicted.first.1y"], byID["m.predicted.second.1y"]
		ratio := byID["m.ratio.group.b"]
		if got := math.Log(second.Value.X) / math.Log(first.Value.X); !(math.Abs(got/ratio.Value.X-1) < 1e-6) {
			t.Errorf("at %s the ratio is %v, that of the predicted hazards %v", at, ratio.Value.X, got)
		}
		words := plainText(section.Answer[0])
		if !strings.Contains(words, "where age is "+at) {
			t.Errorf("the answer does not say where the ratio holds: %s", words)
		}
	}
}

// A prediction for a value that no shoulder has says that it is extrapolated, and one within the values does not.
func TestPredictionBeyondTheValues(t *testing.T) {
	section, _ := model(t, forty(), `adjust_for: [age], predict: {times: [1], patients: [{name: near, values: {age: 70}}, {name: far, values: {age: 500}}]}`)
	var said string
	for _, sheet := range section.Sheets {
		for _, note := range sheet.Notes {
			said += plainText(note)
		}
	}
	if !strings.Contains(said, "Of “far” it is extrapolated: no shoulder of the model has so low or so high a value of age.") || strings.Contains(said, "Of “near”") {
		t.Errorf("the notes say: %s", said)
	}
}

func TestModelWithoutEvents(t *testing.T) {
	table := strings.ReplaceAll(forty(), ",revised,", ",unrevised,")
	_, byID := model(t, table, "adjust_for: [age]")
	if e := byID["m.ratio.age"]; e.Status != report.NoEvents {
		t.Errorf("the ratio is %+v", e)
	}
	// Everybody leaves on the day of the operation.
	rows := strings.Split(strings.TrimSpace(table), "\n")
	for i := 1; i < len(rows); i++ {
		cells := strings.Split(rows[i], ",")
		cells[2], cells[3] = "0", "revised"
		rows[i] = strings.Join(cells, ",")
	}
	_, byID = model(t, strings.Join(rows, "\n")+"\n", "adjust_for: [age]")
	if e := byID["m.ratio.age"]; e.Status == report.Estimated && math.Abs(e.Value.X-1) > 0.1 {
		t.Errorf("all tied: %+v", e)
	}
}

// The penalised likelihood has an estimate where nobody of a level has the event, and an end of its interval may not exist.
func TestPenalisedModelOfALevelWithoutEvents(t *testing.T) {
	section, byID := model(t, forty(), "adjust_for: [group], penalised: true")
	e := byID["m.ratio.group.never"]
	if e.Status != report.Estimated || !(e.Value.X > 0 && e.Value.X < 1) || !strings.Contains(e.Method, "penalised") {
		t.Errorf("the ratio is %+v", e)
	}
	if !(e.Upper.Known && e.Upper.X > e.Value.X) {
		t.Errorf("the upper limit is %+v", e.Upper)
	}
	if len(section.Figures) == 0 || !section.Figures[0].X.Log {
		t.Error("no figure of ratios on a logarithmic axis")
	}
}

// Few events are said before a ratio is believed, and levels add up to the shoulders used.
func TestModelSaysWhatItRestsOn(t *testing.T) {
	section, byID := model(t, forty(), "adjust_for: [age, {field: group, labels: {never: b}, reference: b}]")
	if !slices.ContainsFunc(section.Answer, func(x report.Text) bool { return strings.Contains(plainText(x), "That is few") }) {
		t.Errorf("ten events for two coefficients are not called few: %v", section.Answer)
	}
	if e := byID["m.ratio.group.b"]; e.Value.X != 1 || e.Method != "reference" {
		t.Errorf("the reference of the plan is %+v", e)
	}
	used := byID["m.shoulders.used"].Value.X
	if sum := byID["m.shoulders.group.a"].Value.X + byID["m.shoulders.group.b"].Value.X; sum != used || used != 40 {
		t.Errorf("levels add up to %v of %v", sum, used)
	}
	events := byID["m.events.group.a"].Value.X + byID["m.events.group.b"].Value.X
	if each := byID["m.events-per-coefficient"].Value.X; each != events/2 {
		t.Errorf("%v events for each of two coefficients, want %v", each, events/2)
	}
	_, byID = model(t, forty(), "adjust_for: [age, rare]")
	for _, id := range []string{"m.ratio.age", "m.unadjusted.age", "m.unadjusted.rare"} {
		if n := byID[id].N.X; n != 20 {
			t.Errorf("%s rests on %v shoulders, want the 20 that have both values", id, n)
		}
	}
}

// A small level hides its ratio, and what is left of the report still holds together.
func TestSmallLevelsHideTheirRatios(t *testing.T) {
	text := strings.Replace(modelPlan, "disclosure: {mask_below: 1, reason: The data are invented.}\n", "", 1) +
		"  - {id: m, kind: regression, endpoint: revision, adjust_for: [age, {field: group, labels: {never: b}}]}\n"
	table := strings.Replace(strings.Replace(forty(), ",a,", ",c,", 3), "p2,left,174,unrevised", "p2,left,174,revised", 1)
	doc, err := readyReport(t, table, text)
	if err != nil {
		t.Fatal(err)
	}
	cleared, err := disclose.Clear(doc, disclose.Policy{MaskBelow: disclose.DefaultMaskBelow})
	if err != nil {
		t.Fatal(err)
	}
	hidden := 0
	for _, e := range cleared.Document().Estimates {
		small := e.ID == "m.ratio.group.c" || e.ID == "m.coefficient.group.c" || e.ID == "m.p.group.c" || e.ID == "m.shoulders.group.c"
		if small {
			hidden++
			if e.Status != report.Masked {
				t.Errorf("%s is %s", e.ID, e.Status)
			}
		}
		if e.ID == "m.ratio.age" && e.Status == report.Masked {
			t.Errorf("%s is masked, though it rests on all", e.ID)
		}
	}
	if hidden != 4 {
		t.Errorf("%d of the four estimates of the small level were looked at", hidden)
	}
}
