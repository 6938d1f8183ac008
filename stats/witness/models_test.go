package witness_test

import (
	"encoding/csv"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/regression"
	"deltoid/stats/survival"
)

const modelSets = 60

// unrunModels is printed where the reference library was not asked for.
const unrunModels = "not run: the live comparison of Cox's model (Efron, Breslow, exact; strata, start and stop, weights, clusters, its diagnostics and predictions), of " +
	"Fine and Gray's, and of logistic and Poisson regression with the reference library on freshly drawn data; set DELTOID_R=Rscript to run it."

// theirModels is what the reference says: of a set, by name, the numbers in their order.
type theirModels map[int]map[string][]float64

func TestModelsBesideTheReferenceLibrary(t *testing.T) {
	program := os.Getenv("DELTOID_R")
	if program == "" {
		t.Log(unrunModels)
		return
	}
	seed := freshSeed(t)
	t.Logf("seed %d: DELTOID_SEED=%d draws the same %d sets again", seed, seed, modelSets)
	sets := drawAllModels(seed, modelSets)
	c := &modelComparison{T: t, seed: seed, theirs: askForModels(t, program, sets), seen: map[string]int{}, worst: map[string]float64{}}
	for i := range sets {
		c.set(i, &sets[i])
	}
	c.summary()
}

