package dist_test

import (
	"fmt"
	"math"
	"testing"

	"deltoid/stats/dist"
)

// P-values and degrees of freedom of the reference results in testdata/references/expected (R 4.2.2).
func TestStudentAndFAgainstReferences(t *testing.T) {
	near(t, "Welch, anorexia", dist.StudentTwoSided(1.6677496918448129, 50.970653304267834), 0.1014985956595162, 1e-12)
	near(t, "paired, sleep", dist.StudentTwoSided(-4.0621276833820366, 9), 0.00283289019738427, 1e-12)
	near(t, "Welch, feeds", dist.StudentTwoSided(4.3781104443942915, 21.097354822719929), 0.00026062165971480215, 1e-12)
	near(t, "F, feeds", dist.FUpper(15.364799774712539, 5, 65), 5.93641985347133e-10, 1e-11)
	near(t, "F, feeds by Welch", dist.FUpper(19.661724360836939, 5, 29.952036386104158), 1.1770597160664911e-08, 1e-11)
}

// Closed forms: with one degree of freedom the tail is that of Cauchy's distribution, with two 1 − t/√(2+t²).
func TestStudentClosedForms(t *testing.T) {
	for _, x := range []float64{0.01, 0.5, 1, 3, 40, 1e5} {
		near(t, fmt.Sprint("one degree, ", x), dist.StudentTwoSided(x, 1), 2/math.Pi*math.Atan(1/x), 1e-12)
		root := math.Sqrt(2 + x*x)
		near(t, fmt.Sprint("two degrees, ", x), dist.StudentTwoSided(x, 2), 2/(root*(root+x)), 1e-12)
		near(t, "as F", dist.FUpper(x*x, 1, 7), dist.StudentTwoSided(x, 7), 1e-12)
	}
	near(t, "many degrees", dist.StudentTwoSided(2, 1e8), dist.NormalTwoSided(2), 1e-12)
}

// The table of Student's distribution at 0.95, from memory, to its three decimals; and put back into the tail.
func TestStudentSpread(t *testing.T) {
	for df, want := range map[float64]float64{1: 12.706, 2: 4.303, 5: 2.571, 10: 2.228, 30: 2.042, 120: 1.980, 1e9: 1.960} {
		got := dist.StudentSpread(0.95, df)
		if math.Abs(got-want) > 5.1e-4 {
			t.Errorf("df %v: %v, printed %v", df, got, want)
		}
		near(t, "put back", dist.StudentTwoSided(got, df), 0.05, 1e-12)
	}
	for _, x := range []float64{dist.StudentSpread(1, 5), dist.StudentSpread(0.95, 0.5), dist.StudentTwoSided(math.NaN(), 5),
		dist.StudentTwoSided(1, 0), dist.FUpper(1, 0, 1)} {
		if !math.IsNaN(x) {
			t.Errorf("%v, want NaN", x)
		}
	}
	if dist.StudentTwoSided(math.Inf(1), 3) != 0 || dist.FUpper(0, 1, 2) != 1 || dist.FUpper(math.Inf(1), 1, 2) != 0 {
		t.Error("a tail at an end of the line")
	}
}
