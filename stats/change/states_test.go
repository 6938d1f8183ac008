package change_test

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/covariates"
	"deltoid/stats/describe"
	"deltoid/stats/random"
)

// sound walks through a result and asks that no number is NaN and that whatever has a state other than Estimated says why.
func sound(t *testing.T, what string, v reflect.Value) {
	t.Helper()
	switch v.Kind() {
	case reflect.Float64:
		if math.IsNaN(v.Float()) {
			t.Errorf("%s is NaN", what)
		}
	case reflect.Struct:
		if s, is := v.Interface().(change.State); is {
			if s.OK() != (s.Reason == "") {
				t.Errorf("%s: %v for the reason %q", what, s.Status, s.Reason)
			}
			return
		}
		switch e := v.Interface().(type) {
		case change.Estimate:
			if !(e.Level > 0) || e.OK() && e.N == 0 {
				t.Errorf("%s was never worked out", what)
			}
		case change.Interval:
			if !(e.Level > 0) {
				t.Errorf("%s was never worked out", what)
			}
		}
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() && f.Name != "Model" {
				sound(t, what+"."+f.Name, v.Field(i))
			}
		}
	case reflect.Slice, reflect.Array:
		for i := range min(v.Len(), 40) {
			sound(t, fmt.Sprintf("%s[%d]", what, i), v.Index(i))
		}
	case reflect.Pointer:
		if !v.IsNil() {
			sound(t, what, v.Elem())
		}
	}
}

// everything runs each function of the package on some scores and looks at the results. It returns what any of them refused.
func everything(t *testing.T, a change.Anchored, q change.Question) {
	t.Helper()
	var results []any
	var errs []error
	add := func(v any, err error) { results, errs = append(results, v), append(errs, err) }
	keep := func(v any, err error) any { add(v, err); return v }
	s, n := a.Scores, len(a.Baseline)
	add(change.Describe(s, q.Scale, 0.95))
	add(change.DependenceOnBaseline(s, q.Scale, q.ScoreReliability, 0.95))
	add(change.RegressionToTheMean(s, q.Scale, 10, q.ScoreReliability))
	add(change.CheckAnchor(a, q))
	add(change.Thresholds(a, q))
	q.About = change.OfState
	add(change.Thresholds(a, q))
	add(change.ResponderCurve(s, q.Scale, change.OfChange, nil, 0.95))
	add(change.ResponderCurve(s, q.Scale, change.OfState, nil, 0.95))
	responses := keep(change.Respond(s, change.Criterion{Scale: q.Scale, Threshold: 5}, nil)).([]change.Response)
	add(change.ShareOf(responses, s.Patient, 0.95))
	group, positive := make([]bool, n), make([]bool, n)
	column := covariates.Column{Name: "row", Values: make([]float64, n)}
	for i := range n {
		group[i], positive[i], column.Values[i] = i%2 == 1, i%3 == 0, float64(i)
	}
	add(change.ShareDifference(responses, group, s.Patient, 0.95))
	add(change.Adjusted(responses, group, []covariates.Column{column}, s.Patient, 0.95))
	add(change.Weighted(responses, nil, []covariates.Column{column}, s.Patient, 0.95))
	add(change.Discrimination(change.Discriminating{Value: s.FollowUp, Positive: positive, HigherIsPositive: true, Patient: s.Patient}, 0.95))
	add(change.WithinPatients(s.Baseline, s.FollowUp, 0.95))
	add(change.Agreement(s.Baseline, s.FollowUp, 0.95, 0.95))
	for _, form := range []change.ReliabilityForm{change.OneWay, change.TwoWayAgreement, change.TwoWayConsistency} {
		add(change.Reliability([][]float64{s.Baseline, s.FollowUp}, form, true, 0.95))
		add(change.Reliability([][]float64{s.Baseline, s.FollowUp}, form, false, 0.95))
	}
	for i, r := range results {
		if errs[i] != nil {
			t.Errorf("result %d: %v", i, errs[i])
		}
		sound(t, fmt.Sprintf("%T", r), reflect.ValueOf(r))
	}
}

