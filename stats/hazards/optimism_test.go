package hazards_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
)

// Without events of other causes the incidence is 1 − survival and its model is Cox's by Breslow's ties: the same samples
// give the same optimism.
func TestOptimismOfTheIncidenceWithoutOthers(t *testing.T) {
	d, x := plainRows(5, 200)
	f := mustCox(t, d, x, hazards.Options{Ties: hazards.Breslow})
	want, err := f.Optimism(100, 40, 7)
	if err != nil || want.Status != covariates.Converged {
		t.Fatal(err, want)
	}
	got, err := hazards.IncidenceOptimism(d, 1, x, 100, 40, 7)
	if err != nil || got.Status != covariates.Converged || got.Failed != want.Failed {
		t.Fatal(err, got)
	}
	for name, pair := range map[string][2]hazards.Performance{"apparent": {got.Apparent, want.Apparent}, "corrected": {got.Corrected, want.Corrected}} {
		a, b := pair[0], pair[1]
		for what, v := range map[string][2]float64{"concordance": {a.Concordance, b.Concordance}, "slope": {a.Slope, b.Slope}, "Brier": {a.Brier, b.Brier},
			"scaled": {a.Scaled, b.Scaled}, "AUC": {a.AUC, b.AUC}} {
			near(t, name+" "+what, v[0], v[1], 1e-7)
		}
	}
}

// With strata each sample keeps them; a model with one stratum is the model without.
func TestOptimismWithStrata(t *testing.T) {
	d, x := plainRows(6, 240)
	plain, err := mustCox(t, d, x, hazards.Options{}).Optimism(100, 20, 3)
	if err != nil {
		t.Fatal(err)
	}
	d.Stratum = make([]int32, 240)
	one, err := mustCox(t, d, x, hazards.Options{}).Optimism(100, 20, 3)
	if err != nil || *one != *plain {
		t.Errorf("one stratum gives %+v, want %+v", one, plain)
	}
	for i := range d.Stratum {
		d.Stratum[i] = int32(i % 3)
	}
	f := mustCox(t, d, x, hazards.Options{})
	three, err := f.Optimism(100, 20, 3)
	if err != nil || three.Status != covariates.Converged {
		t.Fatal(err, three)
	}
	c, err := f.Concordance()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "concordance within strata", three.Apparent.Concordance, c.C, 1e-12)
	risk, err := f.Risks(100)
	if err != nil {
		t.Fatal(err)
	}
	v, err := hazards.Validate(d, 1, risk, 100, hazards.ValidationOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Brier score of the risks of strata", three.Apparent.Brier, v.Brier, 1e-12)
}

// What there is no method for is said with what to do instead, and no error; what is no data at all is an error.
func TestOptimismAndValidationThatAreNotThere(t *testing.T) {
	d, x := plainRows(7, 100)
	risk := make([]float64, 100)
	for i := range risk {
		risk[i] = 0.2 + 0.005*float64(i)
	}
	late := d
	late.Entry = make([]int32, 100)
	late.Entry[3] = max(0, d.Exit[3]-1)
	weighted := d
	weighted.Weight = ones(100)
	weighted.Weight[5] = 2
	for name, rows := range map[string]hazards.Data{"late": late, "weights": weighted} {
		o, err := mustCox(t, rows, x, hazards.Options{}).Optimism(100, 20, 1)
		if err != nil || o.Status != covariates.Unsupported || !strings.Contains(o.Reason, ":") {
			t.Errorf("%s: optimism %v %+v", name, err, o)
		}
		v, err := hazards.Validate(rows, 1, risk, 100, hazards.ValidationOptions{})
		if err != nil || v.Status != covariates.Unsupported || v.Reason != o.Reason {
			t.Errorf("%s: validation %v %+v", name, err, v)
		}
		o, err = hazards.IncidenceOptimism(rows, 1, x, 100, 20, 1)
		if err != nil || o.Status != covariates.Unsupported {
			t.Errorf("%s: incidence %v %+v", name, err, o)
		}
	}
	weighted.Weight[5] = 1 // all alike: as if there were none
	plain, err := mustCox(t, d, x, hazards.Options{}).Optimism(100, 20, 1)
	if err != nil {
		t.Fatal(err)
	}
	alike, err := mustCox(t, weighted, x, hazards.Options{}).Optimism(100, 20, 1)
	if err != nil || math.Abs(alike.Corrected.Brier-plain.Corrected.Brier) > 1e-12 {
		t.Errorf("equal weights: %v, %+v, want %+v", err, alike, plain)
	}
	if o, err := mustCox(t, d, x, hazards.Options{}).Optimism(1e6, 20, 1); err != nil || o.Status == covariates.Converged || o.Reason == "" {
		t.Errorf("beyond the last exit: %v %+v", err, o)
	}
	same := []covariates.Column{{Name: "same", Values: ones(100)}}
	if o, err := hazards.IncidenceOptimism(d, 1, same, 100, 20, 1); err != nil || o.Status != covariates.Singular || !strings.Contains(o.Reason, "same") {
		t.Errorf("a constant column: %v %+v", err, o)
	}
	for name, call := range map[string]func() error{
		"no replicates": func() error { _, err := hazards.IncidenceOptimism(d, 1, x, 100, 0, 1); return err },
		"cause 0":       func() error { _, err := hazards.IncidenceOptimism(d, 0, x, 100, 20, 1); return err },
		"strata": func() error {
			rows := d
			rows.Stratum = make([]int32, 100)
			_, err := hazards.IncidenceOptimism(rows, 1, x, 100, 20, 1)
			return err
		},
	} {
		if call() == nil {
			t.Error(fmt.Sprint(name, " is accepted"))
		}
	}
}
