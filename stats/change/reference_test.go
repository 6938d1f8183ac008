package change_test

import (
	"math"
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/references"
)

// The reference results were made by other programs; testdata/references/README.md says which, in which version and by which scripts.

type rocReference struct {
	Cases    int     `json:"n_cases"`
	Controls int     `json:"n_controls"`
	Area     float64 `json:"auc"`
	Variance float64 `json:"delong_var"`
	Lower    float64 `json:"delong_lower"`
	Upper    float64 `json:"delong_upper"`
	Youden   struct{ Threshold, Sensitivity, Specificity references.Column }
	Curve    struct {
		Threshold                []any
		Sensitivity, Specificity references.Column
	}
}

func (r rocReference) check(t *testing.T, what string, roc change.ROC) {
	t.Helper()
	fine(t, what, roc.State)
	fine(t, what+" area", roc.Area.State)
	if roc.Positives != r.Cases || roc.Negatives != r.Controls {
		t.Errorf("%s: %d and %d rows, want %d and %d", what, roc.Positives, roc.Negatives, r.Cases, r.Controls)
	}
	near(t, what+" area", roc.Area.Value, r.Area, 1e-12)
	near(t, what+" variance", roc.Area.SE*roc.Area.SE, r.Variance, 1e-12)
	near(t, what+" lower", roc.Area.Lower, r.Lower, 1e-12)
	near(t, what+" upper", roc.Area.Upper, r.Upper, 1e-12)
	if k := roc.Youden.Ties; k != len(r.Youden.Threshold) {
		t.Errorf("%s: %d cut points are as good as the best, want %d", what, k, len(r.Youden.Threshold))
	}
	near(t, what+" cut", roc.Youden.At, r.Youden.Threshold[0], 1e-12)
	near(t, what+" sensitivity", roc.Youden.Sensitivity, r.Youden.Sensitivity[0], 1e-12)
	near(t, what+" specificity", roc.Youden.Specificity, r.Youden.Specificity[0], 1e-12)
	r.checkCurve(t, what, roc)
}

func (r rocReference) checkCurve(t *testing.T, what string, roc change.ROC) {
	t.Helper()
	if len(roc.Cuts) != len(r.Curve.Threshold) {
		t.Fatalf("%s: %d cut points, want %d", what, len(roc.Cuts), len(r.Curve.Threshold))
	}
	for k, cut := range roc.Cuts {
		if at, finite := r.Curve.Threshold[k].(float64); finite {
			near(t, what+" cut", cut.At, at, 1e-12)
		} else if !math.IsInf(cut.At, 0) {
			t.Errorf("%s: cut %d lies at %v, want %v", what, k, cut.At, r.Curve.Threshold[k])
		}
		near(t, what+" sensitivity", cut.Sensitivity, r.Curve.Sensitivity[k], 1e-12)
		near(t, what+" specificity", cut.Specificity, r.Curve.Specificity[k], 1e-12)
	}
}

