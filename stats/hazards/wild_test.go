package hazards_test

import (
	"math"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/random"
)

// Data nobody should have: values of 1e80, weights of 1e-80, offsets of ±500, everybody tied, columns
// that copy or separate. Whatever the fit, it ends in a status, and a converged one holds numbers.
func TestWildData(t *testing.T) {
	seen := map[covariates.Status]int{}
	for seed := range uint64(1500) {
		r := random.Stream(seed, "wild data", 0)
		d, x := randomRows(r, int(seed))
		for i := range d.Exit {
			if seed%5 == 0 && d.Entry == nil {
				d.Exit[i] = 3
			}
			if d.Weight != nil {
				d.Weight[i] *= math.Pow(10, float64(r.IntN(160)-80))
			}
			if d.Offset != nil {
				d.Offset[i] = float64(r.IntN(1001) - 500)
			}
			switch seed % 7 {
			case 0:
				x[0].Values[i] *= math.Pow(10, float64(r.IntN(80)))
			case 1:
				x[1].Values[i] = x[0].Values[i] + 1e-12*r.NormFloat64()
			case 2:
				x[1].Values[i] = float64(d.Exit[i])
			case 3:
				x[1].Values[i] = float64(d.Cause[i])
			}
		}
		o := hazards.Options{Ties: hazards.Ties(seed % 2), Penalised: seed%11 == 0}
		f, err := hazards.Cox(d, 1, x, o)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		seen[f.Status]++
		if f.Status != covariates.Converged {
			if f.Reason == "" {
				t.Errorf("seed %d: %v without a reason", seed, f.Status)
			}
			continue
		}
		numbers := append([]float64{f.LogLikelihood, f.NullLogLikelihood, f.Wald().P, f.Score().P}, append(f.Coefficient, f.Variance()...)...)
		m, err := f.Martingale()
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range append(numbers, m...) {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("seed %d: %v", seed, numbers)
			}
		}
	}
	if seen[covariates.Converged] < 100 || seen[covariates.Separated] < 50 || seen[covariates.Singular] < 10 {
		t.Errorf("statuses seen: %v", seen)
	}
	t.Log(seen)
}
