package change_test

import (
	"math"
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/covariates"
	"deltoid/stats/random"
)

// Every patient with the same shoulder twice says exactly what patients with one shoulder say: estimate, standard error and limits stay where they were.
func TestShouldersTwiceSayTheSame(t *testing.T) {
	c, a := someCohort(80), usual.draw(80, false, 2)
	for i := range c.patient {
		c.patient[i] = int32(i)
		if c.responses[i] == change.NotScored {
			a.FollowUp[i] = math.NaN()
		}
	}
	scale := change.Scale{Worst: math.Inf(-1), Best: math.Inf(1)}
	once, two := results(t, c, a, scale), results(t, twice(c), bothSides(a), scale)
	for what, e := range once {
		d := two[what]
		fine(t, what, e.State)
		near(t, what, d.Value, e.Value, 1e-10)
		near(t, what+", standard error", d.SE, e.SE, 1e-10)
		near(t, what+", lower", d.Lower, e.Lower, 1e-9)
		near(t, what+", upper", d.Upper, e.Upper, 1e-9)
		if d.Patients == 0 || e.Patients != 0 {
			t.Errorf("%s: %d and %d patients with several rows", what, d.Patients, e.Patients)
		}
	}
}

func twice(c cohort) cohort {
	out := cohort{columns: []covariates.Column{{Name: "age"}}}
	for range 2 {
		out.responses, out.group = append(out.responses, c.responses...), append(out.group, c.group...)
		out.patient = append(out.patient, c.patient...)
		out.columns[0].Values = append(out.columns[0].Values, c.columns[0].Values...)
	}
	return out
}

func bothSides(a change.Anchored) change.Anchored {
	out := change.Anchored{}
	for range 2 {
		out.Baseline, out.FollowUp = append(out.Baseline, a.Baseline...), append(out.FollowUp, a.FollowUp...)
		out.Anchor = append(out.Anchor, a.Anchor...)
		for i := range a.Baseline {
			out.Patient = append(out.Patient, int32(i))
		}
	}
	return out
}

