package hazards_test

import (
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/references"
	"deltoid/stats/survival"
)

type chiSquare struct {
	ChiSq references.Column
	DF    references.Column
	P     references.Column
	Term  []string
	Error []string
}

type coxResult struct {
	N           int
	Events      int      `json:"n_event"`
	Names       []string `json:"coef_names"`
	Coef        references.Column
	SE          references.Column
	NaiveSE     references.Column `json:"naive_se"`
	Robust      bool              `json:"se_is_robust"`
	Lower       references.Column `json:"hr_lower"`
	Upper       references.Column `json:"hr_upper"`
	P           references.Column
	VCov        []references.Column
	Null        float64                     `json:"loglik_null"`
	LogLik      float64                     `json:"loglik"`
	LR          chiSquare                   `json:"lr_test"`
	Wald        chiSquare                   `json:"wald_test"`
	Score       chiSquare                   `json:"score_test"`
	RobustScore *struct{ ChiSq, P float64 } `json:"robust_score_test"`

	Concordance struct {
		C, SE  float64
		Counts map[string]float64
		Uno    *float64 `json:"uno_n_over_G2"`
	}
	ZPH      map[string]chiSquare
	Baseline struct {
		Time      references.Column
		ByStratum map[string]references.Column `json:"by_stratum"`
	} `json:"baseline_cumhaz_at_zero_covariates"`
	Predicted []struct {
		NewData            map[string]any
		Time, Surv, CumHaz references.Column
		SE                 references.Column `json:"std_err"`
		LogLower           references.Column `json:"log_lower"`
		LogUpper           references.Column `json:"log_upper"`
		LogLogLower        references.Column `json:"loglog_lower"`
		LogLogUpper        references.Column `json:"loglog_upper"`
		PlainLower         references.Column `json:"plain_lower"`
		PlainUpper         references.Column `json:"plain_upper"`
	}
	Residuals struct {
		Martingale, Deviance references.Column
		DFBeta               []references.Column
	} `json:"residuals_first_rows"`
	SumSquares float64 `json:"sum_martingale_squared"`
}

type coxCase struct {
	Data  string
	Input struct {
		Formula, Weights, Cluster, Subset string
		Factors                           map[string][]string
	}
	Results map[string]coxResult
	strata  []string
}

// frame reads the rows that the reference used: those of its subset that miss nothing.
func (c *coxCase) frame(t *testing.T) references.Frame {
	f := references.Data(t, c.Data)
	left, right, _ := strings.Cut(c.Input.Formula, "~")
	used := append(strings.FieldsFunc(left[5:], isComma), strings.FieldsFunc(right, isComma)...)
	if c.Input.Cluster != "" {
		used = append(used, c.Input.Cluster)
	}
	return f.Where(func(i int) bool {
		for _, name := range used {
			if column, known := f[name]; known && column[i] == "" {
				return false
			}
		}
		if c.Input.Subset == "exit > entry" {
			e, _ := strconv.ParseFloat(f["entry"][i], 64)
			x, _ := strconv.ParseFloat(f["exit"][i], 64)
			return x > e
		}
		return true
	})
}

func isComma(r rune) bool { return strings.ContainsRune(" ,()+*~", r) }

func (c *coxCase) data(t *testing.T, f references.Frame) (hazards.Data, []covariates.Column) {
	left, right, _ := strings.Cut(c.Input.Formula, "~")
	outcome := strings.FieldsFunc(left[5:], isComma)
	var d hazards.Data
	if len(outcome) == 3 {
		d = ranked(t, numbers(t, f, outcome[0]), numbers(t, f, outcome[1]))
	} else {
		d = ranked(t, nil, numbers(t, f, outcome[0]))
	}
	d.Cause = isEvent(numbers(t, f, outcome[len(outcome)-1]))
	var columns []covariates.Column
	for _, term := range strings.Split(strings.ReplaceAll(right, " ", ""), "+") {
		if name, ok := strings.CutPrefix(term, "strata("); ok {
			d.Stratum, c.strata = f.Codes(strings.TrimSuffix(name, ")"))
			continue
		}
		columns = append(columns, columnsOf(t, f, term, c.Input.Factors)...)
	}
	if c.Input.Weights != "" {
		d.Weight = numbers(t, f, c.Input.Weights)
	}
	if c.Input.Cluster != "" {
		d.Cluster, _ = f.Codes(c.Input.Cluster)
	}
	return d, columns
}

