package mixed_test

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/mixed"
	"deltoid/stats/random"
)

var everyOption = []mixed.Options{
	{}, {Degrees: mixed.Satterthwaite, PatientIntercept: true}, {Covariance: mixed.CompoundSymmetric, PatientIntercept: true},
	{Covariance: mixed.Autoregressive}, {Covariance: mixed.SpatialPower}, {Covariance: mixed.Independent, SubjectIntercept: true, SubjectSlope: true},
}

// answers are numbers that must not depend on how the data are written down.
func answers(f *mixed.Fit, columns int) (out []mixed.Effect) {
	for j := range columns {
		out = append(out, f.Effect(j, 0.95))
	}
	return out
}

func alike(t *testing.T, what string, got, want []mixed.Effect, scale []float64) {
	t.Helper()
	for j := range want {
		near(t, fmt.Sprint(what, " estimate ", j), got[j].Estimate*scale[j], want[j].Estimate, 1e-6, 0.01)
		near(t, fmt.Sprint(what, " error ", j), got[j].SE*scale[j], want[j].SE, 1e-6, 0)
		near(t, fmt.Sprint(what, " degrees ", j), got[j].DF, want[j].DF, 1e-5, 0)
		near(t, fmt.Sprint(what, " p ", j), got[j].P, want[j].P, 1e-4, 1e-6)
	}
}

// Neither the order of rows nor the numbers given to shoulders and patients matter, nor the unit of the score or of a column, nor where a
// column begins.
func TestInvariances(t *testing.T) {
	d, columns := unbalanced(random.Stream(11, "invariance", 0), 40)
	r := random.Stream(11, "invariance orders", 0)
	n := len(d.Outcome)
	order := r.Perm(n)
	mixedUp := mixed.Data{Visits: d.Visits}
	other := make([]covariates.Column, len(columns))
	for j, c := range columns {
		other[j] = covariates.Column{Name: c.Name, Term: c.Term}
	}
	for _, i := range order {
		mixedUp.Outcome, mixedUp.Visit, mixedUp.Time = append(mixedUp.Outcome, d.Outcome[i]), append(mixedUp.Visit, d.Visit[i]), append(mixedUp.Time, d.Time[i])
		mixedUp.Subject, mixedUp.Patient = append(mixedUp.Subject, 1000-7*d.Subject[i]), append(mixedUp.Patient, 5*(d.Patient[i]^3))
		for j, c := range columns {
			other[j].Values = append(other[j].Values, c.Values[i])
		}
	}
	rescaled := d
	rescaled.Outcome = slices.Clone(d.Outcome)
	for i := range rescaled.Outcome {
		rescaled.Outcome[i] = 1e5 - 1e4*d.Outcome[i]
	}
	years := slices.Clone(columns)
	years[0].Values = slices.Clone(columns[0].Values)
	for i := range years[0].Values {
		years[0].Values[i] = 1e6 + columns[0].Values[i]*365.25
	}
	same := slices.Repeat([]float64{1}, len(columns))
	for _, o := range everyOption {
		f := must(t, d, columns, o)
		want := answers(f, len(columns))
		alike(t, o.Name()+", other order,", answers(must(t, mixedUp, other, o), len(columns)), want, same)
		g := must(t, rescaled, columns, o)
		scale := slices.Repeat([]float64{-1e-4}, len(columns))
		for j, e := range answers(g, len(columns)) {
			near(t, o.Name()+" other unit", e.Estimate*scale[j], want[j].Estimate, 1e-6, 0.01)
			near(t, o.Name()+" other unit, error", -e.SE*scale[j], want[j].SE, 1e-6, 0)
			near(t, o.Name()+" other unit, degrees", e.DF, want[j].DF, 1e-5, 0)
		}
		near(t, o.Name()+" likelihood in another unit", g.LogLikelihood+float64(n-len(f.Names))*math.Log(1e4), f.LogLikelihood, 1e-9, 0)
		alike(t, o.Name()+", column in days,", answers(must(t, d, years, o), len(columns)), want, []float64{365.25, 1, 1, 1})
	}
}

// The same bits on any number of processors.
func TestSameBitsOnAnyProcessors(t *testing.T) {
	s := followed(12, 3000, 3, true)
	for _, o := range []mixed.Options{{PatientIntercept: true}, {Covariance: mixed.SpatialPower}} {
		if o.Covariance == mixed.SpatialPower {
			r := random.Stream(12, "times", 0)
			for _, v := range s.Visit {
				s.Time = append(s.Time, float64(v)+math.Round(10*r.Float64())/20)
			}
		}
		many := trajectories(t, s, o)
		before := runtime.GOMAXPROCS(1)
		single := trajectories(t, s, o)
		runtime.GOMAXPROCS(3)
		three := trajectories(t, s, o)
		runtime.GOMAXPROCS(before)
		for _, other := range []*mixed.Trajectory{single, three} {
			if !slices.Equal(many.Fit.Coefficient, other.Fit.Coefficient) || !slices.Equal(many.Fit.Variance, other.Fit.Variance) || many.Fit.LogLikelihood != other.Fit.LogLikelihood {
				t.Errorf("%s: another number of processors gives other bits", o.Name())
			}
		}
	}
}
