package mixed_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/mixed"
	"deltoid/stats/references"
)

// near asks for a relative error of at most tolerance, counting from the size that the number should have at least.
func near(t testing.TB, what string, got, want, tolerance, size float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Max(math.Abs(want), size)) {
		t.Errorf("%s = %.15g, want %.15g", what, got, want)
	}
}

func must(t testing.TB, d mixed.Data, columns []covariates.Column, o mixed.Options) *mixed.Fit {
	t.Helper()
	f, err := mixed.Estimate(d, columns, o)
	if err != nil {
		t.Fatal(err)
	}
	if f.Status != mixed.Converged {
		t.Fatalf("%v: %s", f.Status, f.Reason)
	}
	return f
}

// direct is a result of an independent maximisation in R, by the marginal likelihood block after block (mm_exact in
// testdata/references/scripts/lib2.R), which stands beside those of nlme 3.1-162.
type direct struct {
	Coef          []float64
	SE            []float64 `json:"se_model_based"`
	VCov          [][]float64
	LogLik        float64
	Residual      float64     `json:"residual_variance"`
	Between       float64     `json:"between_variance"`
	Random        [][]float64 `json:"random_covariance"`
	Covariance    [][]float64
	Sigma, Rho    float64
	Method, Names string
}

type mixedCase struct {
	Results struct {
		Direct map[string]direct
	}
}

// check compares all that both have. Tolerances are those that the reference states for itself.
func check(t *testing.T, what string, f *mixed.Fit, want direct) {
	t.Helper()
	p := len(want.Coef)
	if len(f.Names) != p {
		t.Fatalf("%s: %d coefficients, want %d", what, len(f.Names), p)
	}
	at := func(j int) int { return (j + p - 1) % p } // R puts the constant first
	for j := range p {
		near(t, fmt.Sprint(what, " coefficient ", f.Names[at(j)]), f.Coefficient[at(j)], want.Coef[j], 1e-6, 0.01)
		near(t, fmt.Sprint(what, " its error"), math.Sqrt(f.Model[at(j)*(p+1)]), want.SE[j], 1e-5, 0)
		for k := range p {
			near(t, fmt.Sprint(what, " covariance"), f.Model[at(j)*p+at(k)], want.VCov[j][k], 2e-5, 0.01)
		}
	}
	near(t, what+" log-likelihood", f.LogLikelihood, want.LogLik, 1e-8, 0)
	k := len(f.Visits)
	for a, row := range want.Covariance {
		for b, x := range row {
			near(t, fmt.Sprint(what, " visits ", a, b), f.Covariance[a*k+b], x, 1e-5, 0)
		}
	}
}

// parameters compares parameters of the covariance with a tolerance of 1e-5, as the reference states.
func parameters(t *testing.T, what string, f *mixed.Fit, want ...float64) {
	t.Helper()
	if len(f.Parameters) != len(want) {
		t.Fatalf("%s has %d parameters, want %d", what, len(f.Parameters), len(want))
	}
	for i, p := range f.Parameters {
		near(t, what+" "+p.Name, p.Estimate, want[i], 1e-5, 0)
	}
}

// visitColumns are the levels of the visits after the first, in R's order.
func visitColumns(visit []int32, names []string) (out []covariates.Column) {
	for v := 1; v < len(names); v++ {
		c := covariates.Column{Name: names[v], Term: "visit", Values: make([]float64, len(visit))}
		for i, x := range visit {
			if int(x) == v {
				c.Values[i] = 1
			}
		}
		out = append(out, c)
	}
	return out
}

func timesColumn(a, b covariates.Column, term string) covariates.Column {
	c := covariates.Column{Name: a.Name + " × " + b.Name, Term: term, Values: slices.Clone(a.Values)}
	for i := range c.Values {
		c.Values[i] *= b.Values[i]
	}
	return c
}

func orthodont(t testing.TB, file string) (d mixed.Data, sex, age covariates.Column) {
	frame := references.Data(t, file)
	d.Outcome = frame.Numbers(t, "distance")
	d.Subject, _ = frame.Codes("Subject")
	age = covariates.Column{Name: "age", Values: frame.Numbers(t, "age")}
	sex = covariates.Column{Name: "female", Values: make([]float64, len(d.Outcome))}
	for i, s := range frame["Sex"] {
		if s == "Female" {
			sex.Values[i] = 1
		}
		d.Visit = append(d.Visit, int32(age.Values[i]-8)/2)
	}
	d.Visits = []string{"8 years", "10 years", "12 years", "14 years"}
	return d, sex, age
}