// All Cox cases of the reference results, by both methods of ties. Coefficients and standard
// errors agree to 1e-9; the reference's iteration is run to 1e-14.
func TestCoxAgainstReferences(t *testing.T) {
	paths, _ := filepath.Glob(references.Folder + "/expected/cox_*.json")
	if len(paths) < 15 {
		t.Fatalf("%d reference cases found", len(paths))
	}
	for _, path := range paths {
		id := strings.TrimSuffix(filepath.Base(path), ".json")
		if id == "cox_edge_separation" {
			continue // has a test of its own
		}
		t.Run(id, func(t *testing.T) {
			var c coxCase
			references.Expected(t, id, &c)
			f := c.frame(t)
			d, columns := c.data(t, f)
			for name, ties := range map[string]hazards.Ties{"efron": hazards.Efron, "breslow": hazards.Breslow} {
				t.Run(name, func(t *testing.T) {
					want := c.Results[name]
					fit := mustCox(t, d, columns, hazards.Options{Ties: ties, Robust: want.Robust})
					checkFit(t, fit, want)
					checkDiagnostics(t, d, fit, want)
					c.checkBaseline(t, fit, want)
					c.checkPredictions(t, fit, want)
				})
			}
		})
	}
}

func checkFit(t *testing.T, fit *hazards.Fit, want coxResult) {
	if fit.N != want.N || fit.Events != want.Events {
		t.Errorf("%d rows and %d events, want %d and %d", fit.N, fit.Events, want.N, want.Events)
	}
	for j := range want.Coef {
		// A coefficient near 0 is as good as its standard error lets it be.
		near(t, "coefficient", fit.Coefficient[j]-want.Coef[j]+want.SE[j], want.SE[j], 1e-9)
		e := fit.Effect(j, 0.95)
		near(t, "standard error", e.SE, want.SE[j], 1e-9)
		_, lower, upper := e.Ratio()
		near(t, "lower", lower, want.Lower[j], 1e-9)
		near(t, "upper", upper, want.Upper[j], 1e-9)
		near(t, "p", e.P, want.P[j], 1e-7)
		if want.Robust {
			near(t, "model-based standard error", math.Sqrt(fit.Model[j*len(want.Coef)+j]), want.NaiveSE[j], 1e-9)
		}
		for k := range want.Coef {
			near(t, "covariance", fit.Variance()[j*len(want.Coef)+k], want.VCov[j][k], 1e-8)
		}
	}
	near(t, "log-likelihood at 0", fit.NullLogLikelihood, want.Null, 1e-12)
	near(t, "log-likelihood", fit.LogLikelihood, want.LogLik, 1e-12)
	checkTest(t, fit.LikelihoodRatio(), want.LR, 0)
	checkTest(t, fit.Wald(), want.Wald, 0)
	checkTest(t, fit.Score(), want.Score, 0)
}

func checkTest(t *testing.T, got covariates.Test, want chiSquare, at int) {
	t.Helper()
	near(t, got.Name, got.ChiSquare, want.ChiSq[at], 2e-8)
	near(t, got.Name+" p", got.P, want.P[at], 1e-6)
	if float64(got.DF) != want.DF[at] {
		t.Errorf("%s: %d degrees of freedom, want %v", got.Name, got.DF, want.DF[at])
	}
}

