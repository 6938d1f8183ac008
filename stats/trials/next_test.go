package trials_test

import (
	"math"
	"testing"

	"deltoid/stats/dist"
	"deltoid/stats/random"
	"deltoid/stats/survival"
	"deltoid/stats/trials"
)

// followed invents a cohort: operations over eight years, a data cut after ten, deaths and loss; a
// quarter of the patients have both shoulders in, with a frailty in common.
func followed(patients int) *trials.Cohort {
	c := &trials.Cohort{Covariate: make([][]float64, 1)}
	r := random.Stream(8, "cohort", 0)
	for p := range patients {
		frailty, age := 0.3+1.4*r.Float64(), 74+8*r.NormFloat64()
		start := int32(r.IntN(2922))
		died := start + int32(r.ExpFloat64()/0.00012)
		lost := start + int32(r.ExpFloat64()/0.00005)
		for side := range 1 + (p+1)%4/3 {
			begin := min(start+int32(side*200), died, lost, 3600)
			c.Patient, c.Start = append(c.Patient, int32(p)), append(c.Start, begin)
			c.Cut = append(c.Cut, 3652-begin)
			c.Covariate[0] = append(c.Covariate[0], age)
			event := begin + int32(r.ExpFloat64()/(0.00012*frailty))
			exit, left := int32(3652), trials.AtCut
			for _, other := range []struct {
				day int32
				why trials.Leaving
			}{{lost, trials.LostFrom}, {died, trials.ByDeath}, {event, trials.ByEvent}} {
				if other.day < exit {
					exit, left = other.day, other.why
				}
			}
			c.Exit, c.Left = append(c.Exit, exit-begin), append(c.Left, left)
		}
	}
	return c
}

func count(c *trials.Cohort, why trials.Leaving) (n float64) {
	for _, l := range c.Left {
		if l == why {
			n++
		}
	}
	return n
}

// With ratios of 1 the next study is the cohort again, drawn with replacement: events, deaths and
// losses have its numbers as their means.
func TestTheSameCohortAgain(t *testing.T) {
	c := followed(600)
	x := &trials.Next{Cohort: c, Patients: 600, Arms: []trials.NextArm{{1, 1}, {1, 1}}}
	r := simulate(t, x, trials.ClusteredLogRank(trials.ByPatient), plain(600))
	agreeMean(t, "events of the cohort drawn again", r.Events, count(c, trials.ByEvent), 0)
	agreeMean(t, "its deaths", r.Deaths, count(c, trials.ByDeath), 0)
	agreeMean(t, "its losses", r.Lost, count(c, trials.LostFrom), 0)
	agreeMean(t, "its shoulders", r.Shoulders, float64(len(c.Exit)), 0)
	agree(t, "size, cohort drawn again, clustered", r.Power, 0.05, 0)
	if r.Beyond.Value != 0 {
		t.Errorf("%v of the shoulders go on beyond the cohort, want none", r.Beyond.Value)
	}
}

// A hazard ratio multiplies the hazard of the cohort: an arm's product-limit estimate is, in the
// mean, that of the cohort to the power of the ratio, thinned or with events added.
func TestRatiosOfTheNextStudy(t *testing.T) {
	c := followed(800)
	d := survival.Data{Exit: c.Exit, Causes: 1}
	for _, l := range c.Left {
		cause := uint8(0)
		if l == trials.ByEvent {
			cause = 1
		}
		d.Cause = append(d.Cause, cause)
	}
	counts, err := survival.Count(d)
	if err != nil {
		t.Fatal(err)
	}
	for _, ratio := range []float64{0, 0.4, 1, 2.5} {
		for _, day := range []float64{500, 1800, 3000} {
			at := trials.Test{Name: "share free of the event", Run: func(s *trials.Sample) trials.Verdict {
				counts, err := survival.Count(survival.Data{Exit: s.Exit, Cause: s.Cause, Group: s.Group, Groups: 2, Causes: 2})
				if err != nil {
					return trials.Verdict{Reason: err.Error()}
				}
				return trials.Verdict{P: 1, Effect: counts.ProductLimit(1, 1).At(day).Value, SE: 1}
			}}
			x := &trials.Next{Cohort: c, Patients: 400, Arms: []trials.NextArm{{1, 1}, {1, ratio}}}
			r := simulate(t, x, at, plain(150))
			want := math.Pow(counts.ProductLimit(0, 1).At(day).Value, ratio)
			agreeMean(t, "free of the event", r.Effect, want, 0.001)
		}
	}
}

