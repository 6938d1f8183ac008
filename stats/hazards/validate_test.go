package hazards_test

import (
	"fmt"
	"math"
	"runtime"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/random"
	"deltoid/stats/references"
	"deltoid/stats/regression"
	"deltoid/stats/survival"
)

// Six rows by hand: events on days 1 and 3, censorings on 2 and on the day of the horizon, 4. Of five
// who could be censored on day 2 one was, so that those after it stand for 5/4 each.
func TestValidationByHand(t *testing.T) {
	d := hazards.Data{Exit: []int32{1, 2, 3, 4, 5, 6}, Cause: []uint8{1, 0, 1, 0, 0, 1}}
	risk := []float64{0.6, 0.5, 0.3, 0.3, 0.2, 0.4}
	v, err := hazards.Validate(d, 1, risk, 4, hazards.ValidationOptions{Groups: 1})
	if err != nil {
		t.Fatal(err)
	}
	if v.N != 6 || v.Events != 2 || v.Censored != 1 || v.Others != 0 {
		t.Errorf("%+v", v)
	}
	near(t, "Brier", v.Brier, (1*0.16+1.25*(0.49+0.09+0.04+0.16))/6, 1e-14)
	observed := 1 - (5./6)*(3./4)
	near(t, "observed", v.Observed.Value, observed, 1e-14)
	near(t, "expected", v.Expected, 2.3/6, 1e-14)
	null := (1*(1-observed)*(1-observed) + 1.25*((1-observed)*(1-observed)+3*observed*observed)) / 6
	near(t, "scaled Brier", v.Scaled, 1-v.Brier/null, 1e-13)
	// Controls weigh 5/4 each: the first case beats all three, the second one of them and ties with one.
	near(t, "AUC", v.AUC, (1*3*1.25+1.25*1.25*(1+0.5))/(2.25*3.75), 1e-14)
	if len(v.Groups) != 1 || v.Groups[0].N != 6 || v.Groups[0].Observed.Value != v.Observed.Value {
		t.Errorf("groups %+v", v.Groups)
	}
}