func results(t *testing.T, c cohort, a change.Anchored, scale change.Scale) map[string]change.Estimate {
	t.Helper()
	out := map[string]change.Estimate{}
	share, err := change.ShareOf(c.responses, c.patient, 0.95)
	must(t, err)
	out["share"], out["worst"], out["best"] = share.Complete, share.Worst, share.Best
	out["difference"], err = change.ShareDifference(c.responses, c.group, c.patient, 0.95)
	must(t, err)
	adjusted, err := change.Adjusted(c.responses, c.group, c.columns, c.patient, 0.95)
	must(t, err)
	out["adjusted risk"], out["adjusted difference"], out["odds ratio"] = adjusted.Risk[1], adjusted.Difference, adjusted.OddsRatio
	weighted, err := change.Weighted(c.responses, nil, c.columns, c.patient, 0.95)
	must(t, err)
	out["weighted share"] = weighted.Estimate
	roc, err := change.Discrimination(change.Discriminating{Value: a.Baseline, Positive: c.group, HigherIsPositive: true, Patient: c.patient}, 0.95)
	must(t, err)
	out["area"] = roc.Area
	d, err := change.Describe(a.Scores, scale, 0.95)
	must(t, err)
	out["mean improvement"] = d.Mean
	dependence, err := change.DependenceOnBaseline(a.Scores, scale, 0.9, 0.95)
	must(t, err)
	out["naive"], out["Oldham"], out["slope"], out["slope of the true baseline"] = dependence.Naive, dependence.Oldham, dependence.Slope, dependence.SlopeOfTrue
	out["ratio of spreads"] = dependence.SpreadRatio
	checks, err := change.CheckAnchor(a, question())
	must(t, err)
	out["rank correlation"], out["polyserial"] = checks.ByRank, checks.Polyserial
	return out
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// A patient with one shoulder in each group: the interval is that of pairs but for Newcombe's correction of the correlation, which a table of many pairs hardly feels.
func TestShareDifferenceWithinPatients(t *testing.T) {
	table := change.PairedTable{Both: 3200, OnlyFirst: 900, OnlySecond: 1400, Neither: 2500}
	var responses []change.Response
	var group []bool
	var patient []int32
	add := func(n int64, first, second change.Response) {
		for range n {
			p := int32(len(patient) / 2)
			responses, group, patient = append(responses, first, second), append(group, true, false), append(patient, p, p)
		}
	}
	add(table.Both, change.Reached, change.Reached)
	add(table.OnlyFirst, change.Reached, change.NotReached)
	add(table.OnlySecond, change.NotReached, change.Reached)
	add(table.Neither, change.NotReached, change.NotReached)
	sides, err := change.CompareSides(table, 0.95)
	must(t, err)
	d, err := change.ShareDifference(responses, group, patient, 0.95)
	must(t, err)
	near(t, "difference", d.Value, sides.Difference.Value, 1e-12)
	near(t, "standard error", d.SE, sides.Difference.SE, 1e-9)
	near(t, "lower", d.Lower, sides.Difference.Lower, 1e-3)
	near(t, "upper", d.Upper, sides.Difference.Upper, 1e-3)
	apart, err := change.ShareDifference(responses, group, nil, 0.95)
	must(t, err)
	if !(d.SE < 0.8*apart.SE) {
		t.Errorf("within patients the standard error is %v, between others %v", d.SE, apart.SE)
	}
}

// Those who start worse improve more by 0.3 points a point, and error of measurement (reliability 0.8) makes it look like 0.44.
func TestDependenceOnBaselineKnowsTheTruth(t *testing.T) {
	r := random.Stream(31, "dependence", 0)
	const n = 60_000
	s := change.Scores{Baseline: make([]float64, n), FollowUp: make([]float64, n)}
	still := change.Scores{Baseline: make([]float64, n), FollowUp: make([]float64, n)}
	for i := range n {
		truth := 50 + 10*r.NormFloat64()
		s.Baseline[i] = truth + 5*r.NormFloat64()
		s.FollowUp[i] = truth + 20 - 0.3*(truth-50) + 3*r.NormFloat64() + 5*r.NormFloat64()
		still.Baseline[i], still.FollowUp[i] = truth+5*r.NormFloat64(), truth+5*r.NormFloat64()
	}
	for _, scale := range []change.Scale{{Worst: math.Inf(-1), Best: math.Inf(1)}, {Worst: math.Inf(1), Best: math.Inf(-1)}} {
		s, still := turned(s, scale), turned(still, scale)
		d, err := change.DependenceOnBaseline(s, scale, 0.8, 0.95)
		must(t, err)
		fine(t, "slope of the true baseline", d.SlopeOfTrue.State)
		holds(t, "slope", d.Slope, -0.3*0.8-0.2)
		holds(t, "slope of the true baseline", d.SlopeOfTrue, -0.3)
		none, err := change.DependenceOnBaseline(still, scale, 0.8, 0.95)
		must(t, err)
		holds(t, "Oldham's correlation without a change", none.Oldham, 0)
		if !(none.Naive.Upper < -0.2) {
			t.Errorf("the naive correlation without a change is %v, want below 0", none.Naive.Value)
		}
		a, err := change.RegressionToTheMean(still, scale, scale.Sign()*40, 0.8)
		must(t, err)
		fine(t, "regression to the mean", a.State)
		if !(a.Expected > 2) || !(math.Abs(a.Expected-a.Observed) < 5*7.1/math.Sqrt(float64(a.Selected))) {
			t.Errorf("of %d rows chosen for a low score %.3f are expected by error alone, and %.3f observed", a.Selected, a.Expected, a.Observed)
		}
	}
}

// turned returns the same scores where lower is better.
func turned(s change.Scores, scale change.Scale) change.Scores {
	out := change.Scores{}
	for i, b := range s.Baseline {
		out.Baseline, out.FollowUp = append(out.Baseline, scale.Sign()*b), append(out.FollowUp, scale.Sign()*s.FollowUp[i])
	}
	return out
}

// holds asks that the truth lies within five standard errors.
func holds(t *testing.T, what string, e change.Estimate, truth float64) {
	t.Helper()
	if !(math.Abs(e.Value-truth) <= 5*e.SE) || !(e.SE > 0) {
		t.Errorf("%s is %v (standard error %v), truth %v", what, e.Value, e.SE, truth)
	}
}

// The same scores counted from the other end give the same thresholds of change, and thresholds of state counted from the other end.
func TestThresholdsFromTheOtherEnd(t *testing.T) {
	coarse := usual
	coarse.Digits = 2
	a := coarse.draw(400, true, 12)
	b := change.Anchored{Scores: change.Scores{Patient: a.Patient}, Anchor: a.Anchor}
	for i, x := range a.Baseline {
		b.Baseline, b.FollowUp = append(b.Baseline, 100-x), append(b.FollowUp, 100-a.FollowUp[i])
	}
	q, r := question(), question()
	q.Replicates, r.Replicates = 60, 60
	r.Scale = change.Scale{Worst: math.Inf(1), Best: math.Inf(-1)}
	for _, about := range []change.Measure{change.OfChange, change.OfState} {
		q.About, r.About = about, about
		up, err := change.Thresholds(a, q)
		must(t, err)
		down, err := change.Thresholds(b, r)
		must(t, err)
		of := func(x float64) float64 {
			if about == change.OfState {
				return 100 - x
			}
			return x
		}
		some := false
		for m, row := range up.Rows {
			other := down.Rows[m]
			if row.Status != other.Status {
				t.Errorf("%v of %v: %v and, from the other end, %v", row.Method, about, row.Status, other.Status)
			}
			if !row.OK() {
				continue
			}
			some = true
			near(t, row.Method.String(), of(other.Value), row.Value, 1e-9)
			lower, upper := of(other.Percentile.Lower), of(other.Percentile.Upper)
			near(t, row.Method.String()+", lower", min(lower, upper), row.Percentile.Lower, 1e-9)
			near(t, row.Method.String()+", upper", max(lower, upper), row.Percentile.Upper, 1e-9)
			if row.Cut.OK() {
				near(t, row.Method.String()+", cut", of(other.Cut.At), row.Cut.At, 1e-9)
				near(t, row.Method.String()+", sensitivity", other.Cut.Sensitivity, row.Cut.Sensitivity, 1e-12)
			}
		}
		if !some {
			t.Errorf("no threshold of %v at all", about)
		}
	}
}
