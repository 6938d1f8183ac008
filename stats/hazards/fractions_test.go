package hazards

import (
	"math"
	"testing"

	"deltoid/stats/covariates"
)

// Score residuals at a given beta, as fractions: Therneau & Grambsch, Modeling Survival Data (2000),
// appendix E (six subjects at 0, ten stretches at log 2).
func TestScoreResidualsAsFractions(t *testing.T) {
	six := Data{Exit: []int32{1, 1, 6, 6, 8, 9}, Cause: []uint8{1, 0, 1, 1, 0, 1}}
	ten := Data{Entry: []int32{1, 2, 5, 2, 1, 7, 3, 4, 8, 8}, Exit: []int32{2, 3, 6, 7, 8, 9, 9, 9, 14, 17}, Cause: []uint8{1, 1, 1, 1, 1, 1, 1, 0, 0, 0}}
	for name, c := range map[string]struct {
		d    Data
		x    []float64
		ties Ties
		beta float64
		want []float64
		u, i float64
	}{
		"six, Breslow": {six, []float64{1, 1, 1, 0, 0, 0}, Breslow, 0, []float64{5. / 12, -1. / 12, 7. / 24, -1. / 24, 5. / 24, 5. / 24}, 1, 5. / 8},
		"six, Efron": {six, []float64{1, 1, 1, 0, 0, 0}, Efron, 0,
			[]float64{5. / 12, -1. / 12, 55. / 144, -5. / 144, 29. / 144, 29. / 144}, 52. / 48, 83. / 144},
		"ten, Breslow": {ten, []float64{1, 0, 0, 1, 0, 1, 1, 1, 0, 0}, Breslow, math.Ln2,
			[]float64{1. / 9, -3. / 8, -21. / 32, -165. / 784, -2417. / 14112, 33. / 392, -15. / 784, -211. / 784, 3. / 16, 3. / 16}, 0, 0},
	} {
		f, err := Cox(c.d, 1, []covariates.Column{{Name: "x", Values: c.x}}, Options{Ties: c.ties})
		if err != nil || f.Status != covariates.Converged {
			t.Fatal(name, err, f.Status)
		}
		p := f.partial
		scale := p.design.Scale(0)
		p.Value([]float64{c.beta / scale})
		p.eachTable(func(tables *tables) {
			u, one, sum := p.influence(tables), make([]float64, 1), 0.0
			for i, want := range c.want {
				u.row(i, one)
				sum += one[0] / scale
				if got := one[0] / scale; math.Abs(got-want) > 1e-14 {
					t.Errorf("%s, row %d: %v, want %v", name, i, got, want)
				}
			}
			if c.u != 0 && math.Abs(sum-c.u) > 1e-14 {
				t.Errorf("%s: score %v, want %v", name, sum, c.u)
			}
		})
		if _, info, _ := p.Slope(); c.i != 0 && math.Abs(info[0]/(scale*scale)-c.i) > 1e-14 {
			t.Errorf("%s: information %v, want %v", name, info[0]/(scale*scale), c.i)
		}
	}
}
