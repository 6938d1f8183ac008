package change_test

import (
	"math"
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

// The six targets and four judges of Shrout & Fleiss, Psychol. Bull. 86 (1979) 420–428, table 2, and their six correlations, table 4; data and
// results from memory. The limits are those that the R package psych prints for the same data, from memory too.
func TestReliabilityAsPrinted(t *testing.T) {
	judges := [][]float64{{9, 6, 8, 7, 10, 6}, {2, 1, 4, 1, 5, 2}, {5, 3, 6, 2, 6, 4}, {8, 2, 8, 6, 9, 7}}
	for _, c := range []struct {
		form                change.ReliabilityForm
		average             bool
		value, lower, upper float64
	}{
		{change.OneWay, false, .17, -.133, .72}, {change.TwoWayAgreement, false, .29, .019, .76}, {change.TwoWayConsistency, false, .71, .342, .95},
		{change.OneWay, true, .44, -.884, .91}, {change.TwoWayAgreement, true, .62, .071, .93}, {change.TwoWayConsistency, true, .91, .676, .99},
	} {
		icc, err := change.Reliability(judges, c.form, c.average, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		fine(t, c.form.String(), icc.State)
		printed(t, c.form.String(), icc.Value, c.value, 5.1e-3)
		printed(t, c.form.String()+", lower", icc.Lower, c.lower, 5.1e-4)
		printed(t, c.form.String()+", upper", icc.Upper, c.upper, 5.1e-3)
	}
}

// Peak flow of 17 people by two meters (first readings), Bland & Altman, Lancet i (1986) 307–310: mean difference −2.1 l/min, standard deviation 38.8,
// limits −79.7 to 75.5 with 2 standard deviations; data and results from memory.
func TestLimitsOfAgreementAsPrinted(t *testing.T) {
	large := []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	small := []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
	twice := 0.9544997361036416 // the share within 2 standard deviations
	l, err := change.Agreement(large, small, twice, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	fine(t, "limits", l.State)
	printed(t, "bias", l.Bias.Value, -2.1, .051)
	printed(t, "standard deviation", l.SD, 38.8, .051)
	printed(t, "lower limit", l.Lower.Value, -79.7, .11)
	printed(t, "upper limit", l.Upper.Value, 75.5, .11)
	// They print a standard error of 16.3 for the limits from √(3/n)·s; 1/n + z²/(2(n−1)) with z = 2 is 3.125/n here.
	near(t, "standard error", l.Lower.SE, l.SD*math.Sqrt(3.125/17), 1e-9)
}

// Airway hyper-responsiveness of 21 children before and after stem cell transplantation (Bentur and others, 2009), the example of Fagerland, Lydersen &
// Laake, BMC Med. Res. Methodol. 13 (2013) 91: exact P .070, mid-P .039; and, in Stat. Med. 33 (2014) 2850–2875, Newcombe's
// interval −.507 to −.026. Table and results from memory.
func TestPairedSharesAsPrinted(t *testing.T) {
	s, err := change.CompareSides(change.PairedTable{Both: 1, OnlyFirst: 1, OnlySecond: 7, Neither: 12}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	printed(t, "exact", s.Exact.P, .070, 5.1e-4)
	printed(t, "mid-P", s.MidP, .039, 5.1e-4)
	printed(t, "difference", s.Difference.Value, -6.0/21, 1e-15)
	printed(t, "lower", s.Difference.Lower, -.507, 5.1e-4)
	printed(t, "upper", s.Difference.Upper, -.026, 5.1e-4)
}

// Newcombe's own table, as in describe: without clusters the difference here is his.
func TestShareDifferenceAsPrinted(t *testing.T) {
	for _, c := range []struct {
		a, m, b, n   int
		lower, upper float64
	}{{56, 70, 48, 80, .0524, .3339}, {9, 10, 3, 10, .1705, .8090}, {6, 7, 2, 7, .0582, .8062}, {5, 56, 0, 29, -.0381, .1926},
		{0, 10, 0, 20, -.1611, .2775}, {0, 10, 0, 10, -.2775, .2775}, {10, 10, 0, 20, .6791, 1}} {
		var responses []change.Response
		var group []bool
		for i := range c.m + c.n {
			in := i < c.m
			r := change.NotReached
			if in && i < c.a || !in && i-c.m < c.b {
				r = change.Reached
			}
			responses, group = append(responses, r), append(group, in)
		}
		d, err := change.ShareDifference(responses, group, nil, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		printed(t, "lower", d.Lower, c.lower, 5.1e-5)
		printed(t, "upper", d.Upper, c.upper, 5.1e-5)
	}
}