func checkDiagnostics(t *testing.T, d hazards.Data, fit *hazards.Fit, want coxResult) {
	for name, scale := range map[string]hazards.TimeScale{"km": hazards.FailedShare, "identity": hazards.PlainTime, "log": hazards.LogTime, "rank": hazards.RankedTime} {
		z, ok := want.ZPH[name]
		if !ok || len(z.Term) == 0 {
			continue
		}
		got, err := fit.Proportionality(scale)
		if err != nil {
			t.Fatal(name, err)
		}
		for i, test := range append(got.Terms, got.Global) {
			checkTest(t, test, z, i)
		}
	}
	c, err := fit.Concordance()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "concordance", c.C, want.Concordance.C, 1e-11)
	near(t, "its standard error", c.SE, want.Concordance.SE, 1e-9)
	near(t, "concordant", c.Concordant, want.Concordance.Counts["concordant"], 1e-11)
	near(t, "discordant", c.Discordant, want.Concordance.Counts["discordant"], 1e-11)
	near(t, "tied", c.Tied, want.Concordance.Counts["tied.x"], 1e-11)
	if want.Concordance.Uno != nil {
		eta, err := fit.Predictors()
		if err != nil {
			t.Fatal(err)
		}
		u, err := hazards.ConcordUpTo(d, 1, eta, 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "concordance weighted by 1/G²", u.C, *want.Concordance.Uno, 1e-10)
	}
	if want.RobustScore != nil {
		robust, err := fit.RobustScore()
		if err != nil {
			t.Fatal(err)
		}
		near(t, "robust score test", robust.ChiSquare, want.RobustScore.ChiSq, 1e-8)
		near(t, "coefficients after it", fit.Coefficient[0], want.Coef[0], 1e-6)
	}
	if want.SumSquares > 0 {
		checkResiduals(t, fit, want)
	}
}

func checkResiduals(t *testing.T, fit *hazards.Fit, want coxResult) {
	m, err := fit.Martingale()
	if err != nil {
		t.Fatal(err)
	}
	dev, _ := fit.Deviance()
	nearAll(t, "martingale", m[:len(want.Residuals.Martingale)], want.Residuals.Martingale, 1e-9)
	nearAll(t, "deviance", dev[:len(want.Residuals.Deviance)], want.Residuals.Deviance, 1e-8)
	sum := 0.0
	for _, x := range m {
		sum += x * x
	}
	near(t, "Σ M²", sum, want.SumSquares, 1e-9)
	d, _ := fit.DeleteOne()
	for i, row := range want.Residuals.DFBeta {
		for j, x := range row {
			near(t, "influence", d[j][i], x, 1e-7)
		}
	}
}

func (c *coxCase) checkBaseline(t *testing.T, fit *hazards.Fit, want coxResult) {
	for stratum, steps := range want.Baseline.ByStratum {
		at := 0
		for g, label := range c.strata {
			if stratum == label || strings.HasSuffix(stratum, "="+label) {
				at = g
			}
		}
		got, err := fit.Baseline(at)
		if err != nil {
			t.Fatal(err)
		}
		for i, time := range want.Baseline.Time {
			h := 0.0
			for _, step := range got {
				if step.Time <= time {
					h = step.Hazard
				}
			}
			near(t, "baseline of "+stratum, h, steps[i], 1e-8)
		}
	}
}

func (c *coxCase) checkPredictions(t *testing.T, fit *hazards.Fit, want coxResult) {
	for _, p := range want.Predicted {
		f := references.Frame{}
		for name, x := range p.NewData {
			switch v := x.(type) {
			case string:
				f[name] = []string{v}
			case float64:
				f[name] = []string{strconv.FormatFloat(v, 'g', -1, 64)}
			}
		}
		_, right, _ := strings.Cut(c.Input.Formula, "~")
		var values []float64
		for _, term := range strings.Split(strings.ReplaceAll(right, " ", ""), "+") {
			for _, column := range columnsOf(t, f, term, c.Input.Factors) {
				values = append(values, column.Values[0])
			}
		}
		request := []hazards.Request{{Values: values}}
		limits := map[survival.Scale][2]references.Column{survival.Log: {p.LogLower, p.LogUpper}, survival.LogLog: {p.LogLogLower, p.LogLogUpper}, survival.Plain: {p.PlainLower, p.PlainUpper}}
		for scale, limit := range limits {
			got, err := fit.Predict(request, p.Time, 0.95, scale)
			if err != nil {
				t.Fatal(err)
			}
			for i, point := range got[0] {
				near(t, "survival", point.Value, p.Surv[i], 1e-8)
				near(t, "its standard error", point.SE, p.SE[i], 1e-8)
				near(t, "lower limit", point.Lower, limit[0][i], 1e-7)
				near(t, "upper limit", point.Upper, limit[1][i], 1e-7)
			}
		}
	}
}