func askForModels(t *testing.T, program string, sets []modelSet) theirModels {
	t.Helper()
	dir := t.TempDir()
	writeModels(t, dir, sets)
	run := exec.Command(program, "live_models.R", dir)
	run.Dir = scripts
	said, err := run.CombinedOutput()
	if err != nil {
		t.Fatalf("%s live_models.R: %v\n%s", program, err, said)
	}
	t.Logf("reference: %s", said)
	f, err := os.Open(filepath.Join(dir, "models_out.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := theirModels{}
	for _, r := range records {
		set, err1 := strconv.Atoi(r[0])
		place, err2 := strconv.Atoi(r[2])
		x, err3 := strconv.ParseFloat(r[3], 64)
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(r)
		}
		if out[set] == nil {
			out[set] = map[string][]float64{}
		}
		list := out[set][r[1]]
		for len(list) <= place {
			list = append(list, math.NaN())
		}
		list[place] = x
		out[set][r[1]] = list
	}
	return out
}

type modelComparison struct {
	*testing.T
	seed   uint64
	theirs theirModels
	seen   map[string]int
	worst  map[string]float64
}

// same compares numbers of a set with those of a name. What the reference did not give is no comparison.
func (c *modelComparison) same(at int, what string, tolerance float64, got ...float64) {
	c.Helper()
	want := c.theirs[at][what]
	for k, x := range got {
		if k >= len(want) || math.IsNaN(want[k]) {
			continue
		}
		c.seen[what]++
		off := math.Abs(x-want[k]) / math.Max(math.Abs(want[k]), 1e-3)
		c.worst[what] = max(c.worst[what], off)
		if !(off <= tolerance) {
			c.Errorf("seed %d, set %d: %s [%d] is %.12g, the reference says %.12g", c.seed, at, what, k, x, want[k])
		}
	}
}

func (c *modelComparison) set(at int, s *modelSet) {
	columns := s.columns()
	plain := s.Data
	plain.Offset, plain.Cluster = nil, nil
	clustered := plain
	clustered.Cluster = s.Cluster
	weighted := clustered
	weighted.Weight = s.weight
	for name, x := range map[string]struct {
		d    hazards.Data
		ties hazards.Ties
	}{"efron": {plain, hazards.Efron}, "breslow": {plain, hazards.Breslow}, "efron-clustered": {clustered, hazards.Efron}, "breslow-clustered": {clustered, hazards.Breslow},
		"efron-weighted": {weighted, hazards.Efron}, "breslow-weighted": {weighted, hazards.Breslow}, "exact": {plain, hazards.ExactPartial}} {
		if name == "exact" && s.heavy() {
			continue
		}
		c.cox(at, name, s, x.d, x.ties, columns)
	}
	if !s.delayed {
		c.incidence(at, s, columns)
	}
	for _, weight := range [][]float64{nil, s.weight} {
		c.outcomes(at, s, columns, weight)
	}
}

// Tolerances of what both sides iterate. The covariance that the reference gives of an outcome's model is that of the iteration before the
// last, so that its standard errors have half the digits.
const (
	iterated  = 2e-7
	oneBefore = 5e-6
)

func (c *modelComparison) cox(at int, name string, s *modelSet, d hazards.Data, ties hazards.Ties, columns []covariates.Column) {
	f, err := hazards.Cox(d, 1, columns, hazards.Options{Ties: ties})
	if err != nil {
		c.Fatal(err)
	}
	if f.Status != covariates.Converged {
		if want := c.theirs[at][name+".model"]; len(want) > 0 && slices.Max(want) < 5 {
			c.Errorf("seed %d, set %d: %s is %v (%s), the reference has standard errors %v", c.seed, at, name, f.Status, f.Reason, want)
		}
		return
	}
	c.same(at, name+".coef", iterated, f.Coefficient...)
	c.same(at, name+".loglik", 1e-10, f.NullLogLikelihood, f.LogLikelihood)
	c.same(at, name+".model", iterated, spreads(f.Model)...)
	c.same(at, name+".score", 1e-8, f.Score().ChiSquare)
	if ties == hazards.ExactPartial {
		return
	}
	if f.Robust != nil {
		c.same(at, name+".robust", iterated, spreads(f.Robust)...)
		test, err := f.RobustScore()
		if err != nil {
			c.Fatal(err)
		}
		if test.Status == covariates.Converged {
			c.same(at, name+".robust-score", 1e-7, test.ChiSquare)
		}
	}
	c.diagnostics(at, name, s, f)
}

// diagnostics compares the test of proportional hazards, concordance and predictions.
func (c *modelComparison) diagnostics(at int, name string, s *modelSet, f *hazards.Fit) {
	test, err := f.Proportionality(hazards.FailedShare)
	if err != nil {
		c.Fatal(err)
	}
	var chi []float64
	for _, x := range append(test.Terms, test.Global) {
		chi = append(chi, x.ChiSquare)
	}
	c.same(at, name+".zph", 1e-5, chi...)
	pairs, err := f.Concordance()
	if err != nil {
		c.Fatal(err)
	}
	if pairs.Status == covariates.Converged {
		c.same(at, name+".concordance", 1e-10, pairs.C)
		c.same(at, name+".concordance-se", 1e-7, pairs.SE)
	}
	if s.strata > 1 || f.Robust != nil {
		return
	}
	p, err := f.Predict([]hazards.Request{{Values: []float64{0.3, 1, -0.2}}}, []float64{s.at}, 0.95, survival.LogLog)
	if err != nil {
		c.Fatal(err)
	}
	if p[0][0].Limits == survival.Estimated {
		c.same(at, name+".predicted", 1e-6, p[0][0].Value, p[0][0].SE)
	}
}

// incidence compares Fine and Gray's model, by the inventors' convention for ties of events and censorings.
func (c *modelComparison) incidence(at int, s *modelSet, columns []covariates.Column) {
	d := survival.Data{Exit: s.Exit, Cause: s.Cause, Causes: 2}
	f, err := competing.Subdistribution(d, 1, columns, competing.SubdistributionOptions{Ties: competing.AtOnce})
	if err != nil {
		c.Fatal(err)
	}
	if f.Status != covariates.Converged {
		return
	}
	// That program stops when the slope is small, which leaves less of the digits.
	c.same(at, "crr.coef", 1e-5, f.Coefficient...)
	c.same(at, "crr.se", 1e-5, spreads(f.Robust)...)
	c.same(at, "crr.loglik", 1e-8, f.LogLikelihood)
	if p, err := f.Predict([]float64{0.3, 1, -0.2}, s.at); err == nil {
		c.same(at, "crr.predicted", 1e-5, p)
	}
}

// outcomes compares logistic and Poisson regression with offset, weights and clusters.
func (c *modelComparison) outcomes(at int, s *modelSet, columns []covariates.Column, weight []float64) {
	for name, x := range map[string]struct {
		y   []float64
		fit func(regression.Data, []covariates.Column, regression.Options) (*regression.Fit, error)
	}{"logistic": {s.yes, regression.Logistic}, "poisson": {s.count, regression.Poisson}} {
		if weight != nil {
			name += "-weighted"
		}
		f, err := x.fit(regression.Data{Outcome: x.y, Weight: weight, Offset: s.Offset, Cluster: s.Cluster}, columns, regression.Options{})
		if err != nil {
			c.Fatal(err)
		}
		if f.Status != covariates.Converged {
			continue
		}
		c.same(at, name+".coef", iterated, f.Coefficient...)
		c.same(at, name+".model", oneBefore, spreads(f.Model)...)
		c.same(at, name+".robust", oneBefore, spreads(f.Robust)...)
	}
}

// spreads are the roots of the diagonal.
func spreads(v []float64) []float64 {
	p := int(math.Round(math.Sqrt(float64(len(v)))))
	out := make([]float64, p)
	for j := range out {
		out[j] = math.Sqrt(v[j*p+j])
	}
	return out
}

// summary fails where a kind of result was hardly met with.
func (c *modelComparison) summary() {
	for _, what := range slices.Sorted(maps.Keys(c.seen)) {
		c.Logf("%-32s %6d comparisons, largest relative difference %.1e", what, c.seen[what], c.worst[what])
	}
	for _, what := range []string{"efron.coef", "breslow.coef", "exact.coef", "efron.model", "efron-clustered.robust", "breslow-clustered.robust", "efron-weighted.robust",
		"breslow-weighted.robust", "efron-clustered.robust-score", "efron.zph", "breslow.zph", "efron.concordance", "efron.predicted", "crr.coef", "crr.se", "crr.predicted",
		"logistic.coef", "logistic.robust", "logistic-weighted.robust", "poisson.coef", "poisson-weighted.robust"} {
		if c.seen[what] < 10 {
			c.Errorf("%s was compared %d times only", what, c.seen[what])
		}
	}
}
