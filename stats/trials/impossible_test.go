package trials_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"deltoid/stats/trials"
)

func good() *trials.Design {
	return &trials.Design{Patients: 100, Arms: arms(trials.Constant(0.001), 0.5), Accrual: trials.Accrual{Days: 100, FollowUp: 100}}
}

// Each impossible design says which assumption it is.
func TestImpossibleDesigns(t *testing.T) {
	scores := func(s trials.Scores) func(*trials.Design, *trials.Options) {
		return func(d *trials.Design, _ *trials.Options) { d.Scores = &s }
	}
	two := [][]float64{{1, 2}, {1, 2}}
	for want, change := range map[string]func(d *trials.Design, o *trials.Options){
		"allocation of arm 2 is 0, want above 0":                               func(d *trials.Design, _ *trials.Options) { d.Arms[1].Share = 0 },
		"number of arms is 1, want 2 to 100":                                   func(d *trials.Design, _ *trials.Options) { d.Arms = d.Arms[:1] },
		"number of patients is 1, want 2, one for each arm":                    func(d *trials.Design, _ *trials.Options) { d.Patients = 1 },
		"rate of hazard of the event in arm 1, piece 1 is 1.5, want at most 1": func(d *trials.Design, _ *trials.Options) { d.Arms[0].Event = trials.Constant(1.5) },
		"rate of hazard of death in arm 2, piece 2 is NaN":                     func(d *trials.Design, _ *trials.Options) { d.Arms[1].Death = trials.Hazard{{0, 0}, {5, math.NaN()}} },
		"start of hazard of loss in arm 1, piece 1 is 3, want 0":               func(d *trials.Design, _ *trials.Options) { d.Arms[0].Loss = trials.Hazard{{3, 0}} },
		"follow-up after accrual is -1, want 0 or more":                        func(d *trials.Design, _ *trials.Options) { d.Accrual.FollowUp = -1 },
		"days of accrual is -5":                                                func(d *trials.Design, _ *trials.Options) { d.Accrual.Days = -5 },
		"length of the study is 0":                                             func(d *trials.Design, _ *trials.Options) { d.Accrual = trials.Accrual{} },
		"last point of the pattern of accrual":                                 func(d *trials.Design, _ *trials.Options) { d.Accrual.Pattern = []trials.Entered{{0.5, 1}} },
		"concordance of two shoulders is 1, want 0 or more and below 1": func(d *trials.Design, _ *trials.Options) {
			d.Dependence = trials.Dependence{Copula: trials.Clayton, Tau: 1}
		},
		"concordance of two shoulders is -1, want above -1": func(d *trials.Design, _ *trials.Options) {
			d.Dependence = trials.Dependence{Copula: trials.Gaussian, Tau: -1}
		},
		"concordance of independent shoulders is 0.2, want 0":             func(d *trials.Design, _ *trials.Options) { d.Dependence.Tau = 0.2 },
		"share of patients with both shoulders is 1.2, want 0 to 1":       func(d *trials.Design, _ *trials.Options) { d.Both = 1.2 },
		"number of hospitals is 0, want 1 or more where hospitals differ": func(d *trials.Design, _ *trials.Options) { d.Hospitals.Frailty = 0.1 },
		"number of hospitals is 1, want 2 or more, one for each arm":      func(d *trials.Design, _ *trials.Options) { d.Hospitals = trials.Hospitals{Number: 1, Allocated: true} },
		"hazard ratio of stratum 1 is 0, want above 0":                    func(d *trials.Design, _ *trials.Options) { d.Strata = []trials.Stratum{{1, 0}} },
		"significance level is 0.7, want above 0 and below 0.5":           func(_ *trials.Design, o *trials.Options) { o.Level = 0.7 },
		"number of sides is 3, want 1 or 2":                               func(_ *trials.Design, o *trials.Options) { o.Sides = 3 },
		"number of replicates is -1":                                      func(_ *trials.Design, o *trials.Options) { o.Most = -1 },
		"number of events at the last look is 101, want at most 100": func(_ *trials.Design, o *trials.Options) {
			o.Looks = &trials.Looks{At: []int32{101}, Shape: trials.Pocock}
		},
		"look 2 is at 5 events, want after 5": func(_ *trials.Design, o *trials.Options) {
			o.Looks = &trials.Looks{At: []int32{5, 5}, Shape: trials.Pocock}
		},
		"looks counted in scores is of a study without scores": func(_ *trials.Design, o *trials.Options) {
			o.Looks = &trials.Looks{At: []int32{5}, Schedule: trials.AtScores}
		},
		"day of the last look is 150, want 200": func(_ *trials.Design, o *trials.Options) {
			o.Looks = &trials.Looks{At: []int32{150}, Schedule: trials.OnDays}
		},
		"shape of the limits is unknown shape": func(_ *trials.Design, o *trials.Options) { o.Looks = &trials.Looks{At: []int32{5}} },
		"number of visits is 0":                scores(trials.Scores{}),
		"correlation of visits 1 and 2 is 1, want above -1 and below 1": scores(trials.Scores{
			Visits: []int32{0, 1}, Mean: two, SD: []float64{1, 1}, Correlation: trials.EqualCorrelation(2, 1)}),
		"correlations of visits is a set that no scores can have": scores(trials.Scores{
			Visits: []int32{0, 1, 2}, Mean: [][]float64{{1, 1, 1}, {1, 1, 1}}, SD: []float64{1, 1, 1}, Correlation: trials.EqualCorrelation(3, -0.6)}),
		"share missing at visit 2 is 1": scores(trials.Scores{
			Visits: []int32{0, 1}, Mean: two, SD: []float64{1, 1}, Correlation: trials.EqualCorrelation(2, 0), Missing: trials.Missing{Share: []float64{0, 1}}}),
	} {
		d, o := good(), trials.Options{Level: 0.05, Sides: 2, Most: 1}
		change(d, &o)
		_, err := trials.Simulate(d, trials.LogRank(), o)
		var e *trials.Impossible
		if !errors.As(err, &e) || !strings.Contains(err.Error(), want) {
			t.Errorf("error %q, want %q", err, want)
		}
	}
}