// wild draws scores in which anything may be missing, equal, infinite or alone.
func wild(seed uint64) change.Anchored {
	r := random.Stream(seed, "wild", 0)
	n, kinds := r.IntN(14), 1+r.IntN(6)
	a := change.Anchored{Scores: change.Scores{Baseline: make([]float64, n), FollowUp: make([]float64, n)}, Anchor: make([]int32, n)}
	if r.IntN(2) == 0 {
		a.Patient = make([]int32, n)
	}
	value := func() float64 {
		switch r.IntN(12) {
		case 0, 1:
			return math.NaN()
		case 2:
			if r.IntN(10) == 0 {
				return math.Inf(1)
			}
		}
		return float64(10 * r.IntN(kinds))
	}
	for i := range n {
		a.Baseline[i], a.FollowUp[i], a.Anchor[i] = value(), value(), int32(r.IntN(3)-1)
		if r.IntN(5) == 0 {
			a.Anchor[i] = change.NoAnswer
		}
		if a.Patient != nil {
			a.Patient[i] = int32(r.IntN(n))
		}
	}
	return a
}

func TestWildScores(t *testing.T) {
	q := change.Question{Improved: 1, Minimal: 1, Unchanged: 0, Fewest: 1, Floor: 1e-9, Resampling: change.Resampling{Replicates: 45, Level: 0.95}}
	for seed := range uint64(400) {
		q.Scale = []change.Scale{{Worst: 0, Best: 100}, {Worst: 100, Best: 0}, {Worst: 0, Best: math.Inf(1)}, {Worst: math.Inf(1), Best: math.Inf(-1)}}[seed%4]
		q.ScoreReliability, q.AnchorReliability = []float64{0, 0.8, 1}[seed%3], []float64{0, 0.7, 1}[seed%3]
		everything(t, wild(seed), q)
		if t.Failed() {
			t.Fatalf("with the scores of seed %d: %+v", seed, wild(seed))
		}
	}
}

