package hazards_test

import (
	"flag"
	"math"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/random"
)

var simulations = flag.Int("simulations", 400, "simulated data sets for coverage; 10000 for a night")

// Intervals of 95 % hold a known effect about that often: clustered ones where the two rows of a
// patient share a frailty and the covariate, which makes the model-based ones too narrow. A share
// more than four standard errors away is a failure, and the shares are printed with -v.
func TestCoverage(t *testing.T) {
	clustered, plain, fitted := 0, 0, 0
	// The effect is 0, which a frailty does not change; any other it would shrink.
	for seed := range uint64(*simulations) {
		r := random.Stream(seed, "coverage", 0)
		const patients = 120
		var d hazards.Data
		x := covariates.Column{Name: "x"}
		for p := range patients {
			frailty, mark := math.Exp(1.2*r.NormFloat64()), r.NormFloat64()
			for range 2 {
				event, end := r.ExpFloat64()*1000/frailty, 200+r.Float64()*2000
				cause := uint8(0)
				if event < end {
					cause = 1
				}
				d.Exit, d.Cause = append(d.Exit, int32(min(event, end)/30)), append(d.Cause, cause)
				d.Cluster, x.Values = append(d.Cluster, int32(p)), append(x.Values, mark)
			}
		}
		f, err := hazards.Cox(d, 1, []covariates.Column{x}, hazards.Options{})
		if err != nil || f.Status != covariates.Converged {
			continue
		}
		fitted++
		if e := f.Effect(0, 0.95); e.Lower <= 0 && 0 <= e.Upper {
			clustered++
		}
		if math.Abs(f.Coefficient[0]) <= 1.959963985*math.Sqrt(f.Model[0]) {
			plain++
		}
	}
	n := float64(fitted)
	share, naive := float64(clustered)/n, float64(plain)/n
	t.Logf("%d sets: clustered intervals hold in %.3f, model-based in %.3f", fitted, share, naive)
	// The variance from 120 clusters is a little small, so that 0.94 rather than 0.95 is expected.
	if math.Abs(share-0.942) > 4*math.Sqrt(0.95*0.05/n) || naive > 0.93 {
		t.Errorf("clustered intervals hold in %.3f, model-based ones in %.3f", share, naive)
	}
}
