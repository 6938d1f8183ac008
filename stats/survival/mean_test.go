package survival_test

import (
	"fmt"
	"math"
	"testing"

	"deltoid/stats/random"
	"deltoid/stats/references"
	"deltoid/stats/survival"
)

type meanCase struct {
	Results struct {
		Groups []struct {
			Mean struct {
				Horizon references.Column `json:"tau"`
				Value   references.Column `json:"rmst"`
				SE      references.Column
				Lower   references.Column
				Upper   references.Column
			} `json:"rmst"`
		}
		MeanDifference struct {
			Horizon    references.Column `json:"tau"`
			Difference references.Column `json:"first_minus_second"`
			SE         references.Column
			Lower      references.Column
			Upper      references.Column
			P          references.Column
			Ratio      references.Column
			RatioSE    references.Column `json:"ratio_se_log"`
		} `json:"rmst_difference"`
		Difference struct {
			Time       references.Column
			Difference references.Column `json:"first_minus_second"`
			SE         references.Column
			Lower      references.Column
			Upper      references.Column
			P          references.Column
			ChiSq      references.Column `json:"cloglog_chisq"`
			ChiSqP     references.Column `json:"cloglog_p"`
		} `json:"survival_difference"`
	}
}

func TestRestrictedMeanAgainstReferences(t *testing.T) {
	for _, id := range []string{
		"km_leukemia6mp", "km_ovarian", "km_veteran_celltype", "km_lung_sex", "km_pbc", "km_edge_time_zero_ties", "km_edge_median_plateau",
	} {
		var c productLimitCase
		var want meanCase
		references.Expected(t, id, &c)
		references.Expected(t, id, &want)
		counts := countBoth(t, c.data(t))
		for g, group := range want.Results.Groups {
			for i, horizon := range group.Mean.Horizon {
				m := mean(t, counts, g, horizon)
				name := fmt.Sprintf("%s group %d to %v: ", id, g, horizon)
				near(t, name+"mean", m.Value, group.Mean.Value[i], 1e-12)
				near(t, name+"standard error", m.SE, group.Mean.SE[i], 1e-12)
				near(t, name+"lower", m.Lower, group.Mean.Lower[i], 1e-12)
				near(t, name+"upper", m.Upper, group.Mean.Upper[i], 1e-12)
			}
		}
		for i, horizon := range want.Results.MeanDifference.Horizon {
			w := want.Results.MeanDifference
			a, b := mean(t, counts, 0, horizon), mean(t, counts, 1, horizon)
			difference, err := a.Minus(b, 0)
			if err != nil {
				t.Fatal(err)
			}
			ratio, err := a.Over(b, 0)
			if err != nil {
				t.Fatal(err)
			}
			near(t, id+" difference", difference.Value, w.Difference[i], 1e-12)
			near(t, id+" its standard error", difference.SE, w.SE[i], 1e-12)
			near(t, id+" its lower limit", difference.Lower, w.Lower[i], 1e-12)
			near(t, id+" its upper limit", difference.Upper, w.Upper[i], 1e-12)
			near(t, id+" its p", difference.P, w.P[i], 1e-11)
			near(t, id+" ratio", ratio.Value, w.Ratio[i], 1e-12)
			near(t, id+" its standard error", ratio.SE, w.RatioSE[i], 1e-12)
		}
	}
}