func TestImpossibleSearches(t *testing.T) {
	o := trials.Options{Level: 0.05, Sides: 2, Most: 10}
	none := func(n int) trials.Source { d := good(); d.Arms[1] = d.Arms[0]; d.Patients = n; return d }
	if _, err := trials.SizeFor(0.8, 10, 100, none, trials.LogRank(), o); err == nil || !strings.Contains(err.Error(), "effect is none") {
		t.Errorf("error %v, want that there is no effect", err)
	}
	// With a margin equal arms are what is to be shown.
	equal, err := trials.SizeFor(0.8, 50, 5000, func(n int) trials.Source {
		return &trials.Design{Patients: n, Arms: arms(trials.Constant(0.3/365.25), 1), Accrual: trials.Accrual{FollowUp: 1500}}
	}, trials.Cox(trials.Model{Margin: 1.8}), trials.Options{Level: 0.025, Sides: 1, Most: 100})
	if err != nil || equal.Status != trials.Found {
		t.Errorf("a study against a margin: %+v, %v", equal, err)
	}
	some := func(n int) trials.Source { d := good(); d.Patients = n; return d }
	if _, err := trials.SizeFor(0.04, 10, 100, some, trials.LogRank(), o); err == nil || !strings.Contains(err.Error(), "power is 0.04, want above the level") {
		t.Errorf("error %v, want that the power is below the level", err)
	}
	if _, err := trials.RatioFor(0.8, 0.9, 1.5, func(float64) trials.Source { return good() }, trials.LogRank(), o); err == nil {
		t.Error("a range of ratios across 1 was taken")
	}
	for _, bad := range [][]float64{nil, {0.5}, {0.5, 0.4, 1}, {0, 1}, {0.5, 1.1}} {
		if _, err := trials.NewBoundary(trials.Pocock, bad, 0.05, 2); err == nil {
			t.Errorf("looks at %v were taken", bad)
		}
	}
}