func discriminate(t *testing.T, f references.Frame, value, outcome string, higher bool) change.ROC {
	t.Helper()
	d := change.Discriminating{Value: f.Numbers(t, value), HigherIsPositive: higher}
	for _, y := range f.Numbers(t, outcome) {
		d.Positive = append(d.Positive, y == 1)
	}
	roc, err := change.Discrimination(d, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return roc
}

func TestDiscriminationAgainstReferences(t *testing.T) {
	f := references.Data(t, "asah.csv")
	var ref struct {
		Results struct {
			S100b, Ndka, Wfns rocReference
			Wfns2             struct{ Z, P, Covariance float64 } `json:"paired_s100b_wfns"`
			Ndka2             struct{ Z, P, Covariance float64 } `json:"paired_s100b_ndka"`
		}
	}
	references.Expected(t, "roc_asah", &ref)
	s100b, ndka, wfns := discriminate(t, f, "s100b", "outcome", true), discriminate(t, f, "ndka", "outcome", true), discriminate(t, f, "wfns", "outcome", true)
	ref.Results.S100b.check(t, "s100b", s100b)
	ref.Results.Ndka.check(t, "ndka", ndka)
	ref.Results.Wfns.check(t, "wfns", wfns)
	for what, pair := range map[string]struct {
		other   change.ROC
		z, p, v float64
	}{
		"wfns": {wfns, ref.Results.Wfns2.Z, ref.Results.Wfns2.P, ref.Results.Wfns2.Covariance},
		"ndka": {ndka, ref.Results.Ndka2.Z, ref.Results.Ndka2.P, ref.Results.Ndka2.Covariance},
	} {
		c, err := change.CompareAreas(s100b, pair.other, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		fine(t, what, c.Difference.State)
		near(t, "z against "+what, c.Z, pair.z, 1e-10)
		near(t, "p against "+what, c.P, pair.p, 1e-9)
		variance := s100b.Area.SE*s100b.Area.SE + pair.other.Area.SE*pair.other.Area.SE - 2*pair.v
		near(t, "variance of the difference from "+what, c.Difference.SE*c.Difference.SE, variance, 1e-10)
	}
	// Section 9.3 of the published checks, made with the same program.
	c, _ := change.CompareAreas(wfns, s100b, 0.95)
	printed(t, "difference, lower", c.Difference.Lower, .01040617696, 5e-11)
	printed(t, "difference, upper", c.Difference.Upper, .17421441925, 5e-11)
}

func TestDirectionIsDeclared(t *testing.T) {
	f := references.Data(t, "birthwt.csv")
	var ref struct {
		Results struct{ Lwt, Age rocReference }
	}
	references.Expected(t, "roc_birthwt_lower_is_case", &ref)
	ref.Results.Lwt.check(t, "lwt", discriminate(t, f, "lwt", "low", false))
	ref.Results.Age.check(t, "age", discriminate(t, f, "age", "low", false))
	// The other direction is not turned round because the area is below one half.
	near(t, "area of the wrong direction", discriminate(t, f, "lwt", "low", true).Area.Value, 1-ref.Results.Lwt.Area, 1e-12)
}

func TestDiscriminationAtTheEdge(t *testing.T) {
	var ref struct {
		Results struct{ Perfect, Ties rocReference }
	}
	references.Expected(t, "roc_edge", &ref)
	half := []bool{false, false, false, true, true, true}
	ties, _ := change.Discrimination(change.Discriminating{Value: []float64{1, 2, 2, 2, 3, 3}, Positive: half, HigherIsPositive: true}, 0.95)
	ref.Results.Ties.check(t, "ties", ties)
	// The reference gives the perfect and the useless value an interval without width; here that is said.
	perfect, _ := change.Discrimination(change.Discriminating{Value: []float64{1, 2, 3, 4, 5, 6}, Positive: half, HigherIsPositive: true}, 0.95)
	ref.Results.Perfect.checkCurve(t, "perfect", perfect)
	near(t, "cut of the perfect value", perfect.Youden.At, 3.5, 0)
	constant, _ := change.Discrimination(change.Discriminating{Value: []float64{2, 2, 2, 2, 2, 2}, Positive: half, HigherIsPositive: true}, 0.95)
	for what, roc := range map[string]change.ROC{"perfect": perfect, "constant": constant} {
		if roc.Area.Status != change.NoSpread {
			t.Errorf("%s: %v, want %v", what, roc.Area.Status, change.NoSpread)
		}
	}
	if constant.Youden.OK() || constant.ClosestToCorner.OK() {
		t.Error("a constant has a best cut point")
	}
}

type thresholdReference struct {
	Results struct {
		N           int
		ByAnchor    struct{ N, Mean, SD references.Column } `json:"change_by_anchor"`
		Correlation float64                                 `json:"anchor_correlation_spearman"`
		MeanChange  struct {
			Value    float64    `json:"mcid"`
			Interval [2]float64 `json:"ci_t"`
		} `json:"mean_change_method"`
		Difference struct {
			Value    float64    `json:"mcid"`
			Interval [2]float64 `json:"welch_ci"`
		} `json:"change_difference_method"`
		ROC      rocReference `json:"roc_method"`
		HalfSD   float64      `json:"half_sd_baseline"`
		FifthSD  float64      `json:"effect_size_0.2_sd"`
		Achieved struct {
			Threshold  float64
			Proportion struct {
				X      int64
				Wilson [2]float64
			}
			Difference struct {
				Difference float64
				Newcombe   [2]float64
			}
		}
		Reliability struct {
			N           int
			ICC2        float64    `json:"icc_2_1"`
			ICC2CI      [2]float64 `json:"icc_2_1_ci"`
			ICC3        float64    `json:"icc_3_1"`
			ICC1        float64    `json:"icc_1_1"`
			FromICC     float64    `json:"sem_from_icc"`
			FromRepeats float64    `json:"sem_from_differences"`
			MDCICC      float64    `json:"mdc95_from_icc"`
			MDCRepeats  float64    `json:"mdc95_from_differences"`
			Limits      struct {
				Mean   float64 `json:"mean_difference"`
				SD     float64
				Limits [2]float64 `json:"loa"`
			} `json:"bland_altman"`
		}
	}
}

func TestThresholdsAgainstReferences(t *testing.T) {
	f := references.Data(t, "prom_sim.csv")
	scale := change.Scale{Worst: 0, Best: 48}
	a := change.Anchored{Scores: change.Scores{Baseline: numbers(t, f, "pre"), FollowUp: numbers(t, f, "post")}, Anchor: answers(t, f, "anchor")}
	for id, minimal := range map[string]int32{"mcid_prom_sim": 3, "mcid_prom_sim_threshold4": 4} {
		var ref thresholdReference
		references.Expected(t, id, &ref)
		want := ref.Results
		table, err := change.Thresholds(a, change.Question{Scale: scale, Improved: minimal, Minimal: minimal, Unchanged: minimal - 1,
			Resampling: change.Resampling{Level: 0.95}})
		if err != nil {
			t.Fatal(err)
		}
		if table.Anchor.N != want.N {
			t.Errorf("%s: %d rows, want %d", id, table.Anchor.N, want.N)
		}
		for k, c := range table.Anchor.Categories {
			near(t, id+" number", float64(c.Values.N), want.ByAnchor.N[k], 0)
			near(t, id+" mean", c.Values.Mean, want.ByAnchor.Mean[k], 1e-13)
			near(t, id+" spread", c.Values.SD, want.ByAnchor.SD[k], 1e-13)
		}
		near(t, id+" rank correlation", table.Anchor.ByRank.Value, want.Correlation, 1e-13)
		mean, difference, youden := table.Row(change.MeanChange), table.Row(change.MeanDifference), table.Row(change.Youden)
		near(t, id+" mean change", mean.Value, want.MeanChange.Value, 1e-13)
		near(t, id+" mean change, lower", mean.Closed.Lower, want.MeanChange.Interval[0], 1e-9)
		near(t, id+" mean change, upper", mean.Closed.Upper, want.MeanChange.Interval[1], 1e-9)
		near(t, id+" difference", difference.Value, want.Difference.Value, 1e-12)
		near(t, id+" difference, lower", difference.Closed.Lower, want.Difference.Interval[0], 1e-9)
		near(t, id+" difference, upper", difference.Closed.Upper, want.Difference.Interval[1], 1e-9)
		near(t, id+" cut", youden.Value, want.ROC.Youden.Threshold[0], 0)
		near(t, id+" area", table.Area.Value, want.ROC.Area, 1e-13)
		near(t, id+" area, lower", table.Area.Lower, want.ROC.Lower, 1e-12)
		near(t, id+" half a standard deviation", table.Row(change.HalfSD).Value, want.HalfSD, 1e-13)
		near(t, id+" a fifth", table.Row(change.FifthSD).Value, want.FifthSD, 1e-13)
		checkAchieved(t, a, scale, f["group"], ref)
	}
}

// checkAchieved compares responders among the rows with an answer, as the reference counts them.
func checkAchieved(t *testing.T, a change.Anchored, scale change.Scale, group []string, ref thresholdReference) {
	t.Helper()
	want := ref.Results.Achieved
	rulings, first := make([]change.Response, len(a.Anchor)), make([]bool, len(a.Anchor))
	for i, answer := range a.Anchor {
		if first[i] = group[i] == "A"; answer == change.NoAnswer {
			rulings[i] = change.LeftOut
		}
	}
	responses, err := change.Respond(a.Scores, change.Criterion{Scale: scale, Threshold: want.Threshold}, rulings)
	if err != nil {
		t.Fatal(err)
	}
	share, err := change.ShareOf(responses, nil, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if share.Reached != want.Proportion.X {
		t.Errorf("%d reached it, want %d", share.Reached, want.Proportion.X)
	}
	near(t, "share, lower", share.Complete.Lower, want.Proportion.Wilson[0], 1e-12)
	near(t, "share, upper", share.Complete.Upper, want.Proportion.Wilson[1], 1e-12)
	d, err := change.ShareDifference(responses, first, nil, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "difference", d.Value, want.Difference.Difference, 1e-12)
	near(t, "difference, lower", d.Lower, want.Difference.Newcombe[0], 1e-12)
	near(t, "difference, upper", d.Upper, want.Difference.Newcombe[1], 1e-12)
}

func TestReliabilityAgainstReference(t *testing.T) {
	f := references.Data(t, "prom_sim.csv")
	var ref thresholdReference
	references.Expected(t, "mcid_prom_sim", &ref)
	want := ref.Results.Reliability
	first, second := numbers(t, f, "pre"), numbers(t, f, "pre_retest")
	icc := func(form change.ReliabilityForm) change.ICC {
		c, err := change.Reliability([][]float64{first, second}, form, false, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		fine(t, form.String(), c.State)
		return c
	}
	agreement := icc(change.TwoWayAgreement)
	if agreement.N != want.N {
		t.Errorf("%d rows measured twice, want %d", agreement.N, want.N)
	}
	near(t, "agreement", agreement.Value, want.ICC2, 1e-11)
	near(t, "agreement, lower", agreement.Lower, want.ICC2CI[0], 1e-9)
	near(t, "agreement, upper", agreement.Upper, want.ICC2CI[1], 1e-9)
	near(t, "consistency", icc(change.TwoWayConsistency).Value, want.ICC3, 1e-11)
	near(t, "one-way", icc(change.OneWay).Value, want.ICC1, 1e-11)
	repeats := change.ErrorFromRepeats(second, first)
	near(t, "error from repeats", repeats.SEM, want.FromRepeats, 1e-13)
	near(t, "detectable from repeats", repeats.Detectable95, want.MDCRepeats, 1e-12)
	limits, err := change.Agreement(second, first, 0.95, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	printed(t, "bias", limits.Bias.Value, want.Limits.Mean, 1e-12)
	near(t, "spread", limits.SD, want.Limits.SD, 1e-13)
	near(t, "lower limit", limits.Lower.Value, want.Limits.Limits[0], 1e-12)
	near(t, "upper limit", limits.Upper.Value, want.Limits.Limits[1], 1e-12)
	near(t, "error from reliability", change.ErrorFromReliability(want.FromICC/math.Sqrt(1-want.ICC2), want.ICC2).Detectable95, want.MDCICC, 1e-12)
}

func TestPairsAgainstReference(t *testing.T) {
	f := references.Data(t, "sleep.csv")
	var ref struct {
		Results struct {
			Paired struct {
				T     struct{ Statistic, P, CI references.Column } `json:"paired_t"`
				Zeros int
				SRM   float64 `json:"standardised_response_mean"`
			}
		}
	}
	references.Expected(t, "tests_sleep", &ref)
	extra := f.Numbers(t, "extra")
	sides, err := change.WithinPatients(extra[:10], extra[10:], 0.95)
	if err != nil {
		t.Fatal(err)
	}
	want := ref.Results.Paired
	near(t, "t", sides.T.Statistic, want.T.Statistic[0], 1e-12)
	near(t, "p", sides.T.P, want.T.P[0], 1e-10)
	near(t, "lower", sides.T.Lower, want.T.CI[0], 1e-10)
	if sides.Zeros != want.Zeros {
		t.Errorf("%d differences are 0, want %d", sides.Zeros, want.Zeros)
	}
	// The reference has the normal approximation here (0.0091 with, 0.0076 without continuity correction). With all nine differences on one side the exact
	// probability is 2/2⁹ whatever their ties.
	if !sides.SignedRank.Exact {
		t.Error("nine differences are not tested exactly")
	}
	near(t, "signed rank", sides.SignedRank.P, 2.0/512, 1e-14)
	near(t, "variance within", sides.VarianceOfContrast, sides.T.SE*sides.T.SE, 1e-12)
	r, a, b := sides.Correlation.Value, 1.7890096577591625, 2.002248735796829 // the two standard deviations of the reference
	near(t, "ratio of variances", sides.Ratio, 1-2*r*a*b/(a*a+b*b), 1e-12)
}
