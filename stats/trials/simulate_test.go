package trials_test

import (
	"fmt"
	"math"
	"reflect"
	"runtime"
	"testing"

	"deltoid/stats/dist"
	"deltoid/stats/trials"
)

const year = 365.25

// plain are the options of most tests.
func plain(n int) trials.Options {
	return trials.Options{Seed: 20, Level: 0.05, Sides: 2, Most: n * *times / slower}
}

func simulate(t *testing.T, s trials.Source, test trials.Test, o trials.Options) *trials.Result {
	t.Helper()
	r, err := trials.Simulate(s, test, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// agree holds a simulated share against a worked out one, within the Monte-Carlo errors that are
// allowed and what the formula leaves out.
func agree(t *testing.T, what string, got trials.Share, want, further float64) {
	t.Helper()
	t.Logf("| %s | %.4f | %.4f | %.4f | %d |", what, want, got.Value, got.Error, got.Of)
	if math.Abs(got.Value-want) > allowed*got.Error+further {
		t.Errorf("%s: simulated %.4f (error %.4f), worked out %.4f", what, got.Value, got.Error, want)
	}
}

// agreeMean is agree for a mean.
func agreeMean(t *testing.T, what string, got trials.Mean, want, further float64) {
	t.Helper()
	t.Logf("| %s | %.4f | %.4f | %.4f | %d |", what, want, got.Value, got.Error, got.N)
	if math.Abs(got.Value-want) > allowed*got.Error+further {
		t.Errorf("%s: simulated %.4f (error %.4f), worked out %.4f", what, got.Value, got.Error, want)
	}
}

// normalTheory is how far formulas by a score that is taken to be normal with the variance of no
// effect are off in the designs below, with 10,000 replicates and more.
const normalTheory = 0.018

func arms(h trials.Hazard, ratio float64) []trials.Arm {
	return []trials.Arm{{Share: 1, Event: h}, {Share: 1, Event: h.Times(ratio)}}
}

func free(t *testing.T, share, day float64) trials.Hazard {
	t.Helper()
	h, err := trials.HazardFor(share, day)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func days(x float64) int32 { return int32(math.Round(x)) }

// 106 patients, medians of 6 and 12 months, accrual over 25 months, analysis at 37: 87.647 events are
// expected by integration, and 2,000 replicates of the reference software gave power 0.9005 with
// 87.65 events. Times are in hours here, so that rounding them up is no matter.
func TestLogRankAnchor(t *testing.T) {
	const month = 730.5
	d := &trials.Design{
		Patients: 106, Arms: arms(free(t, 0.5, 6*month), 0.5),
		Accrual: trials.Accrual{Days: days(25 * month), FollowUp: days(12 * month)},
	}
	r := simulate(t, d, trials.LogRank(), plain(2000))
	agree(t, "log-rank, 106 patients, medians 6 and 12 months", r.Power, 0.9005, 3*math.Sqrt(0.9*0.1/2000))
	agreeMean(t, "its events", r.Events, 87.64687974, 0.02)
}

// eventShare is the chance of an event with hazard l and loss (or death) with hazard m, entry
// uniform over accrual and the end after total: Lachin & Foulkes, Biometrics 42 (1986) 507–519.
func eventShare(l, m, accrual, total float64) float64 {
	s := l + m
	return l / s * (1 - (math.Exp(-s*(total-accrual))-math.Exp(-s*total))/(s*accrual))
}

// lachinFoulkes is the power of n patients in two equal arms for the log hazard ratio.
func lachinFoulkes(n, l1, l2, loss, accrual, total, z float64) float64 {
	p1, p2, p := eventShare(l1, loss, accrual, total), eventShare(l2, loss, accrual, total), eventShare((l1+l2)/2, loss, accrual, total)
	return dist.NormalLower((math.Sqrt(n)*math.Abs(math.Log(l1/l2)) - z*math.Sqrt(4/p)) / math.Sqrt(2/p1+2/p2))
}

// Designs of Lachin & Foulkes (1986) and neighbours, with the number of patients that their formula
// gives (published: 430 patients and 91 events for the first).
func TestPowerAgainstLachinFoulkes(t *testing.T) {
	for _, c := range []struct {
		n                                         int
		l1, l2, loss, accrual, total, level, zero float64
	}{
		{430, 0.2, 0.1, 0.1, 0.5, 2, 0.025, 90.0987488614 / 429.6188598866},
		{464, 0.3, 0.2, 0.1, 1, 3, 0.025, 191.0837685936 / 464.4602710468},
		{368, 0.3, 0.2, 0, 3, 5, 0.05, 208.5317266136 / 367.7600614951},
	} {
		d := &trials.Design{
			Patients: c.n, Arms: arms(trials.Constant(c.l1/year), c.l2/c.l1),
			Accrual: trials.Accrual{Days: days(c.accrual * year), FollowUp: days((c.total - c.accrual) * year)},
		}
		for a := range d.Arms {
			if c.loss > 0 {
				d.Arms[a].Loss = trials.Constant(c.loss / year)
			}
		}
		o := plain(2000)
		o.Level, o.Sides = c.level, 1
		r := simulate(t, d, trials.LogRank(), o)
		name := fmt.Sprintf("log-rank, %d patients, hazards %v and %v", c.n, c.l1, c.l2)
		agree(t, name, r.Power, lachinFoulkes(float64(c.n), c.l1, c.l2, c.loss, c.accrual, c.total, -dist.NormalQuantile(c.level)), normalTheory)
		agreeMean(t, "its events", r.Events, c.zero*float64(c.n), 0.2)
	}
}

// Deaths hide events: of exponential hazards l and m the share l/(l+m) of all that happens. The
// log-rank test sees the others only.
func TestCompetingDeaths(t *testing.T) {
	const l, m = 0.03, 0.08
	d := &trials.Design{Patients: 900, Arms: arms(trials.Constant(l/year), 0.6), Accrual: trials.Accrual{Days: days(2 * year), FollowUp: days(5 * year)}}
	for a := range d.Arms {
		d.Arms[a].Death = trials.Constant(m / year)
	}
	r := simulate(t, d, trials.LogRank(), plain(1000))
	p1, p2 := eventShare(l, m, 2, 7), eventShare(0.6*l, m, 2, 7)
	agreeMean(t, "events beside deaths", r.Events, 450*(p1+p2), 0.2)
	agreeMean(t, "deaths", r.Deaths, 450*(eventShare(m, l, 2, 7)+eventShare(m, 0.6*l, 2, 7)), 0.3)
	agree(t, "log-rank beside deaths", r.Power, lachinFoulkes(900, l, 0.6*l, m, 2, 7, 1.959963984540054), normalTheory)
	agreeMean(t, "log hazard ratio beside deaths", simulate(t, d, trials.Cox(trials.Model{}), plain(200)).Effect, math.Log(0.6), 0.01)
}

// The size of every test that is ready made, where nothing differs: a share of about 0.05 finds an
// effect. Whole weeks instead of days make heavy ties.
func TestSizes(t *testing.T) {
	week := trials.Constant(0.02)
	d := &trials.Design{
		Patients: 240, Arms: arms(week, 1), Accrual: trials.Accrual{Days: 20, FollowUp: 20}, Strata: []trials.Stratum{{0.5, 1}, {0.5, 3}},
		Scores: &trials.Scores{
			Visits: []int32{0, 10}, Mean: [][]float64{{35, 70}, {35, 70}}, SD: []float64{15, 20},
			Correlation: trials.EqualCorrelation(2, 0.5), Missing: trials.Missing{Share: []float64{0.05, 0.1}, Known: 0.5, Dropout: true},
		},
	}
	for a := range d.Arms {
		d.Arms[a].Death, d.Arms[a].Loss = trials.Constant(0.01), trials.Constant(0.003)
	}
	responder := trials.Responded(1, 30)
	for _, test := range []trials.Test{
		trials.LogRank(), trials.StratifiedLogRank(), trials.ClusteredLogRank(trials.ByPatient), trials.Gray(0),
		trials.Cox(trials.Model{}), trials.Cox(trials.Model{Stratified: true}), trials.SubdistributionRatio(trials.Model{}),
		trials.RestrictedMean(15, 0), trials.RateRatio(), trials.MeanDifference(1, false, 0), trials.MeanDifference(1, true, 0),
		trials.AdjustedMeans(1, trials.NoClusters, 0), trials.AdjustedMeans(1, trials.ByPatient, 0), trials.Proportions(responder),
		trials.ExactProportions(trials.Occurred(15)), trials.Odds(responder, trials.Model{}),
	} {
		r := simulate(t, d, test, plain(300))
		t.Logf("| size of %s | 0.05 | %.4f | %.4f | %d |", test.Name, r.Power.Value, r.Power.Error, r.Power.Of)
		// Exact tests stay below the level.
		low := 0.05 - 3*r.Power.Error
		if test.Name == trials.RateRatio().Name || test.Name == trials.ExactProportions(trials.Occurred(15)).Name {
			low = 0
		}
		if r.Power.Value < low || r.Power.Value > 0.05+3.3*r.Power.Error || r.Failed.Count > 0 {
			t.Errorf("%s found an effect in %.4f of the studies without one; %d failed (%s)", test.Name, r.Power.Value, r.Failed.Count, r.Reason)
		}
	}
}

// Cohen (1988), two-sided 5 %, power 80 % for d = 0.5: 64 in each group (exactly 63.766); the
// analysis of covariance needs the share 1 − ρ² of that, the change 2(1 − ρ), but for a little that the
// estimated slope and the smaller number of degrees of freedom cost: 0.007 of power with 82 patients.
func TestScoresAgainstClosedForms(t *testing.T) {
	const rho = 0.6
	for _, c := range []struct {
		test   trials.Test
		factor float64
	}{
		{trials.MeanDifference(1, false, 0), 1},
		{trials.AdjustedMeans(1, trials.NoClusters, 0), 1 - rho*rho},
		{trials.MeanDifference(1, true, 0), 2 * (1 - rho)},
	} {
		n := 2 * int(math.Round(63.7657637*c.factor))
		d := &trials.Design{
			Patients: n, Arms: arms(nil, 1), Accrual: trials.Accrual{Days: 100, FollowUp: 400},
			Scores: &trials.Scores{Visits: []int32{0, 365}, Mean: [][]float64{{30, 60}, {30, 70}}, SD: []float64{20, 20}, Correlation: trials.EqualCorrelation(2, rho)},
		}
		r := simulate(t, d, c.test, plain(2000))
		agree(t, c.test.Name+fmt.Sprintf(", %d patients", n), r.Power, 0.80, 0.01)
		agreeMean(t, "its difference", r.Effect, 10, 0)
		agreeMean(t, "its standard error", r.SE, r.Effect.SD, 0.1)
	}
}

// 434.43 in each group for 5 % against 10 % with power 80 %, pooled variance (reference results for
// two proportions) is an approximation; the chance itself is the sum over all tables that Pearson's
// test finds different: 0.8097.
func TestProportionsAgainstClosedForm(t *testing.T) {
	d := &trials.Design{Patients: 868, Accrual: trials.Accrual{FollowUp: 400}}
	for _, p := range []float64{0.05, 0.10} {
		d.Arms = append(d.Arms, trials.Arm{Share: 1, Event: free(t, 1-p, 365)})
	}
	r := simulate(t, d, trials.Proportions(trials.Occurred(365)), plain(2000))
	agree(t, "two proportions, 434 in each group", r.Power, tablesFound(434, 0.05, 0.10), 0)
	agreeMean(t, "difference of proportions", r.Effect, 0.05, 0)
}

// tablesFound adds up the chances of all pairs of counts whose chi-square has p at most 0.05.
func tablesFound(n int, p1, p2 float64) float64 {
	chance := func(p float64) []float64 {
		out := make([]float64, n+1)
		for k := range out {
			a, _ := math.Lgamma(float64(n + 1))
			b, _ := math.Lgamma(float64(k + 1))
			c, _ := math.Lgamma(float64(n - k + 1))
			out[k] = math.Exp(a - b - c + float64(k)*math.Log(p) + float64(n-k)*math.Log(1-p))
		}
		return out
	}
	sum, first, second := 0.0, chance(p1), chance(p2)
	for a, pa := range first {
		for b, pb := range second {
			all := float64(a + b)
			difference := float64(a-b) / float64(n)
			pooled := all / float64(2*n)
			if difference*difference > 3.841458820694124*pooled*(1-pooled)*2/float64(n) {
				sum += pa * pb
			}
		}
	}
	return sum
}

// Looks at 30, 60, 90 and 120 events: the size stays, and power and mean information are those of
// the boundary with the drift log(ratio)·√(events/4), Schoenfeld's approximation.
func TestLooksAgainstTheBoundary(t *testing.T) {
	for _, shape := range []trials.Shape{trials.Pocock, trials.OBrienFleming, trials.SpendingOBrienFleming, trials.SpendingPocock} {
		for _, ratio := range []float64{1, 0.62} {
			d := &trials.Design{Patients: 600, Arms: arms(trials.Constant(0.08/year), ratio), Accrual: trials.Accrual{Days: 730, FollowUp: 2500}}
			o := plain(1000)
			o.Looks = &trials.Looks{At: []int32{30, 60, 90, 120}, Shape: shape}
			r := simulate(t, d, trials.LogRank(), o)
			course := r.Boundary.Course(-math.Log(ratio) * math.Sqrt(120.0/4))
			want, name := course.Power, fmt.Sprintf("four looks, %v, ratio %v", shape, ratio)
			if ratio == 1 {
				want = 0.05
			}
			agree(t, name, r.Power, want, normalTheory)
			agreeMean(t, "its events", r.Events, 120*course.Expected, 2)
			if r.Short.Count > 0 || r.Looks[0].Held.Value != 1 || r.Looks[3].Stopped.Count != r.Power.Count {
				t.Errorf("%s: looks %+v, short %+v", name, r.Looks, r.Short)
			}
		}
	}
}

// A study that ends before its events are there is analysed at the end, and counted.
func TestShortStudies(t *testing.T) {
	d := &trials.Design{Patients: 200, Arms: arms(trials.Constant(0.05/year), 1), Accrual: trials.Accrual{Days: 365, FollowUp: 365}}
	o := plain(200)
	o.Looks = &trials.Looks{At: []int32{5, 100}, Shape: trials.SpendingOBrienFleming}
	r := simulate(t, d, trials.LogRank(), o)
	if r.Short.Value != 1 || r.Days.Value != 730 || r.Looks[1].Held.Value < 0.95 || r.Looks[0].Events.Value < 5 {
		t.Errorf("short %+v, days %+v, looks %+v", r.Short, r.Days, r.Looks)
	}
}

// The margin of a hazard ratio: events (z + z)²/(p(1−p) log(margin)²) by Schoenfeld with the margin in
// the place of the effect; 1.5 with one-sided 2.5 % and 80 % needs 191.
func TestNonInferiority(t *testing.T) {
	d := &trials.Design{Patients: 1000, Arms: arms(trials.Constant(0.06/year), 1), Accrual: trials.Accrual{Days: 365, FollowUp: 4000}}
	o := plain(500)
	o.Level, o.Sides, o.Looks = 0.025, 1, &trials.Looks{At: []int32{191}, Shape: trials.OBrienFleming}
	r := simulate(t, d, trials.Cox(trials.Model{Margin: 1.5}), o)
	agree(t, "margin 1.5 of the hazard ratio, 191 events", r.Power, 0.80, normalTheory)
}

// Same bytes on any number of processors, batch by batch.
func TestAnyNumberOfProcessors(t *testing.T) {
	d := &trials.Design{
		Patients: 100, Both: 0.2, Arms: arms(trials.Constant(0.001), 0.5), Accrual: trials.Accrual{Days: 300, FollowUp: 600},
		Dependence: trials.WithTheta(1), Hospitals: trials.Hospitals{Number: 5, Frailty: 0.3},
	}
	o := trials.Options{Seed: 5, Level: 0.05, Sides: 2, Batch: 70, Most: 1000, Error: 0.02, Looks: &trials.Looks{At: []int32{20, 40}, Shape: trials.Pocock}}
	before := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(before)
	whole := &trials.Design{
		Patients: 60, Arms: arms(nil, 1), Accrual: trials.Accrual{FollowUp: 50}, Hospitals: trials.Hospitals{Number: 6, Sizes: []float64{1, 2, 3, 4, 5, 6}, Allocated: true},
		Scores: &trials.Scores{Visits: []int32{0, 20}, Mean: [][]float64{{0, 0}, {0, 1}}, SD: []float64{1, 1}, Correlation: trials.EqualCorrelation(2, 0.3), Hospital: 0.2, Missing: trials.Missing{Share: []float64{0, 0.1}}},
	}
	again := func() [2]*trials.Result {
		return [2]*trials.Result{simulate(t, whole, trials.AdjustedMeans(1, trials.ByHospital, 0), trials.Options{Level: 0.05, Sides: 2, Most: 300}),
			simulate(t, &trials.Next{Cohort: followed(50), Patients: 40, Arms: []trials.NextArm{{1, 1}, {1, 0.5}}, Further: 300}, trials.Gray(0), trials.Options{Level: 0.05, Sides: 2, Most: 300})}
	}
	alone := again()
	one := simulate(t, d, trials.ClusteredLogRank(trials.ByPatient), o)
	runtime.GOMAXPROCS(5)
	if five := simulate(t, d, trials.ClusteredLogRank(trials.ByPatient), o); !reflect.DeepEqual(one, five) {
		t.Errorf("one processor: %+v\nfive: %+v", one, five)
	}
	if others := again(); !reflect.DeepEqual(alone, others) {
		t.Errorf("one processor: %+v\nfive: %+v", alone, others)
	}
	if one.Replicates%70 != 0 || one.Replicates > 700 || one.Power.Error > 0.02 || one.Status != trials.Estimated {
		t.Errorf("%d replicates, error %.4f, %v", one.Replicates, one.Power.Error, one.Status)
	}
	o.Error, o.Most = 0.001, 90
	if r := simulate(t, d, trials.LogRank(), o); r.Status != trials.Uncertain || r.Replicates != 90 {
		t.Errorf("%v after %d replicates, want the error above its bound after 90", r.Status, r.Replicates)
	}
}

// Looks on days of the calendar, with limits that somebody states (3 at each look but the last,
// after Haybittle and Peto, as is common practice), and looks at numbers of scores: the size stays
// close to the level.
func TestLooksOnDaysAndAtScores(t *testing.T) {
	d := &trials.Design{Patients: 400, Arms: arms(trials.Constant(0.15/year), 1), Accrual: trials.Accrual{Days: 730, FollowUp: 1095}}
	o := plain(600)
	o.Looks = &trials.Looks{Schedule: trials.OnDays, At: []int32{600, 1200, 1825}, Information: []float64{0.15, 0.55, 1}, Shape: trials.Stated, Limit: []float64{3, 3, 1.96}}
	r := simulate(t, d, trials.LogRank(), o)
	agree(t, "size, looks on days, limits 3, 3, 1.96", r.Power, r.Boundary.Level, 0.005)
	if r.Looks[1].Day.Value != 1200 || r.Short.Count > 0 || r.Looks[0].Events.Value >= r.Looks[1].Events.Value {
		t.Errorf("looks %+v", r.Looks)
	}
	d = &trials.Design{
		Patients: 200, Arms: arms(nil, 1), Accrual: trials.Accrual{Days: 600, FollowUp: 400}, Hospitals: trials.Hospitals{Number: 3, Sizes: []float64{5, 2, 1}},
		Scores: &trials.Scores{Visits: []int32{0, 365}, Mean: [][]float64{{0, 0}, {0, 0}}, SD: []float64{1, 1}, Correlation: trials.FadingCorrelation(2, 0.5)},
	}
	o.Looks = &trials.Looks{Schedule: trials.AtScores, At: []int32{100, 200}, Shape: trials.Pocock}
	r = simulate(t, d, trials.AdjustedMeans(1, trials.NoClusters, 0), o)
	agree(t, "size, looks at 100 and 200 scores", r.Power, 0.05, 0)
	if half := r.Looks[0].Day.Value; math.Abs(half-365-300) > 25 {
		t.Errorf("half the scores are there after %v days, want about 300 + 365", half)
	}
}