func TestImpossibleCohorts(t *testing.T) {
	for want, change := range map[string]func(x *trials.Next){
		"cohort is missing":                                 func(x *trials.Next) { x.Cohort = nil },
		"exit of shoulder 1 is -1":                          func(x *trials.Next) { x.Cohort.Exit[1] = -1 },
		"data cut of shoulder 0 is -7":                      func(x *trials.Next) { x.Cohort.Cut[0] = -7 },
		"length of Left is 1":                               func(x *trials.Next) { x.Cohort.Left = x.Cohort.Left[:1] },
		"number of shoulders of patient 0 is 0, want 1":     func(x *trials.Next) { x.Cohort.Patient[0] = 1 },
		"hazard ratio of arm 2 is -1, want 0 or more":       func(x *trials.Next) { x.Arms[1].Ratio = -1 },
		"further follow-up is -3, want 0 to 60000":          func(x *trials.Next) { x.Further = -3 },
		"allocation of arm 1 is 0, want above 0":            func(x *trials.Next) { x.Arms[0].Share = 0 },
		"number of shoulders of the cohort is 0, want 1 or": func(x *trials.Next) { x.Cohort = &trials.Cohort{} },
	} {
		x := &trials.Next{Cohort: followed(10), Patients: 10, Arms: []trials.NextArm{{1, 1}, {1, 0.5}}}
		change(x)
		if _, err := trials.Simulate(x, trials.LogRank(), trials.Options{Level: 0.05, Sides: 2, Most: 1}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want %q", err, want)
		}
	}
}

// Whatever can be asked for is drawn without a panic, and everybody is accounted for.
func TestDrawnDesignsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := func(name string) trials.Hazard {
			return trials.Hazard{{0, rapid.Float64Range(0, 0.05).Draw(t, name)}, {float64(rapid.IntRange(1, 300).Draw(t, name+" from")), rapid.Float64Range(0, 1).Draw(t, name+" later")}}
		}
		d := &trials.Design{
			Patients: rapid.IntRange(2, 40).Draw(t, "patients"), Both: rapid.Float64Range(0, 1).Draw(t, "both"), Sides: trials.Sides(rapid.IntRange(0, 1).Draw(t, "sides")),
			Dependence: trials.Dependence{Copula: trials.Clayton, Tau: rapid.Float64Range(0, 0.99).Draw(t, "tau")},
			Accrual:    trials.Accrual{Days: rapid.Int32Range(0, 500).Draw(t, "accrual"), FollowUp: rapid.Int32Range(1, 500).Draw(t, "follow-up"), Pattern: trials.Rising(rapid.Float64Range(0, 1).Draw(t, "ramp"))},
			Hospitals:  trials.Hospitals{Number: rapid.IntRange(1, 5).Draw(t, "hospitals"), Frailty: rapid.Float64Range(0, 3).Draw(t, "frailty")},
		}
		for range 2 {
			d.Arms = append(d.Arms, trials.Arm{Share: rapid.Float64Range(0.01, 5).Draw(t, "share"), Event: rate("event"), Death: rate("death"), Loss: rate("loss")})
		}
		ended := int32(0)
		whole := trials.Test{Name: "account", Run: func(s *trials.Sample) trials.Verdict {
			for i, exit := range s.Exit {
				if exit < 1 || s.Enter[i] < 0 || s.Enter[i]+exit > d.Accrual.End() || s.Lost[i] && s.Cause[i] != trials.Censored || int(s.Group[i]) > 1 || int(s.Hospital[i]) >= d.Hospitals.Number {
					ended++
				}
			}
			return trials.LogRank().Run(s)
		}}
		looks := &trials.Looks{At: []int32{1, 2}, Shape: trials.SpendingPocock}
		for _, l := range []*trials.Looks{nil, looks} {
			r, err := trials.Simulate(d, whole, trials.Options{Level: 0.05, Sides: 2, Most: 5, Looks: l})
			if err != nil || ended > 0 || math.IsNaN(r.Power.Value+r.Events.Value+r.Effect.Value+r.SE.Value) {
				t.Fatalf("%v, %d rows are wrong: %+v", err, ended, r)
			}
		}
	})
}