// Source: testdata/references/expected/lmm_orthodont.json.
func TestOrthodont(t *testing.T) {
	var r mixedCase
	references.Expected(t, "lmm_orthodont", &r)
	d, sex, age := orthodont(t, "orthodont.csv")
	line := []covariates.Column{age, sex, timesColumn(age, sex, "")}
	profile := append(visitColumns(d.Visit, d.Visits), sex)
	for v := range 3 {
		profile = append(profile, timesColumn(profile[v], sex, "visit × sex"))
	}
	intercept := mixed.Options{Covariance: mixed.Independent, SubjectIntercept: true, Degrees: mixed.Satterthwaite}
	ml := intercept
	ml.Likelihood = true
	for name, o := range map[string]mixed.Options{"ri_reml": intercept, "ri_ml": ml} {
		f, want := must(t, d, line, o), r.Results.Direct[name]
		check(t, name, f, want)
		parameters(t, name, f, want.Residual, want.Between)
		o.SubjectIntercept, o.Covariance = false, mixed.CompoundSymmetric
		f = must(t, d, line, o)
		check(t, name+" as compound symmetric", f, want)
		parameters(t, name+" as compound symmetric", f, want.Between, want.Residual)
	}
	slopes := mixed.Options{Covariance: mixed.Independent, SubjectIntercept: true, SubjectSlope: true}
	timed := d
	timed.Time = age.Values
	want := r.Results.Direct["rs_reml"]
	f := must(t, timed, line, slopes)
	check(t, "rs_reml", f, want)
	parameters(t, "rs_reml", f, want.Residual, want.Random[0][0], want.Random[0][1], want.Random[1][1])
	for name, o := range map[string]mixed.Options{"un_reml": {}, "un_ml": {Likelihood: true, Degrees: mixed.Satterthwaite},
		"ar1_reml": {Covariance: mixed.Autoregressive}, "cs_reml": {Covariance: mixed.CompoundSymmetric}} {
		want := r.Results.Direct[name]
		f := must(t, d, profile, o)
		check(t, name, f, want)
		switch name {
		case "ar1_reml":
			parameters(t, name, f, want.Sigma*want.Sigma, want.Rho)
			timed := o
			timed.Covariance = mixed.SpatialPower
			years := d
			years.Time = age.Values
			f := must(t, years, profile, timed)
			check(t, name+" by time", f, want)
			parameters(t, name+" by time", f, want.Sigma*want.Sigma, math.Sqrt(want.Rho)) // visits are two years apart
		case "cs_reml":
			parameters(t, name, f, want.Between, want.Residual)
		}
	}
}

// Source: testdata/references/expected/lmm_orthodont_dropout.json; visits are missing after a dropout.
func TestOrthodontWithDropout(t *testing.T) {
	var r mixedCase
	references.Expected(t, "lmm_orthodont_dropout", &r)
	d, sex, _ := orthodont(t, "orthodont_dropout.csv")
	columns := append(visitColumns(d.Visit, d.Visits), sex)
	for name, o := range map[string]mixed.Options{"un_reml": {}, "un_ml": {Likelihood: true, Degrees: mixed.Satterthwaite},
		"ar1_reml": {Covariance: mixed.Autoregressive}, "ri_reml": {Covariance: mixed.Independent, SubjectIntercept: true}} {
		check(t, name, must(t, d, columns, o), r.Results.Direct[name])
	}
}

// Source: testdata/references/expected/lmm_sleepstudy.json. The data are balanced, and then the days' slope has 17 degrees of freedom, one
// fewer than subjects, by either method, where each subject has a slope of its own; with an intercept alone it has 180 − 18 − 1.
func TestSleepStudy(t *testing.T) {
	var r mixedCase
	references.Expected(t, "lmm_sleepstudy", &r)
	frame := references.Data(t, "sleepstudy.csv")
	days := covariates.Column{Name: "days", Values: frame.Numbers(t, "Days")}
	d := mixed.Data{Outcome: frame.Numbers(t, "Reaction"), Time: days.Values}
	d.Subject, _ = frame.Codes("Subject")
	for _, x := range days.Values {
		d.Visit = append(d.Visit, int32(x))
	}
	for v := range 10 {
		d.Visits = append(d.Visits, fmt.Sprint("day ", v))
	}
	for _, degrees := range []mixed.Degrees{mixed.KenwardRoger, mixed.Satterthwaite} {
		for name, o := range map[string]mixed.Options{"ri_reml": {Covariance: mixed.Independent, SubjectIntercept: true},
			"rs_reml": {Covariance: mixed.Independent, SubjectIntercept: true, SubjectSlope: true}, "ar1_reml": {Covariance: mixed.Autoregressive}} {
			o.Degrees = degrees
			want := r.Results.Direct[name]
			f := must(t, d, []covariates.Column{days}, o)
			check(t, name, f, want)
			e := f.Effect(0, 0.95)
			switch name {
			case "rs_reml":
				near(t, name+" degrees", e.DF, 17, 1e-7, 0)
				near(t, name+" error", e.SE, want.SE[1], 1e-6, 0)
				parameters(t, name, f, want.Residual, want.Random[0][0], want.Random[0][1], want.Random[1][1])
			case "ri_reml":
				near(t, name+" degrees", e.DF, 161, 1e-7, 0)
				near(t, name+" error", e.SE, want.SE[1], 1e-6, 0)
			}
		}
	}
}
