package dist_test

import (
	"fmt"
	"math"
	"testing"

	"deltoid/stats/dist"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s = %.17g, want %.17g", what, got, want)
	}
}

// Values marked "50 digits" come from the erfc and gamma functions of mpmath 1.3.0 at that
// precision, rounded to a float64; arguments are the float64 written here.

func TestNormalTails(t *testing.T) {
	near(t, "upper tail of 8", dist.NormalUpper(8), 6.2209605742717841e-16, 1e-14)   // 50 digits
	near(t, "upper tail of 10", dist.NormalUpper(10), 7.6198530241605261e-24, 1e-14) // 50 digits
	near(t, "upper tail of 37", dist.NormalUpper(37), 5.7255712225245768e-300, 1e-13)
	for _, x := range []float64{-3, -0.5, 0, 1, 2.5} {
		near(t, "lower by symmetry", dist.NormalLower(x), dist.NormalUpper(-x), 0)
		near(t, "both sides", dist.NormalTwoSided(x), 2*dist.NormalUpper(math.Abs(x)), 1e-15)
	}
}

func TestNormalQuantile(t *testing.T) {
	for p, want := range map[float64]float64{ // 50 digits
		1e-300: -37.0470962993611992, 1e-100: -21.2734535609653243, 1e-20: -9.26234008979840758, 1e-5: -4.26489079392282461,
		0.025: -1.95996398454005421, 0.1: -1.28155156554460044, 0.95: 1.64485362695147228, 0.975: 1.95996398454005386, 0.995: 2.57582930354890045,
	} {
		near(t, fmt.Sprint("quantile ", p), dist.NormalQuantile(p), want, 3e-16)
	}
	near(t, "spread of 0.95", dist.NormalSpread(0.95), 1.959963984540054, 1e-15)
	if !math.IsNaN(dist.NormalQuantile(1.1)) || !math.IsInf(dist.NormalQuantile(0), -1) || !math.IsInf(dist.NormalQuantile(1), 1) {
		t.Error("a quantile at or outside 0 and 1 has a value")
	}
	if x := dist.NormalQuantile(0.5); x != 0 {
		t.Errorf("quantile 0.5 = %v", x)
	}
}

// P-values beside their statistics in the reference results (R 4.2.2, pchisq, 15 or 17 digits);
// each stands in testdata/references/expected under the name given.
func TestChiSquareAgainstReferences(t *testing.T) {
	for _, c := range []struct {
		name  string
		x     float64
		df    int
		upper float64
	}{
		{"logrank_lung_ecog_trend", 18.012096694698172, 2, 0.00012266563150106348},
		{"logrank_lung_ecog_trend, rho 1", 20.27254697819228, 2, 3.961615813970223e-05},
		{"logrank_lung_ecog_trend, trend", 16.446543227188968, 1, 5.004134614614395e-05},
		{"logrank_lung_ecog_trend, 0 1", 7.11672043466756, 2, 0.02848549646130154},
	} {
		near(t, c.name, dist.ChiSquareUpper(c.x, c.df), c.upper, 1e-13)
	}
}

// Against closed forms: df 2 is e^{−x/2}; df 1 is the two-sided normal tail; and one degree of
// freedom more never makes a tail smaller.
func TestChiSquareFarTails(t *testing.T) {
	for _, x := range []float64{1e-10, 0.1, 1, 10, 100, 700, 1400} {
		near(t, "df 2", dist.ChiSquareUpper(x, 2), math.Exp(-x/2), 1e-12)
		near(t, "df 1", dist.ChiSquareUpper(x, 1), dist.NormalTwoSided(math.Sqrt(x)), 1e-12)
		near(t, "df 4", dist.ChiSquareUpper(x, 4), math.Exp(-x/2)*(1+x/2), 1e-12)
		last := 0.0
		for df := 1; df < 2000; df++ {
			p := dist.ChiSquareUpper(x, df)
			if p < last-1e-12*last || p > 1 || math.IsNaN(p) {
				t.Fatalf("x %v, df %d: %v after %v", x, df, p, last)
			}
			last = p
		}
	}
	if p := dist.ChiSquareUpper(0, 3); p != 1 {
		t.Errorf("tail from 0 is %v", p)
	}
}

func TestChiSquareManyDegrees(t *testing.T) {
	for _, c := range []struct {
		x    float64
		df   int
		want float64 // 50 digits
	}{
		{50, 1, 1.5374597944280349e-12}, {300, 3, 9.9487583463277089e-65}, {1000, 5, 6.0100776879208043e-214},
		{1800, 1800, 0.49556728070111798}, {2500, 1000, 2.1059268048481405e-129}, {0.01, 7, 0.99999999924305903},
	} {
		near(t, fmt.Sprintf("tail of %v with df %d", c.x, c.df), dist.ChiSquareUpper(c.x, c.df), c.want, 3e-12)
	}
}