// Further follow-up is watched under the hazards of the cohort, and ends where its knowledge does.
func TestFurtherFollowUp(t *testing.T) {
	c := followed(600)
	x := &trials.Next{Cohort: c, Patients: 600, Arms: []trials.NextArm{{1, 1}, {1, 1}}, Further: 730}
	longer := simulate(t, x, trials.LogRank(), plain(200))
	// The invented hazards are constant, so that the rate of events per day stays.
	x.Further = 0
	now := simulate(t, x, trials.LogRank(), plain(200))
	before, after := now.Events.Value/now.PersonDays.Value, longer.Events.Value/longer.PersonDays.Value
	if longer.Events.Value < now.Events.Value*1.1 || math.Abs(after/before-1) > 0.05 || longer.Deaths.Value < now.Deaths.Value*1.1 {
		t.Errorf("events %.1f and %.1f, rates per day %.3g and %.3g", now.Events.Value, longer.Events.Value, before, after)
	}
	if longer.Beyond.Value == 0 || longer.Days.Value != now.Days.Value+730 {
		t.Errorf("beyond %v, days %v", longer.Beyond, longer.Days)
	}
	// Without knowledge of the data cut nobody is watched for longer than the longest.
	c.Cut = nil
	if r := simulate(t, x, trials.LogRank(), plain(200)); math.Abs(r.Events.Value-now.Events.Value) > 3*r.Events.Error+1 {
		t.Errorf("events %.1f where the cut is drawn, %.1f where it is known", r.Events.Value, now.Events.Value)
	}
}

// The smallest effect and size that a search finds have the power that Schoenfeld's formula gives
// for the events of that study, within the Monte-Carlo error.
func TestSearches(t *testing.T) {
	c := followed(600)
	o := plain(600)
	found, err := trials.RatioFor(0.8, 0.95, 0.1, func(ratio float64) trials.Source {
		return &trials.Next{Cohort: c, Patients: 600, Arms: []trials.NextArm{{1, 1}, {1, ratio}}}
	}, trials.LogRank(), o)
	if err != nil || found.Status != trials.Found {
		t.Fatal(found, err)
	}
	byFormula := dist.NormalLower(-math.Log(found.X)*math.Sqrt(found.Result.Events.Value/4) - 1.959963984540054)
	if math.Abs(byFormula-0.8) > 0.05 || !(found.Lower < found.X && found.X < found.Upper) {
		t.Errorf("ratio %.3f (%.3f to %.3f) with %.1f events: power %.3f by Schoenfeld", found.X, found.Lower, found.Upper, found.Result.Events.Value, byFormula)
	}
	size, err := trials.SizeFor(0.9, 50, 5000, func(n int) trials.Source {
		return &trials.Design{Patients: n, Arms: arms(trials.Constant(0.2/year), 0.5), Accrual: trials.Accrual{Days: days(year / 2), FollowUp: days(1.5 * year)}}
	}, trials.LogRank(), o)
	// Lachin & Foulkes: 395.41, here rounded up to 396.
	if err != nil || size.Status != trials.Found || size.Lower > 396 || size.Upper < 396 {
		t.Errorf("size %+v (%v), by Lachin and Foulkes 396", size, err)
	}
	never, err := trials.SizeFor(0.9, 10, 40, func(n int) trials.Source {
		return &trials.Design{Patients: n, Arms: arms(trials.Constant(0.2/year), 0.5), Accrual: trials.Accrual{FollowUp: 700}}
	}, trials.LogRank(), o)
	if err != nil || never.Status != trials.NeverEnough || never.X != 40 {
		t.Errorf("%+v (%v), want that 40 patients are never enough", never, err)
	}
}

func TestCurveRises(t *testing.T) {
	points, err := trials.Curve([]float64{100, 200, 400}, func(n float64) trials.Source {
		return &trials.Design{Patients: int(n), Arms: arms(trials.Constant(0.2/year), 0.5), Accrual: trials.Accrual{Days: 183, FollowUp: 548}}
	}, trials.LogRank(), plain(500))
	if err != nil || len(points) != 3 || !(points[0].Power.Value < points[1].Power.Value && points[1].Power.Value < points[2].Power.Value) {
		t.Errorf("%+v (%v)", points, err)
	}
}