func mean(t *testing.T, c *survival.Counts, group int, horizon float64) survival.Mean {
	t.Helper()
	m, err := c.ProductLimit(group, 1).RestrictedMean(horizon, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestDifferenceAgainstReferences(t *testing.T) {
	compared := 0
	for _, id := range []string{
		"km_leukemia6mp", "km_lung_sex", "km_pbc", "km_edge_time_zero_ties", "km_channing_left_truncated", "km_edge_one_each", "km_edge_all_same_time",
	} {
		var c productLimitCase
		var want meanCase
		references.Expected(t, id, &c)
		references.Expected(t, id, &want)
		counts := countBoth(t, c.data(t))
		w := want.Results.Difference
		for i, at := range w.Time {
			p, q := counts.ProductLimit(0, 1).At(at), counts.ProductLimit(1, 1).At(at)
			got, err := p.Minus(q, 0)
			if err != nil {
				t.Fatal(err)
			}
			if got.Status == survival.Estimated {
				near(t, fmt.Sprintf("%s difference at %v", id, at), got.Value, w.Difference[i], 1e-12)
			}
			// The reference takes a curve without events to be certain; we give no interval there.
			if got.Limits != survival.Estimated {
				continue
			}
			compared++
			near(t, id+" standard error", got.SE, w.SE[i], 1e-12)
			near(t, id+" lower", got.Lower, w.Lower[i], 1e-12)
			near(t, id+" upper", got.Upper, w.Upper[i], 1e-12)
			near(t, id+" p", got.P, w.P[i], 1e-11)
			test, err := p.Differs(q, survival.LogLog, 0)
			if err != nil {
				t.Fatal(err)
			}
			near(t, id+" log-log statistic", test.ChiSquare, w.ChiSq[i], 1e-11)
			near(t, id+" log-log p", test.P, w.ChiSqP[i], 1e-11)
		}
	}
	if compared < 10 {
		t.Errorf("only %d differences had an interval to compare", compared)
	}
}

// On every scale the test is the square of how far apart the points are in standard errors, so
// that a point differs from another about as much whichever scale is used, and not from itself.
func TestScalesAgreeOnDifferences(t *testing.T) {
	p := survival.Point{T: 1, Value: 0.60, SE: 0.001, Level: 0.95}
	q := survival.Point{T: 1, Value: 0.601, SE: 0.001, Level: 0.95}
	for _, scale := range scales {
		test, err := p.Differs(q, scale, 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, scale.String(), test.ChiSquare, 0.5, 1e-2)
		same, err := p.Differs(p, scale, 0)
		if err != nil || same.ChiSquare != 0 || same.P != 1 {
			t.Errorf("%v: a point differs from itself: %+v %v", scale, same, err)
		}
	}
}

// The trial of the R package survRM2's vignette (312 patients, ten years): its table prints three
// decimals, the standard errors were recomputed with R. Differences are arm 1 minus arm 0.
func TestTenYearMeans(t *testing.T) {
	f := references.Read(t, "../../testdata/published/data/pbc312.csv")
	d := survival.RealData{Exit: numbers(f, "years"), Group: groups(t, f, "arm", []string{"0", "1"}), Groups: 2}
	for _, s := range numbers(f, "death") {
		d.Cause = append(d.Cause, uint8(s))
	}
	counts := countBoth(t, d)
	placebo, drug := mean(t, counts, 0, 10), mean(t, counts, 1, 10)
	printed(t, "drug", drug.Value, 7.146, 3)
	printed(t, "placebo", placebo.Value, 7.283, 3)
	printed(t, "its standard error", placebo.SE, 0.295478092, 9)
	printed(t, "drug lower", drug.Lower, 6.592, 3)
	printed(t, "drug upper", drug.Upper, 7.701, 3)
	difference, err := drug.Minus(placebo, 0)
	if err != nil {
		t.Fatal(err)
	}
	printed(t, "difference", difference.Value, -0.137, 3)
	printed(t, "its lower limit", difference.Lower, -0.939, 3)
	printed(t, "its upper limit", difference.Upper, 0.665, 3)
	printed(t, "its p", difference.P, 0.738, 3)
	ratio, err := drug.Over(placebo, 0)
	if err != nil {
		t.Fatal(err)
	}
	printed(t, "ratio", ratio.Value, 0.981, 3)
	printed(t, "its lower limit", ratio.Lower, 0.878, 3)
	printed(t, "its upper limit", ratio.Upper, 1.096, 3)
}

// Without censoring before the horizon the restricted mean is the mean of min(time, horizon).
func TestMeanWithoutCensoring(t *testing.T) {
	r := random.Stream(2, "restricted mean", 0)
	for range 200 {
		n := 2 + r.IntN(30)
		d := survival.Data{}
		sum, horizon := 0.0, 1+r.IntN(8)
		for range n {
			exit := 1 + r.IntN(10)
			d.Exit, d.Cause = append(d.Exit, int32(exit)), append(d.Cause, 1)
			sum += float64(min(exit, horizon))
		}
		m := mean(t, mustCount(t, d), 0, float64(horizon))
		if m.Status != survival.Estimated || math.Abs(m.Value-sum/float64(n)) > 1e-13 {
			t.Fatalf("mean %v (%v), want %v", m.Value, m.Status, sum/float64(n))
		}
	}
}

func TestHorizonWithinFollowUp(t *testing.T) {
	counts := mustCount(t, survival.Data{Exit: []int32{3, 8, 2, 5}, Cause: []uint8{1, 0, 1, 1}, Group: []int32{0, 0, 1, 1}, Groups: 3})
	for group, want := range []survival.Status{survival.BeyondFollowUp, survival.Estimated, survival.NoRows} {
		m := mean(t, counts, group, 9)
		if m.Status != want || want != survival.Estimated && m.Value != 0 {
			t.Errorf("group %d to 9: %+v, want %v", group, m, want)
		}
	}
	for _, horizon := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := counts.ProductLimit(0, 1).RestrictedMean(horizon, 0.95); err == nil {
			t.Errorf("horizon %v was accepted", horizon)
		}
	}
	a, b := mean(t, counts, 0, 7), mean(t, counts, 1, 6)
	if _, err := a.Minus(b, 0); err == nil {
		t.Error("means to different horizons were subtracted")
	}
}

// Coverage: 200 subjects, exponential with a mean of 1,000 days, uniform censoring to 3,000 days,
// horizon 1,500. The truth is 1000(1 − e^{−1.5}); 95 % intervals must hold it in 93 to 97 % of
// 1,500 sets, which leaves three and a half standard errors on either side.
func TestMeanCoverage(t *testing.T) {
	const sets = 1500
	truth, held := 1000*(1-math.Exp(-1.5)), 0
	for set := range uint64(sets) {
		r := random.Stream(4, "coverage of the restricted mean", set)
		d := survival.RealData{}
		for range 200 {
			event, censored := 1000*r.ExpFloat64(), 3000*r.Float64()
			cause := uint8(0)
			if event <= censored {
				cause = 1
			}
			d.Exit, d.Cause = append(d.Exit, min(event, censored)), append(d.Cause, cause)
		}
		counts, err := survival.CountReal(d)
		if err != nil {
			t.Fatal(err)
		}
		if m := mean(t, counts, 0, 1500); m.Lower <= truth && truth <= m.Upper {
			held++
		}
	}
	if share := float64(held) / sets; share < 0.93 || share > 0.97 {
		t.Errorf("the intervals hold the truth in %.3f of the sets", share)
	}
}
