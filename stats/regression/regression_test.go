package regression_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/random"
	"deltoid/stats/references"
	"deltoid/stats/regression"
)

// See testdata/references/README.md for the programs, versions and scripts behind these numbers.

func number(t testing.TB, name string, texts []string) covariates.Column {
	t.Helper()
	out := make([]float64, len(texts))
	for i, s := range texts {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatalf("%s, row %d: %v", name, i, err)
		}
		out[i] = x
	}
	return covariates.Column{Name: name, Values: out}
}

// is makes the column of a level.
func is(term, level string, texts []string) covariates.Column {
	out := make([]float64, len(texts))
	for i, s := range texts {
		if s == level {
			out[i] = 1
		}
	}
	return covariates.Column{Name: term + level, Term: term, Values: out}
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Max(math.Abs(want), 1e-3)) {
		t.Errorf("%s = %.17g, want %.17g", what, got, want)
	}
}

type model func(regression.Data, []covariates.Column, regression.Options) (*regression.Fit, error)

func must(t testing.TB, m model, d regression.Data, x []covariates.Column, o regression.Options) *regression.Fit {
	t.Helper()
	f, err := m(d, x, o)
	if err != nil {
		t.Fatal(err)
	}
	if f.Status != covariates.Converged {
		t.Fatal(f.Status, f.Reason)
	}
	return f
}

type reference struct {
	Results struct {
		N                int
		Events           int `json:"n_event"`
		Coef, SE, P      []float64
		Lower            []float64 `json:"wald_lower"`
		Upper            []float64 `json:"wald_upper"`
		ProfileLower     []float64 `json:"profile_lower_log_odds"`
		ProfileUpper     []float64 `json:"profile_upper_log_odds"`
		VCov             [][]float64
		Deviance, LogLik float64
		LR               float64   `json:"lr_chisq"`
		LRP              float64   `json:"lr_p"`
		Fitted           []float64 `json:"fitted_first_10"`
		Firth            struct{ Coef, SE []float64 }
	}
}

func expected(t *testing.T, id string) (r reference) {
	t.Helper()
	references.Expected(t, id, &r)
	return r
}

func TestLogisticAgainstReferences(t *testing.T) {
	b := references.Data(t, "birthwt.csv")
	births := []covariates.Column{number(t, "age", b["age"]), number(t, "lwt", b["lwt"]), is("race", "2", b["race"]), is("race", "3", b["race"]),
		number(t, "smoke", b["smoke"]), number(t, "ht", b["ht"]), number(t, "ui", b["ui"])}
	checkLogistic(t, expected(t, "logistic_birthwt"), number(t, "low", b["low"]).Values, births)
	a := references.Data(t, "arthritis.csv")
	better := is("", "None", a["Improved"]).Values
	for i := range better {
		better[i] = 1 - better[i]
	}
	checkLogistic(t, expected(t, "logistic_arthritis"), better,
		[]covariates.Column{is("Treatment", "Treated", a["Treatment"]), is("Sex", "Male", a["Sex"]), number(t, "Age", a["Age"])})
}

// checkLogistic compares; the reference has its constant first. Its profile limits are interpolated,
// good to 1e-4.
func checkLogistic(t *testing.T, want reference, y []float64, x []covariates.Column) {
	t.Helper()
	r, p := want.Results, len(x)+1
	f := must(t, regression.Logistic, regression.Data{Outcome: y}, x, regression.Options{})
	if f.N != r.N || f.Events != r.Events {
		t.Errorf("%d rows, %d events", f.N, f.Events)
	}
	for j := range p {
		at := (j + 1) % p
		e := f.Effect(j, 0.95)
		near(t, e.Name, e.Estimate, r.Coef[at], 1e-9)
		// The reference takes its variance from the last step but one: 1e-7.
		near(t, e.Name+" SE", e.SE, r.SE[at], 1e-7)
		near(t, e.Name+" p", e.P, r.P[at], 1e-6)
		_, lower, upper := e.Ratio()
		near(t, e.Name+" lower", lower, r.Lower[at], 1e-6)
		near(t, e.Name+" upper", upper, r.Upper[at], 1e-6)
		for k := range p {
			size := r.SE[at] * r.SE[(k+1)%p]
			near(t, "covariance", (f.Model[j*p+k]-r.VCov[at][(k+1)%p])/size+1, 1, 5e-7)
		}
		if j < len(x) {
			profile := f.Profile(j, 0.95)
			near(t, e.Name+" profile lower", profile.Lower-r.ProfileLower[at]+1, 1, 1e-3)
			near(t, e.Name+" profile upper", profile.Upper-r.ProfileUpper[at]+1, 1, 1e-3)
		}
	}
	near(t, "log-likelihood", f.LogLikelihood, r.LogLik, 1e-12)
	near(t, "likelihood ratio", f.LikelihoodRatio().ChiSquare, r.LR, 1e-10)
	near(t, "p", f.LikelihoodRatio().P, r.LRP, 1e-8)
	fitted, _ := f.Fitted()
	for i, v := range r.Fitted {
		near(t, "fitted", fitted[i], v, 1e-9)
	}
}