// Without censoring before the horizon a validation is one of chances. Brier score and area are those
// of the logistic reference (testdata/references, arthritis), and a model made on the same rows has
// intercept 0 and slope 1.
func TestValidationOfChances(t *testing.T) {
	f := references.Read(t, references.Folder+"/data/arthritis.csv")
	var want struct {
		Results struct {
			Brier float64
			C     float64 `json:"c_statistic"`
		}
	}
	references.Expected(t, "logistic_arthritis", &want)
	factors := map[string][]string{"Treatment": {"Placebo", "Treated"}, "Sex": {"Female", "Male"}}
	var x []covariates.Column
	for _, term := range []string{"Treatment", "Sex", "Age"} {
		x = append(x, columnsOf(t, f, term, factors)...)
	}
	y, d := make([]float64, len(f["Improved"])), hazards.Data{}
	for i, s := range f["Improved"] {
		exit, cause := int32(10), uint8(0)
		if s != "None" {
			y[i], exit, cause = 1, 1, 1
		}
		d.Exit, d.Cause = append(d.Exit, exit), append(d.Cause, cause)
	}
	fit, err := regression.Logistic(regression.Data{Outcome: y}, x, regression.Options{})
	if err != nil {
		t.Fatal(err)
	}
	risk, _ := fit.Fitted()
	v, err := hazards.Validate(d, 1, risk, 5, hazards.ValidationOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Brier", v.Brier, want.Results.Brier, 1e-10)
	near(t, "AUC", v.AUC, want.Results.C, 1e-12)
	near(t, "ratio", v.Ratio, 1, 1e-10)
	near(t, "intercept", v.Intercept.Estimate+1, 1, 1e-9)
	near(t, "slope", v.Slope.Estimate, 1, 1e-8)
}

// Predictions that are right: the truth is drawn from them, with censoring and another cause.
func TestValidationOfTheTruth(t *testing.T) {
	r := random.Stream(11, "validation of the truth", 0)
	const n = 20_000
	d := hazards.Data{Exit: make([]int32, n), Cause: make([]uint8, n)}
	risk, late := make([]float64, n), make([]float64, n)
	for i := range n {
		x := r.NormFloat64()
		rate, other := 1e-4*math.Exp(0.8*x), 5e-5
		own, another, end := r.ExpFloat64()/rate, r.ExpFloat64()/other, r.Float64()*6000
		d.Exit[i] = int32(min(own, another, end)) + 1
		if own < another && own < end {
			d.Cause[i] = 1
		} else if another < end {
			d.Cause[i] = 2
		}
		risk[i] = rate / (rate + other) * -math.Expm1(-(rate+other)*1826)
		late[i] = risk[i] / 2
	}
	v, err := hazards.Validate(d, 1, risk, 1826, hazards.ValidationOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if v.RatioLower > 1 || v.RatioUpper < 1 || v.Slope.Lower > 1 || v.Slope.Upper < 1 || v.Intercept.Lower > 0 || v.Intercept.Upper < 0 || v.ICI > 0.01 || v.Scaled < 0.05 {
		t.Errorf("ratio %v (%v to %v), slope %+v, intercept %+v, ICI %v, scaled %v", v.Ratio, v.RatioLower, v.RatioUpper, v.Slope, v.Intercept, v.ICI, v.Scaled)
	}
	for _, g := range v.Groups {
		if g.N != n/10 || math.Abs(g.Predicted-g.Observed.Value) > 4*g.Observed.SE {
			t.Errorf("group %+v", g)
		}
	}
	half, err := hazards.Validate(d, 1, late, 1826, hazards.ValidationOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(half.Ratio/v.Ratio-2) > 1e-9 || half.AUC != v.AUC || half.Brier <= v.Brier || half.ICI < 0.05 || half.Intercept.Lower < 0.5 {
		t.Errorf("half the risk: ratio %v, Brier %v, ICI %v, intercept %+v", half.Ratio, half.Brier, half.ICI, half.Intercept)
	}
}

func TestValidationRefusals(t *testing.T) {
	d, _ := plainRows(1, 50)
	good := ones(50)
	for i := range good {
		good[i] = float64(i) / 50
	}
	if v, err := hazards.Validate(d, 1, good, 1e6, hazards.ValidationOptions{}); err != nil || v.Status == covariates.Converged || v.Reason == "" {
		t.Error("a horizon after the last exit is accepted", err)
	}
	for name, call := range map[string]func() (*hazards.Validation, error){
		"risk above 1": func() (*hazards.Validation, error) {
			return hazards.Validate(d, 1, append(ones(49), 1.5), 50, hazards.ValidationOptions{})
		},
		"risk NaN": func() (*hazards.Validation, error) {
			return hazards.Validate(d, 1, append(ones(49), math.NaN()), 50, hazards.ValidationOptions{})
		},
		"too few risks": func() (*hazards.Validation, error) {
			return hazards.Validate(d, 1, good[:10], 50, hazards.ValidationOptions{})
		},
		"level 0.05": func() (*hazards.Validation, error) {
			return hazards.Validate(d, 1, good, 50, hazards.ValidationOptions{Level: 0.05})
		},
		"horizon 0": func() (*hazards.Validation, error) {
			return hazards.Validate(d, 1, good, 0, hazards.ValidationOptions{})
		},
	} {
		if _, err := call(); err == nil {
			t.Errorf("%s is accepted", name)
		}
	}
	none := d
	none.Cause = make([]uint8, 50)
	if v, err := hazards.Validate(none, 1, good, 50, hazards.ValidationOptions{}); err != nil || v.Status != covariates.NoEvents {
		t.Error(err)
	}
	// All risks alike: everything but the curve and the slope has an answer.
	same := make([]float64, 50)
	for i := range same {
		same[i] = 0.3
	}
	v, err := hazards.Validate(d, 1, same, 50, hazards.ValidationOptions{})
	if err != nil || math.Abs(v.AUC-0.5) > 1e-12 || v.CurveStatus == covariates.Converged || v.Slope.Status != covariates.Singular || v.Brier <= 0 {
		t.Error(err, v)
	}
}

// A model given by its coefficients predicts what the fit predicts.
func TestGivenModel(t *testing.T) {
	d, x := plainRows(2, 300)
	f := mustCox(t, d, x, hazards.Options{})
	want, err := f.Risks(100)
	if err != nil {
		t.Fatal(err)
	}
	p, _ := f.Predict([]hazards.Request{{Values: []float64{0.5, 1}}}, []float64{100}, 0.95, survival.LogLog)
	g := hazards.Given{Names: []string{"a", "b"}, Coefficients: f.Coefficient, Centres: []float64{0.5, 1}, Survival: p[0][0].Value}
	got, err := g.Risks(x)
	if err != nil {
		t.Fatal(err)
	}
	nearAll(t, "risk", got, want, 1e-11)
	other, err := f.RisksOf(x, nil, nil, 100)
	if err != nil {
		t.Fatal(err)
	}
	nearAll(t, "risk of other rows", other, want, 1e-15)
	if _, err := g.Risks([]covariates.Column{x[1], x[0]}); err == nil {
		t.Error("columns in another order are accepted")
	}
}

// Columns of noise look useful on the rows they were fitted to; what is left after correction is
// little. The result does not depend on the number of processors.
func TestOptimism(t *testing.T) {
	r := random.Stream(3, "optimism", 0)
	d, _ := plainRows(3, 150)
	var x []covariates.Column
	for j := range 8 {
		c := covariates.Column{Name: fmt.Sprint("noise ", j), Values: make([]float64, 150)}
		for i := range c.Values {
			c.Values[i] = r.NormFloat64()
		}
		x = append(x, c)
	}
	d.Cluster = make([]int32, 150)
	for i := range d.Cluster {
		d.Cluster[i] = int32(i * 2 / 3)
	}
	f := mustCox(t, d, x, hazards.Options{})
	var first *hazards.Optimism
	for _, workers := range []int{1, 3} {
		before := runtime.GOMAXPROCS(workers)
		o, err := f.Optimism(100, 60, 42)
		runtime.GOMAXPROCS(before)
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = o
		}
		if *o != *first {
			t.Errorf("%d processors give %+v, want %+v", workers, o, first)
		}
	}
	c, _ := f.Concordance()
	near(t, "apparent concordance", first.Apparent.Concordance, c.C, 1e-12)
	near(t, "apparent slope", first.Apparent.Slope, 1, 1e-12)
	if first.Optimism.Concordance < 0.02 || first.Corrected.Slope > 0.8 || first.Corrected.Scaled > first.Apparent.Scaled || first.Corrected.AUC > first.Apparent.AUC {
		t.Errorf("%+v", first)
	}
}

// 200 samples of 20,000 rows and 10 columns.
func BenchmarkOptimism(b *testing.B) {
	d, x := registry(20_000)
	d.Cluster = nil
	f := mustCox(b, d, x[:10], hazards.Options{})
	for b.Loop() {
		if _, err := f.Optimism(1826, 200, 1); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkValidate(b *testing.B) {
	d, x := registry(1_000_000)
	f := mustCox(b, d, x[:10], hazards.Options{})
	risk, err := f.Risks(1826)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := hazards.Validate(d, 1, risk, 1826, hazards.ValidationOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
