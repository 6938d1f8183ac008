package change_test

import (
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/describe"
	"deltoid/stats/references"
)

// forty is the invented set of 40 patients of the project's published checks, section 8: answers −1 worse, 0 the same, 1 a little better, 2 much
// better. Its results were worked out with R; the formulas of the predictive methods are those of the R package MiCT, read in its source.
func forty(t *testing.T) (change.Anchored, change.Question) {
	f := references.Read(t, published+"/mcid40_synthetic.csv")
	return change.Anchored{Scores: change.Scores{Baseline: f.Numbers(t, "base"), FollowUp: f.Numbers(t, "post")}, Anchor: answers(t, f, "anchor")},
		change.Question{Scale: change.Scale{Worst: 0, Best: 100}, Improved: 1, Minimal: 1, Unchanged: 0, AnchorReliability: 0.7, ScoreReliability: 0.9,
			Resampling: change.Resampling{Level: 0.95}}
}

func TestThresholdsOfTheForty(t *testing.T) {
	a, q := forty(t)
	table, err := change.Thresholds(a, q)
	if err != nil {
		t.Fatal(err)
	}
	for m, want := range map[change.Method]float64{
		change.MeanChange: 16.57142857142857, change.MeanDifference: 10.90476190476190, change.Youden: 11.5,
		change.Predictive: 12.314665158, change.PredictiveAdjusted: 10.983638570, change.PredictiveReliable: 8.516539591,
		change.HalfSD: 3.48988924, change.FifthSD: 1.39595570, change.MeasurementError: 2.20719976,
		change.SmallestDetectable95: 6.11793317, change.SmallestDetectable90: 5.13433137,
		change.EffectSize: 2.46426159, change.ResponseMean: 1.32636117,
	} {
		fine(t, m.String(), table.Row(m).State)
		near(t, m.String(), table.Row(m).Value, want, 3e-9)
	}
	mean, difference := table.Row(change.MeanChange).Closed, table.Row(change.MeanDifference).Closed
	near(t, "mean change, lower", mean.Lower, 13.2606972, 3e-9)
	near(t, "mean change, upper", mean.Upper, 19.8821600, 3e-9)
	near(t, "difference, lower", difference.Lower, 6.49403656, 3e-9)
	near(t, "difference, upper", difference.Upper, 15.31548725, 3e-9)
	cut := table.Row(change.Youden).Cut
	near(t, "sensitivity", cut.Sensitivity, .923076923, 1e-9)
	near(t, "specificity", cut.Specificity, .928571429, 1e-9)
	near(t, "constant", table.Model.Coefficient[1], -3.515663204, 1e-9)
	near(t, "slope", table.Model.Coefficient[0], 0.335754351, 1e-8)
	near(t, "area", table.Area.Value, .961538462, 1e-9)
	near(t, "its standard error", table.Area.SE, .0259528994, 1e-8)
	near(t, "its lower limit", table.Area.Lower, .910671713, 1e-8)
	near(t, "its upper limit", table.Area.Upper, 1, 0)
	near(t, "share improved", table.ShareImproved.Value, .65, 1e-15)
	near(t, "point-biserial", table.PointBiserial, .735986826, 1e-8)
	near(t, "standard deviation", table.SD, 12.967810246, 1e-10)
	near(t, "rank correlation", table.Anchor.ByRank.Value, .912072003, 1e-8)
	if s := table.Row(change.AcceptableQuartile).Status; s != change.NotDefined {
		t.Errorf("the quartile of a state is %v for change", s)
	}
	for k, want := range []struct {
		n    int
		mean float64
	}{{2, -3.5}, {12, 5.66666667}, {14, 16.57142857}, {12, 32.91666667}} {
		c := table.Anchor.Categories[k]
		if c.Values.N != want.n {
			t.Errorf("%d rows answer %d, want %d", c.Values.N, c.Answer, want.n)
		}
		near(t, "mean change", c.Values.Mean, want.mean, 1e-8)
	}
}

func TestAcceptableStateOfTheForty(t *testing.T) {
	a, q := forty(t)
	q.About = change.OfState
	table, err := change.Thresholds(a, q)
	if err != nil {
		t.Fatal(err)
	}
	fine(t, "quartile", table.Row(change.AcceptableQuartile).State)
	near(t, "quartile", table.Row(change.AcceptableQuartile).Value, 56, 1e-14)
	if s := table.Row(change.HalfSD).Status; s != change.NotDefined {
		t.Errorf("half a standard deviation is %v for a state", s)
	}
}

func TestRespondersOfTheForty(t *testing.T) {
	a, q := forty(t)
	responses, err := change.Respond(a.Scores, change.Criterion{Scale: q.Scale, Threshold: 12}, nil)
	if err != nil {
		t.Fatal(err)
	}
	share, err := change.ShareOf(responses, nil, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if share.Reached != 25 || share.NotReached != 15 {
		t.Errorf("%d reached and %d did not, want 25 and 15", share.Reached, share.NotReached)
	}
	want := describe.Wilson(25, 40, 0.95)
	near(t, "share", share.Complete.Value, .625, 1e-15)
	near(t, "lower", share.Complete.Lower, want.Lower, 1e-14)
	near(t, "upper", share.Complete.Upper, want.Upper, 1e-14)
}