// Quasi-complete separation: refused, named, and answered by the penalised likelihood (brglm2).
func TestLogisticSeparationAgainstReference(t *testing.T) {
	f := references.Data(t, "edge_separation.csv")
	y, id := number(t, "status", f["status"]).Values, number(t, "id", f["id"]).Values
	z := make([]float64, len(y))
	for i := range z {
		if id[i] <= 10 && y[i] == 1 {
			z[i] = 1
		}
	}
	d, x := regression.Data{Outcome: y}, []covariates.Column{{Name: "z", Values: z}}
	fit, err := regression.Logistic(d, x, regression.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if fit.Status != covariates.Separated || !slices.Contains(fit.AtFault, "z") || !strings.Contains(fit.Reason, "z = 1 have the event") {
		t.Error(fit.Status, fit.AtFault, fit.Reason)
	}
	want := expected(t, "logistic_separation").Results.Firth
	firth := must(t, regression.Logistic, d, x, regression.Options{Penalised: true})
	for j := range 2 {
		near(t, "penalised coefficient", firth.Coefficient[j], want.Coef[1-j], 1e-6)
		near(t, "penalised standard error", firth.Effect(j, 0.95).SE, want.SE[1-j], 1e-6)
	}
}

// Coronary deaths of British doctors (Breslow & Day, Statistical Methods in Cancer Research II
// (1987), table 2.10). Rate ratios and log-likelihood from memory of a widely printed analysis
// of these data; the log-likelihood holds the log factorials.
func TestPoissonOfBritishDoctors(t *testing.T) {
	f := references.Data(t, "breslow_rates.csv")
	years := number(t, "person_years", f["person_years"]).Values
	offset := make([]float64, len(years))
	for i, y := range years {
		offset[i] = math.Log(y)
	}
	x := []covariates.Column{number(t, "smoke", f["smoke"])}
	for _, age := range []string{"50", "60", "70", "80"} {
		x = append(x, is("age", age, f["age"]))
	}
	d := regression.Data{Outcome: number(t, "deaths", f["deaths"]).Values, Offset: offset}
	fit := must(t, regression.Poisson, d, x, regression.Options{})
	ratio, lower, upper := fit.Effect(0, 0.95).Ratio()
	for i, want := range []struct{ got, want float64 }{{ratio, 1.425519}, {lower, 1.154984}, {upper, 1.759421}, {math.Exp(fit.Coefficient[1]), 4.410584},
		{math.Exp(fit.Coefficient[2]), 13.8392}, {math.Exp(fit.Coefficient[3]), 28.51678}, {math.Exp(fit.Coefficient[4]), 40.45121}, {fit.LogLikelihood, -33.600153}} {
		near(t, fmt.Sprint("figure ", i), want.got, want.want, 2e-6)
	}
	if fit.Events != 731 {
		t.Errorf("%d deaths", fit.Events)
	}
	// Equations of the likelihood: observed and fitted deaths agree in every age and among smokers.
	fitted, _ := fit.Fitted()
	for _, c := range x {
		gap := 0.0
		for i, v := range c.Values {
			gap += v * (d.Outcome[i] - fitted[i])
		}
		near(t, c.Name, gap+1, 1, 1e-9)
	}
}

// randomRows draws small sets with weights, offsets and clusters in turn.
func randomRows(r *rand.Rand, turn int, counts bool) (regression.Data, []covariates.Column) {
	n := 20 + r.IntN(40)
	d := regression.Data{Outcome: make([]float64, n)}
	x := []covariates.Column{{Name: "a", Values: make([]float64, n)}, {Name: "b", Values: make([]float64, n)}}
	if turn&1 > 0 {
		d.Weight = make([]float64, n)
	}
	if turn&2 > 0 {
		d.Offset = make([]float64, n)
	}
	if turn&4 > 0 {
		d.Cluster = make([]int32, n)
	}
	for i := range n {
		x[0].Values[i], x[1].Values[i] = 50+10*r.NormFloat64(), float64(r.IntN(2))
		d.Outcome[i] = float64(r.IntN(2))
		if counts {
			d.Outcome[i] = float64(r.IntN(4))
		}
		if d.Weight != nil {
			d.Weight[i] = float64(r.IntN(4)) / 2
		}
		if d.Offset != nil {
			d.Offset[i] = r.NormFloat64()
		}
		if d.Cluster != nil {
			d.Cluster[i] = r.Int32N(9)
		}
	}
	return d, x
}

// twin is a model as it is defined, row by row.
type twin struct {
	counts bool
	d      regression.Data
	x      []covariates.Column
}

func (w *twin) all(beta []float64) (value float64, u, info []float64, scores map[int32][]float64) {
	p := len(w.x) + 1
	u, info, scores = make([]float64, p), make([]float64, p*p), map[int32][]float64{}
	for i, y := range w.d.Outcome {
		weight, eta, z := 1.0, beta[p-1], make([]float64, p)
		z[p-1] = 1
		if w.d.Weight != nil {
			weight = w.d.Weight[i]
		}
		if w.d.Offset != nil {
			eta += w.d.Offset[i]
		}
		for j, c := range w.x {
			z[j] = c.Values[i]
			eta += beta[j] * z[j]
		}
		mean := 1 / (1 + math.Exp(-eta))
		variance, part := mean*(1-mean), y*eta-math.Log1p(math.Exp(eta))
		if w.counts {
			mean = math.Exp(eta)
			g, _ := math.Lgamma(y + 1)
			variance, part = mean, y*eta-mean-g
		}
		value += weight * part
		g := int32(i)
		if w.d.Cluster != nil {
			g = w.d.Cluster[i]
		}
		if scores[g] == nil {
			scores[g] = make([]float64, p)
		}
		for j := range p {
			u[j] += weight * (y - mean) * z[j]
			scores[g][j] += weight * (y - mean) * z[j]
			for k := range p {
				info[j*p+k] += weight * variance * z[j] * z[k]
			}
		}
	}
	return value, u, info, scores
}

func TestModelsAgainstTheTwin(t *testing.T) {
	fitted := 0
	for seed := range uint64(600) {
		w, m := twin{counts: seed&8 > 0}, regression.Logistic
		if w.counts {
			m = regression.Poisson
		}
		w.d, w.x = randomRows(random.Stream(seed, "regression twin", 0), int(seed), w.counts)
		f, err := m(w.d, w.x, regression.Options{Robust: true})
		if err != nil {
			t.Fatal(seed, err)
		}
		if f.Status != covariates.Converged {
			continue
		}
		fitted++
		value, u, info, scores := w.all(f.Coefficient)
		near(t, "log-likelihood", f.LogLikelihood, value, 1e-11)
		factor, bad := covariates.Factorise(info, 3, nil)
		if bad >= 0 {
			t.Fatal("the twin is singular")
		}
		if math.Abs(factor.Form(u)) > 1e-14 {
			t.Fatalf("seed %d: slope %v at the estimate", seed, u)
		}
		inverse, meat := factor.Inverse(), make([]float64, 9)
		for _, s := range scores {
			for j := range 3 {
				for k := range 3 {
					meat[j*3+k] += s[j] * s[k]
				}
			}
		}
		for i, v := range covariates.Sandwich(inverse, meat, 3) {
			near(t, "covariance", f.Model[i], inverse[i], 1e-7)
			near(t, "robust covariance", f.Robust[i], v, 1e-6)
		}
	}
	if fitted < 500 {
		t.Errorf("only %d of 600 sets have estimates", fitted)
	}
}

// The penalised likelihood by its definition: flat at the estimate.
func TestPenalisedAgainstTheTwin(t *testing.T) {
	for seed := range uint64(200) {
		w, m := twin{counts: seed&4 > 0}, regression.Logistic
		if w.counts {
			m = regression.Poisson
		}
		w.d, w.x = randomRows(random.Stream(seed, "penalised twin", 0), int(seed)&3, w.counts)
		f := must(t, m, w.d, w.x, regression.Options{Penalised: true})
		value := func(beta []float64) float64 {
			v, _, info, _ := w.all(beta)
			factor, _ := covariates.Factorise(info, 3, nil)
			return v + factor.LogDeterminant()/2
		}
		best := value(f.Coefficient)
		for j := range 3 {
			h := 1e-3 * f.Effect(j, 0.95).SE
			up, down := slices.Clone(f.Coefficient), slices.Clone(f.Coefficient)
			up[j], down[j] = up[j]+h, down[j]-h
			a, b := value(up), value(down)
			if slope := (a - b) / 2e-3; math.Abs(slope) > 1e-4 || a > best+1e-9 || b > best+1e-9 {
				t.Fatalf("seed %d: slope %v along coefficient %d", seed, slope, j)
			}
		}
	}
}

func ones(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 1
	}
	return out
}