// Garwood limits to the four decimals of the table in the project's list of published checks
// (computed with R from chi-square quantiles; that 0 events give 3.689 is in print).
func TestPoissonLimits(t *testing.T) {
	for _, c := range []struct {
		k                                  int64
		lo95, up95, lo90, up90, lo99, up99 float64
	}{
		{0, 0, 3.6889, 0, 2.9957, 0, 5.2983},
		{1, 0.0253, 5.5716, 0.0513, 4.7439, 0.0050, 7.4301},
		{2, 0.2422, 7.2247, 0.3554, 6.2958, 0.1035, 9.2738},
		{3, 0.6187, 8.7673, 0.8177, 7.7537, 0.3379, 10.9775},
		{5, 1.6235, 11.6683, 1.9701, 10.5130, 1.0779, 14.1498},
		{10, 4.7954, 18.3904, 5.4254, 16.9622, 3.7169, 21.3978},
		{20, 12.2165, 30.8884, 13.2547, 29.0620, 10.3533, 34.6680},
		{50, 37.1110, 65.9188, 38.9647, 63.2871, 33.6638, 71.2661},
		{100, 81.3640, 121.6268, 84.1393, 118.0793, 76.1205, 128.7606},
	} {
		for _, w := range []struct{ level, lower, upper float64 }{{0.95, c.lo95, c.up95}, {0.9, c.lo90, c.up90}, {0.99, c.lo99, c.up99}} {
			lower, upper := dist.PoissonLimits(c.k, w.level)
			if math.Abs(lower-w.lower) > 5.1e-5 || math.Abs(upper-w.upper) > 5.1e-5 {
				t.Errorf("%d events, level %v: %.6f to %.6f, printed %v to %v", c.k, w.level, lower, upper, w.lower, w.upper)
			}
		}
	}
	// 15 events in 400 units: exact limits of the rate, from statsmodels' tests (statsmodels/stats/
	// tests/test_rates_poisson.py).
	lower, upper := dist.PoissonLimits(15, 0.95)
	near(t, "lower rate", lower/400, 0.0209884653319583, 1e-12)
	near(t, "upper rate", upper/400, 0.0618505471787146, 1e-12)
}

// The limits are where the tails are: put back into a plain sum of Poisson probabilities.
func TestPoissonLimitsPutBack(t *testing.T) {
	for _, k := range []int64{1, 7, 60, 500} {
		lower, upper := dist.PoissonLimits(k, 0.95)
		near(t, "lower tail at the upper limit", poissonBelow(k+1, upper), 0.025, 1e-11)
		near(t, "upper tail at the lower limit", 1-poissonBelow(k, lower), 0.025, 1e-11)
	}
}

func poissonBelow(k int64, mean float64) (sum float64) {
	for i := range k {
		lg, _ := math.Lgamma(float64(i) + 1)
		sum += math.Exp(float64(i)*math.Log(mean) - mean - lg)
	}
	return sum
}

func TestBinomialLimits(t *testing.T) {
	// No success in n: the upper limit is 1 − (α/2)^{1/n}, in closed form.
	for _, n := range []int64{1, 10, 300} {
		lower, upper := dist.BinomialLimits(0, n, 0.95)
		near(t, "upper limit of none", upper, 1-math.Pow(0.025, 1/float64(n)), 1e-13)
		if lower != 0 {
			t.Errorf("lower limit of none is %v", lower)
		}
		mirrorLower, mirrorUpper := dist.BinomialLimits(n, n, 0.95)
		near(t, "lower limit of all", mirrorLower, math.Pow(0.025, 1/float64(n)), 1e-13)
		if mirrorUpper != 1 {
			t.Errorf("upper limit of all is %v", mirrorUpper)
		}
	}
	// Newcombe, Stat. Med. 17 (1998) 857–872, table I, to its printed digits; 18 of 20 from
	// statsmodels' tests (results_proportion.py).
	for _, c := range []struct {
		k, n         int64
		lower, upper float64
	}{{81, 263, .2527, .3676}, {15, 148, .0578, .1617}, {0, 20, 0, .1684}, {1, 29, .0009, .1776}} {
		lower, upper := dist.BinomialLimits(c.k, c.n, 0.95)
		if math.Abs(lower-c.lower) > 5.1e-5 || math.Abs(upper-c.upper) > 5.1e-5 {
			t.Errorf("%d of %d: %.6f to %.6f, printed %v to %v", c.k, c.n, lower, upper, c.lower, c.upper)
		}
	}
	lower, upper := dist.BinomialLimits(18, 20, 0.95)
	near(t, "18 of 20, lower", lower, 0.6830172859809176, 1e-12)
	near(t, "18 of 20, upper", upper, 0.9876514728297052, 1e-12)
	// Put back into a plain sum of binomial probabilities.
	for _, c := range [][2]int64{{1, 10}, {5, 20}, {81, 263}, {500, 1000}} {
		lower, upper := dist.BinomialLimits(c[0], c[1], 0.95)
		near(t, "lower tail at the upper limit", binomialBelow(c[0]+1, c[1], upper), 0.025, 1e-10)
		near(t, "upper tail at the lower limit", 1-binomialBelow(c[0], c[1], lower), 0.025, 1e-10)
	}
}

func binomialBelow(k, n int64, p float64) (sum float64) {
	all, _ := math.Lgamma(float64(n) + 1)
	for i := range k {
		a, _ := math.Lgamma(float64(i) + 1)
		b, _ := math.Lgamma(float64(n-i) + 1)
		sum += math.Exp(all - a - b + float64(i)*math.Log(p) + float64(n-i)*math.Log1p(-p))
	}
	return sum
}

func TestLimitsRefuseWhatIsNoCount(t *testing.T) {
	for _, bad := range []func() (float64, float64){
		func() (float64, float64) { return dist.PoissonLimits(-1, 0.95) },
		func() (float64, float64) { return dist.PoissonLimits(3, 1) },
		func() (float64, float64) { return dist.BinomialLimits(3, 2, 0.95) },
		func() (float64, float64) { return dist.BinomialLimits(0, 0, 0.95) },
		func() (float64, float64) { return dist.BinomialLimits(1, 2, math.NaN()) },
	} {
		if lower, upper := bad(); !math.IsNaN(lower) || !math.IsNaN(upper) {
			t.Errorf("limits %v to %v, want NaN", lower, upper)
		}
	}
}