// What is wrong with the scores is said by every method that it concerns.
func TestStates(t *testing.T) {
	whole := usual.draw(300, false, 3)
	missing, same := make([]int32, 300), make([]int32, 300)
	for i := range missing {
		missing[i] = change.NoAnswer
	}
	nobody := make([]float64, 300)
	for i := range nobody {
		nobody[i] = math.NaN()
	}
	with := func(edit func(a *change.Anchored, q *change.Question)) (change.Anchored, change.Question) {
		a, q := whole, question()
		q.Replicates = 0
		edit(&a, &q)
		return a, q
	}
	for _, c := range []struct {
		what   string
		edit   func(a *change.Anchored, q *change.Question)
		method change.Method
		status change.Status
		reason string
	}{
		{"nobody answered", func(a *change.Anchored, _ *change.Question) { a.Anchor = missing }, change.MeanChange, change.NoRows, "300 have no answer"},
		{"all answers the same", func(a *change.Anchored, _ *change.Question) { a.Anchor = same }, change.Predictive, change.NoSpread, "all 300 answers are 0"},
		{"direction reversed", func(_ *change.Anchored, q *change.Question) {
			q.Scale = change.Scale{Worst: math.Inf(1), Best: math.Inf(-1)}
		},
			change.Youden, change.NotSupported, "the wrong way round"},
		{"anchor of chance", func(a *change.Anchored, _ *change.Question) { a.Anchor = shuffled(a.Anchor) }, change.MeanChange, change.NotSupported, "below 0.3"},
		{"one visit only", func(a *change.Anchored, _ *change.Question) { a.FollowUp = nobody }, change.Predictive, change.NoRows, "no row has both"},
		{"one visit only", func(a *change.Anchored, _ *change.Question) { a.FollowUp = nobody }, change.EffectSize, change.NoRows, "no row has both scores"},
		{"one visit only", func(a *change.Anchored, _ *change.Question) { a.FollowUp = nobody }, change.HalfSD, change.Estimated, ""},
		{"few in a category", func(_ *change.Anchored, q *change.Question) { q.Minimal = 7 }, change.MeanChange, change.TooFew, "0 rows are minimally improved"},
		{"few in a category", func(_ *change.Anchored, q *change.Question) { q.Unchanged = 7 }, change.MeanDifference, change.TooFew, "0 rows are unchanged"},
		{"few in a category", func(_ *change.Anchored, q *change.Question) { q.Unchanged = 7 }, change.MeanChange, change.Estimated, ""},
		{"few improved", func(_ *change.Anchored, q *change.Question) { q.Improved = 7 }, change.Predictive, change.TooFew, "0 rows are improved"},
		{"off the scale", func(_ *change.Anchored, q *change.Question) { q.Scale = change.Scale{Worst: 0, Best: 48} }, change.HalfSD, change.OffScale, "another version"},
		{"reliability not known", func(_ *change.Anchored, q *change.Question) { q.ScoreReliability = 0 }, change.SmallestDetectable95, change.NotDefined, "ScoreReliability"},
		{"reliability not known", func(_ *change.Anchored, q *change.Question) { q.AnchorReliability = 0 }, change.PredictiveReliable, change.NotDefined, "AnchorReliability"},
		{"answers by the score itself", func(a *change.Anchored, _ *change.Question) { a.Anchor = byChange(a) }, change.Predictive, change.NotFitted, "keeps rising"},
		{"baselines all the same", func(a *change.Anchored, _ *change.Question) { a.Baseline = make([]float64, 300) }, change.HalfSD, change.NoSpread, "do not vary"},
	} {
		a, q := with(c.edit)
		table, err := change.Thresholds(a, q)
		if err != nil {
			t.Fatal(c.what, err)
		}
		row := table.Row(c.method)
		if row.Status != c.status || !strings.Contains(row.Reason, c.reason) {
			t.Errorf("%s: %v is %v (%s), want %v (… %s …)", c.what, c.method, row.Status, row.Reason, c.status, c.reason)
		}
		if !row.OK() && row.Value != 0 {
			t.Errorf("%s: %v has the value %v all the same", c.what, c.method, row.Value)
		}
		sound(t, c.what, reflect.ValueOf(table))
	}
	a, q := with(func(_ *change.Anchored, q *change.Question) { q.Replicates = 20 })
	table, _ := change.Thresholds(a, q)
	if s := table.Row(change.HalfSD).Percentile; s.Status != change.NotResampled || !strings.Contains(s.Reason, "too few for the level") {
		t.Errorf("20 replicates: %v (%s)", s.Status, s.Reason)
	}
}

func shuffled(answer []int32) []int32 {
	out := append([]int32(nil), answer...)
	random.Stream(1, "shuffle", 0).Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

func byChange(a *change.Anchored) []int32 {
	out := make([]int32, len(a.Baseline))
	for i := range out {
		if a.FollowUp[i]-a.Baseline[i] > 12 {
			out[i] = 1
		}
	}
	return out
}

// An answer about the present state is told from one about the change.
func TestRecallRisk(t *testing.T) {
	a, q := usual.draw(600, false, 4), question()
	checks, err := change.CheckAnchor(a, q)
	if err != nil {
		t.Fatal(err)
	}
	if checks.RecallRisk != "" {
		t.Errorf("answers about the change: %s", checks.RecallRisk)
	}
	for i := range a.Anchor {
		a.Anchor[i] = int32(math.Floor(a.FollowUp[i]/20)) - 2
	}
	if checks, _ = change.CheckAnchor(a, q); !strings.Contains(checks.RecallRisk, "present state") {
		t.Errorf("answers about the state: %q", checks.RecallRisk)
	}
}

func TestErrors(t *testing.T) {
	a, q := usual.draw(30, false, 3), question()
	for want, edit := range map[string]func(a *change.Anchored, q *change.Question){
		"has no direction":         func(_ *change.Anchored, q *change.Question) { q.Scale = change.Scale{} },
		"FollowUp has 29 rows":     func(a *change.Anchored, _ *change.Question) { a.FollowUp = a.FollowUp[1:] },
		"Anchor has 29 rows":       func(a *change.Anchored, _ *change.Question) { a.Anchor = a.Anchor[1:] },
		"Patient has 2 rows":       func(a *change.Anchored, _ *change.Question) { a.Patient = []int32{1, 2} },
		"want 0 or more":           func(a *change.Anchored, _ *change.Question) { a.Patient = make([]int32, 30); a.Patient[4] = -1 },
		"level 95 does not lie":    func(_ *change.Anchored, q *change.Question) { q.Level = 95 },
		"Floor is 30":              func(_ *change.Anchored, q *change.Question) { q.Floor = 30 },
		"are both 1":               func(_ *change.Anchored, q *change.Question) { q.Unchanged = 1 },
		"asks for -5 replicates":   func(_ *change.Anchored, q *change.Question) { q.Replicates = -5 },
		"AnchorReliability is NaN": func(_ *change.Anchored, q *change.Question) { q.AnchorReliability = math.NaN() },
	} {
		b, r := a, q
		edit(&b, &r)
		if _, err := change.Thresholds(b, r); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want … %s …", err, want)
		}
	}
}