// Copies of every row in its own cluster leave the clustered variance alone; another order of the
// rows and other units change nothing; nor does the number of processors, to the last bit.
func TestInvariances(t *testing.T) {
	for i, m := range []model{regression.Logistic, regression.Poisson} {
		d, x := randomRows(random.Stream(5, "regression invariances", 0), 3, i == 1)
		d.Weight = nil
		want := must(t, m, d, x, regression.Options{Robust: true})
		var many regression.Data
		y := []covariates.Column{{Name: "a"}, {Name: "b"}}
		for _, at := range random.Stream(6, "regression invariances", 0).Perm(3 * len(d.Outcome)) {
			row := at / 3
			many.Outcome, many.Offset, many.Cluster = append(many.Outcome, d.Outcome[row]), append(many.Offset, d.Offset[row]), append(many.Cluster, int32(row))
			y[0].Values, y[1].Values = append(y[0].Values, 1000-7*x[0].Values[row]), append(y[1].Values, x[1].Values[row])
		}
		got := must(t, m, many, y, regression.Options{})
		near(t, "a", got.Coefficient[0]*-7, want.Coefficient[0], 1e-8)
		near(t, "b", got.Coefficient[1], want.Coefficient[1], 1e-8)
		for j, scale := range []float64{7, 1} {
			near(t, "clustered standard error", got.Effect(j, 0.95).SE*scale, want.Effect(j, 0.95).SE, 1e-10)
		}
		d, x = large(40_000)
		var first []float64
		for _, workers := range []int{1, 2, 7} {
			before := runtime.GOMAXPROCS(workers)
			f := must(t, m, d, x, regression.Options{Robust: true})
			runtime.GOMAXPROCS(before)
			if first == nil {
				first = append(slices.Clone(f.Coefficient), f.Robust...)
			}
			if !slices.Equal(first, append(slices.Clone(f.Coefficient), f.Robust...)) {
				t.Errorf("%d processors give other numbers", workers)
			}
		}
	}
}

func large(n int) (regression.Data, []covariates.Column) {
	r := random.Stream(7, "regression benchmark", 0)
	d := regression.Data{Outcome: make([]float64, n)}
	x := make([]covariates.Column, 16)
	for j := range x {
		x[j] = covariates.Column{Name: fmt.Sprint("x", j), Values: make([]float64, n)}
	}
	for i := range n {
		eta := -1.5
		for j := range x {
			if x[j].Values[i] = r.NormFloat64(); j > 2 {
				x[j].Values[i] = float64(r.IntN(2))
			}
			eta += 0.1 * float64(j%3) * x[j].Values[i]
		}
		if r.Float64() < 1/(1+math.Exp(-eta)) {
			d.Outcome[i] = 1
		}
	}
	return d, x
}

// 16 coefficients and the constant.
func BenchmarkLogistic(b *testing.B) {
	for _, n := range []int{100_000, 1_000_000} {
		d, x := large(n)
		b.Run(fmt.Sprint("rows=", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				must(b, regression.Logistic, d, x, regression.Options{})
			}
		})
	}
}
