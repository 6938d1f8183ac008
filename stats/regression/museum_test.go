package regression_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/random"
	"deltoid/stats/regression"
)

// Data that a model must refuse, by status and with the name of what is at fault.
func TestFailures(t *testing.T) {
	n := 60
	r := random.Stream(1, "regression failures", 0)
	d := regression.Data{Outcome: make([]float64, n)}
	x := make([]float64, n)
	for i := range n {
		d.Outcome[i], x[i] = float64(r.IntN(2)), r.NormFloat64()
	}
	apart := make([]float64, n)
	for i := range apart {
		apart[i] = x[i]/10 + d.Outcome[i]
	}
	level := make([]float64, n)
	for i := range level {
		if d.Outcome[i] == 0 && i%2 == 0 {
			level[i] = 1
		}
	}
	zero := make([]float64, n)
	for name, c := range map[string]struct {
		d      regression.Data
		x      []float64
		status covariates.Status
		counts bool
	}{
		"no events":          {regression.Data{Outcome: zero}, x, covariates.NoEvents, true},
		"no weight":          {regression.Data{Outcome: d.Outcome, Weight: zero}, x, covariates.NoRows, true},
		"constant":           {d, ones(n), covariates.Singular, true},
		"complete":           {d, apart, covariates.Separated, false},
		"level":              {d, level, covariates.Separated, true},
		"everybody responds": {regression.Data{Outcome: ones(n)}, x, covariates.NoEvents, false},
	} {
		for i, m := range []model{regression.Logistic, regression.Poisson} {
			if i == 1 && !c.counts {
				continue
			}
			f, err := m(c.d, []covariates.Column{{Name: "x", Values: c.x}}, regression.Options{})
			if err != nil {
				t.Fatal(name, err)
			}
			if f.Status != c.status || f.Coefficient != nil || f.Reason == "" || f.Wald().Status != c.status || f.Effect(0, 0.95).Status != c.status {
				t.Errorf("%s: %v (%s), want %v", name, f.Status, f.Reason, c.status)
			}
			if (c.status == covariates.Singular || c.status == covariates.Separated) && !slices.Contains(f.AtFault, "x") {
				t.Errorf("%s: %v at fault", name, f.AtFault)
			}
			if _, err := f.Fitted(); err == nil {
				t.Errorf("%s: fitted values of a fit that is %v", name, f.Status)
			}
		}
	}
	for column, bad := range map[string]regression.Data{
		"Outcome": {Outcome: append(slices.Clone(d.Outcome[:n-1]), 0.5)},
		"Weight":  {Outcome: d.Outcome, Weight: append(ones(n-1), -1)},
		"Offset":  {Outcome: d.Outcome, Offset: append(ones(n-1), math.Inf(1))},
		"Cluster": {Outcome: d.Outcome, Cluster: append(make([]int32, n-1), -1)},
	} {
		_, err := regression.Logistic(bad, []covariates.Column{{Name: "x", Values: x}}, regression.Options{})
		var row *covariates.RowError
		if !errors.As(err, &row) || row.Row != n-1 || row.Column != column {
			t.Errorf("%s: %v", column, err)
		}
	}
	few := regression.Data{Outcome: slices.Clone(zero)}
	few.Outcome[3] = 1
	f, err := regression.Logistic(few, []covariates.Column{{Name: "x", Values: x}, {Name: "y", Values: apart}}, regression.Options{})
	if err != nil || f.Status != covariates.TooFewEvents {
		t.Error(err, f.Status)
	}
}