func TestErrorsOfModels(t *testing.T) {
	c := someCohort(30)
	c.columns[0].Values[7] = math.NaN()
	_, adjusted := change.Adjusted(c.responses, c.group, c.columns, c.patient, 0.95)
	_, weighted := change.Weighted(c.responses, nil, c.columns, c.patient, 0.95)
	_, sides := change.CompareSides(change.PairedTable{Both: -1}, 0.95)
	for want, err := range map[string]error{"row 7": adjusted, "age": weighted, "below 0": sides} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want … %s …", err, want)
		}
	}
}

// Ceiling, floor and the possible improvement, and what rows without one of them do, by hand: from 20, 60, 100 to 60, 50, 100 of 100.
func TestDescribeByHand(t *testing.T) {
	none := math.NaN()
	s := change.Scores{Baseline: []float64{20, 60, 100, 0, none, none}, FollowUp: []float64{60, 50, 100, none, 70, none}}
	for _, c := range []struct {
		scale                  change.Scale
		mean, possible, middle float64
		atBest                 int
		ceiling, floor         int64
	}{
		{change.Scale{Worst: 0, Best: 100}, 10, (0.5 - 0.25) / 2, (0.5 - 0.25) / 2, 1, 1, 0},
		{change.Scale{Worst: 100, Best: 0}, -10, (-40.0/20 + 10.0/60 + 0) / 3, 0, 0, 0, 1},
	} {
		d, err := change.Describe(s, c.scale, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if d.N != 3 || d.NoFollowUp != 1 || d.NoBaseline != 1 || d.Neither != 1 || d.AtBest != c.atBest {
			t.Errorf("counts %+v", d)
		}
		near(t, "mean improvement", d.Mean.Value, c.mean, 1e-14)
		near(t, "possible", d.Possible.Value, c.possible, 1e-14)
		printed(t, "median of the possible", d.MedianPossible, c.middle, 1e-14)
		if d.CeilingFollowUp.K != c.ceiling || d.FloorBaseline.K != c.floor {
			t.Errorf("%d at the best end after, %d at the worst before", d.CeilingFollowUp.K, d.FloorBaseline.K)
		}
	}
	ruled, _ := change.ResponderCurve(change.Scores{Baseline: []float64{1}, FollowUp: []float64{2}}, change.Scale{Worst: 0, Best: 9}, change.OfChange,
		[]change.Response{change.NotReached}, 0.95)
	if ruled.Status != change.NoRows {
		t.Errorf("a curve of ruled rows only is %v", ruled.Status)
	}
	open, _ := change.Describe(s, change.Scale{Worst: 0, Best: math.Inf(1)}, 0.95)
	if open.Possible.Status != change.NotDefined || open.CeilingBaseline.Status != describe.NoRows {
		t.Errorf("a scale without a best end: %v, %v", open.Possible.Status, open.CeilingBaseline.Status)
	}
}
