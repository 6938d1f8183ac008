package trials_test

import (
	"math"
	"testing"

	"deltoid/stats/trials"
)

// Both shoulders of every patient in one arm: a test that takes them for independent finds too
// much, one with clusters holds its level. With one shoulder in each arm it is the other way round, and
// the clusters make the test stronger.
func TestTwoShoulders(t *testing.T) {
	d := &trials.Design{
		Patients: 250, Both: 1, Arms: arms(trials.Constant(0.15/year), 1), Dependence: trials.Dependence{Copula: trials.Clayton, Tau: 0.6},
		Accrual: trials.Accrual{Days: 730, FollowUp: 1500},
	}
	naive, clustered := trials.LogRank(), trials.ClusteredLogRank(trials.ByPatient)
	alike := simulate(t, d, naive, plain(1000))
	t.Logf("| size of the plain log-rank test, both shoulders alike, tau 0.6 | above 0.05 | %.4f | %.4f | %d |", alike.Power.Value, alike.Power.Error, alike.Power.Of)
	if alike.Power.Value < 0.08 {
		t.Errorf("size %.4f without regard to the patients, want well above 0.05", alike.Power.Value)
	}
	agree(t, "size, both shoulders alike, clustered", simulate(t, d, clustered, plain(1000)).Power, 0.05, 0)
	agree(t, "size of Gray's test, both shoulders alike, clustered", simulate(t, d, trials.ClusteredGray(0, trials.ByPatient), plain(300)).Power, 0.05, 0)
	d.Sides = trials.Apart
	apart := simulate(t, d, naive, plain(1000))
	t.Logf("| size of the plain log-rank test, shoulders apart, tau 0.6 | below 0.05 | %.4f | %.4f | %d |", apart.Power.Value, apart.Power.Error, apart.Power.Of)
	if apart.Power.Value > 0.03 {
		t.Errorf("size %.4f without regard to the patients, want well below 0.05", apart.Power.Value)
	}
	agree(t, "size, shoulders apart, clustered", simulate(t, d, clustered, plain(1000)).Power, 0.05, 0)
	d.Arms = arms(trials.Constant(0.15/year), 0.75)
	plainly, knowing := simulate(t, d, naive, plain(500)), simulate(t, d, clustered, plain(500))
	t.Logf("| power with shoulders apart, plain and clustered | plain below clustered | %.4f, %.4f | %.4f | %d |", plainly.Power.Value, knowing.Power.Value, knowing.Power.Error, knowing.Power.Of)
	if knowing.Power.Value < plainly.Power.Value+0.05 {
		t.Errorf("power %.4f with clusters, %.4f without", knowing.Power.Value, plainly.Power.Value)
	}
}

// Whole hospitals allocated: their frailty is taken for an effect by a plain test. With 40
// hospitals the sum over clusters, which knows no small-sample factor, is a little liberal.
func TestHospitals(t *testing.T) {
	d := &trials.Design{
		Patients: 800, Arms: arms(trials.Constant(0.1/year), 1), Accrual: trials.Accrual{FollowUp: 1800},
		Hospitals: trials.Hospitals{Number: 40, Frailty: 0.2, Allocated: true},
	}
	naive, clustered := simulate(t, d, trials.LogRank(), plain(500)), simulate(t, d, trials.ClusteredLogRank(trials.ByHospital), plain(500))
	t.Logf("| size with 40 hospitals allocated, frailty 0.2: plain, clustered | above 0.05, 0.05 | %.4f, %.4f | %.4f | %d |", naive.Power.Value, clustered.Power.Value, clustered.Power.Error, clustered.Power.Of)
	if naive.Power.Value < 0.12 || clustered.Power.Value > 0.09 {
		t.Errorf("size %.4f plain, %.4f clustered", naive.Power.Value, clustered.Power.Value)
	}
	// The design effect of means with clusters of equal expected size m: variance 1 + (m−1)ρ times.
	s := &trials.Design{
		Patients: 800, Arms: arms(nil, 1), Accrual: trials.Accrual{FollowUp: 400}, Hospitals: trials.Hospitals{Number: 40, Allocated: true},
		Scores: &trials.Scores{Visits: []int32{365}, Mean: [][]float64{{50}, {50}}, SD: []float64{10}, Correlation: trials.EqualCorrelation(1, 0), Hospital: 0.1},
	}
	r := simulate(t, s, trials.MeanDifference(0, false, 0), plain(1000))
	// Sizes are binomial: the mean of m(m−1)/m over patients is 19.5·(1 − 1/800)…, close to 799/40.
	want := 10 * math.Sqrt(2.0/400*(1+0.1*(800.0-1)/40))
	t.Logf("| SD of a difference of means, 40 hospitals, share 0.1 | %.4f | %.4f | %.4f | %d |", want, r.Effect.SD, r.Effect.SD/math.Sqrt(2*float64(r.Effect.N)), r.Effect.N)
	if math.Abs(r.Effect.SD-want) > 4*want/math.Sqrt(2*float64(r.Effect.N)) {
		t.Errorf("SD of the difference %.4f, worked out %.4f", r.Effect.SD, want)
	}
}

// Scores missing at random given the baseline leave the analysis of covariance unbiased; those
// missing because of themselves do not.
func TestMissingScores(t *testing.T) {
	d := &trials.Design{
		Patients: 400, Arms: arms(nil, 1), Accrual: trials.Accrual{FollowUp: 800},
		Scores: &trials.Scores{
			Visits: []int32{0, 365, 730}, Mean: [][]float64{{30, 55, 60}, {30, 65, 72}}, SD: []float64{15, 18, 20}, Correlation: trials.FadingCorrelation(3, 0.6),
			Missing: trials.Missing{Share: []float64{0, 0.2, 0.2}, Known: -1},
		},
	}
	test := trials.AdjustedMeans(1, trials.NoClusters, 0)
	agreeMean(t, "difference where scores are missing at random", simulate(t, d, test, plain(500)).Effect, 10, 0)
	// Missing because they are low, and more of them in one arm: the means come closer.
	d.Scores.Missing = trials.Missing{Share: []float64{0, 0.4, 0.4}, Unknown: -2}
	lost := simulate(t, d, trials.MeanDifference(1, false, 0), plain(200)).Effect
	d.Scores.Missing = trials.Missing{}
	whole := simulate(t, d, trials.MeanDifference(1, false, 0), plain(200))
	agreeMean(t, "difference with all scores", whole.Effect, 10, 0)
	if lost.Value > 9 {
		t.Errorf("difference %.4f where the low scores are missing, want well below 10", lost.Value)
	}
	t.Logf("| difference where low scores are missing | below 10 | %.4f | %.4f | %d |", lost.Value, lost.Error, lost.N)
	d.Scores.Missing = trials.Missing{Share: []float64{0, 0.2, 0.2}, Dropout: true}
	if r := simulate(t, d, test, plain(200)); math.Abs(r.Seen.Value-0.64) > 4*r.Seen.Error {
		t.Errorf("%.4f seen at the last of three visits, want 0.8·0.8", r.Seen.Value)
	}
}
