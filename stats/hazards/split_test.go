package hazards_test

import (
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/random"
)

// Cutting rows changes nothing while effects stay the same. With every effect free on both sides of
// a cut the model is two: one of those followed until the cut, one of those who reach it.
func TestSplitTime(t *testing.T) {
	fitted := 0
	for seed := range uint64(100) {
		d, x := randomRows(random.Stream(seed, "split", 0), int(seed))
		cut := int32(4)
		same, y, err := hazards.SplitTime(d, x, []int32{2, 4})
		if err != nil {
			t.Fatal(err)
		}
		a, err := hazards.Cox(d, 1, x, hazards.Options{})
		if err != nil {
			t.Fatal(err)
		}
		b, err := hazards.Cox(same, 1, y, hazards.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if a.Status != b.Status {
			t.Errorf("seed %d: %v, cut %v (%s; %s)", seed, a.Status, b.Status, a.Reason, b.Reason)
		}
		if a.Status == covariates.Converged {
			near(t, "log-likelihood", b.LogLikelihood, a.LogLikelihood, 1e-11)
			nearAll(t, "coefficient", b.Coefficient, a.Coefficient, 1e-6)
		}
		two, z, err := hazards.SplitTime(d, x, []int32{cut}, "a", "b")
		if err != nil {
			t.Fatal(err)
		}
		whole, err := hazards.Cox(two, 1, z, hazards.Options{})
		if err != nil || whole.Status != covariates.Converged {
			continue
		}
		fitted++
		checkHalves(t, d, x, cut, whole)
	}
	if fitted < 25 {
		t.Errorf("only %d of 100 sets have estimates", fitted)
	}
}

func checkHalves(t *testing.T, d hazards.Data, x []covariates.Column, cut int32, whole *hazards.Fit) {
	t.Helper()
	var sum float64
	for half := range 2 {
		var part hazards.Data
		y := []covariates.Column{{Name: "a"}, {Name: "b"}}
		for i, exit := range d.Exit {
			entry, cause := int32(0), d.Cause[i]
			if d.Entry != nil {
				entry = d.Entry[i]
			}
			if half == 0 && exit > cut {
				exit, cause = cut, 0
			}
			if half == 1 {
				entry = max(entry, cut)
			}
			if entry > 0 && entry >= exit {
				continue
			}
			part.Entry, part.Exit, part.Cause = append(part.Entry, entry), append(part.Exit, exit), append(part.Cause, cause)
			if d.Stratum != nil {
				part.Stratum = append(part.Stratum, d.Stratum[i])
			}
			if d.Weight != nil {
				part.Weight = append(part.Weight, d.Weight[i])
			}
			if d.Offset != nil {
				part.Offset = append(part.Offset, d.Offset[i])
			}
			for j := range y {
				y[j].Values = append(y[j].Values, x[j].Values[i])
			}
		}
		f := mustCox(t, part, y, hazards.Options{})
		sum += f.LogLikelihood
		for j := range y {
			near(t, whole.Names[2*j+half], whole.Coefficient[2*j+half]-f.Coefficient[j]+1, 1, 1e-6)
		}
	}
	near(t, "log-likelihood of both halves", whole.LogLikelihood, sum, 1e-10)
}

func TestSplitTimeNames(t *testing.T) {
	d := hazards.Data{Exit: []int32{0, 3, 5, 9}, Cause: []uint8{1, 1, 0, 1}}
	x := []covariates.Column{{Name: "old", Values: []float64{1, 0, 1, 1}}}
	two, y, err := hazards.SplitTime(d, x, []int32{3, 6}, "old")
	if err != nil {
		t.Fatal(err)
	}
	// Someone who leaves on day 0 stays one row, and one who leaves on the day of a cut is not cut.
	nearAll(t, "until", y[0].Values, []float64{1, 0, 1, 0, 1, 0, 0}, 0)
	nearAll(t, "between", y[1].Values, []float64{0, 0, 0, 1, 0, 1, 0}, 0)
	if len(two.Exit) != 7 || y[0].Name != "old, until 3" || y[1].Name != "old, 3 to 6" || y[2].Name != "old, after 6" || y[2].Term != "old" {
		t.Error(two, y)
	}
	if _, _, err := hazards.SplitTime(d, x, []int32{6, 3}); err == nil {
		t.Error("cuts that fall are accepted")
	}
	if _, _, err := hazards.SplitTime(d, x, []int32{3}, "young"); err == nil {
		t.Error("a column that is not there may vary")
	}
}
