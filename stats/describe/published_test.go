package describe_test

import (
	"fmt"
	"math"
	"testing"

	"deltoid/stats/describe"
)

func printed(t *testing.T, what string, got, want, half float64) {
	t.Helper()
	if !(math.Abs(got-want) <= half) {
		t.Errorf("%s = %.10g, printed %v", what, got, want)
	}
}

// Newcombe, Stat. Med. 17 (1998) 857–872, table I, score interval without correction. The digits are those of the project's
// list of published checks, recomputed with R and equal to the table from memory; 81 of 263 and 15 of 148 stand also in
// the public tests of the R package propint. 18 of 20 is from the tests of statsmodels (results_proportion.py).
func TestWilsonAsPrinted(t *testing.T) {
	for _, c := range []struct {
		k, n         int64
		lower, upper float64
	}{{81, 263, .2553, .3662}, {15, 148, .0624, .1605}, {0, 20, 0, .1611}, {1, 29, .0061, .1718}, {0, 10, 0, .2775},
		{5, 10, .2366, .7634}, {10, 10, .7225, 1}} {
		p := describe.Wilson(c.k, c.n, 0.95)
		what := fmt.Sprintf("%d of %d", c.k, c.n)
		printed(t, what, p.Lower, c.lower, 5.1e-5)
		printed(t, what, p.Upper, c.upper, 5.1e-5)
	}
	p := describe.Wilson(18, 20, 0.95)
	near(t, "18 of 20", p.Lower, 0.6989663547715128, 1e-13)
	near(t, "18 of 20", p.Upper, 0.972133518786232, 1e-13)
}

// Newcombe, Stat. Med. 17 (1998) 873–890, table II, method 10; recomputed with R and equal to the table from memory. The
// last row is from Fagerland, Lydersen & Laake, Stat. Methods Med. Res. (2015), as in the tests of statsmodels
// (test_proportion.py).
func TestNewcombeAsPrinted(t *testing.T) {
	for _, c := range []struct {
		a, m, b, n   int64
		lower, upper float64
	}{{56, 70, 48, 80, .0524, .3339}, {9, 10, 3, 10, .1705, .8090}, {6, 7, 2, 7, .0582, .8062}, {5, 56, 0, 29, -.0381, .1926},
		{0, 10, 0, 20, -.1611, .2775}, {0, 10, 0, 10, -.2775, .2775}, {10, 10, 0, 20, .6791, 1}, {7, 34, 1, 34, .0189, .3404}} {
		d := describe.Newcombe(c.a, c.m, c.b, c.n, 0.95)
		what := fmt.Sprintf("%d of %d − %d of %d", c.a, c.m, c.b, c.n)
		printed(t, what, d.Lower, c.lower, 5.1e-5)
		printed(t, what, d.Upper, c.upper, 5.1e-5)
	}
}

// The three by three table of the tests of statsmodels (test_inter_rater.py), with the two by two tables recomputed with R.
func TestKappaAsPrinted(t *testing.T) {
	table := [][]int64{{0, 4, 1}, {0, 8, 0}, {0, 1, 5}}
	k := describe.Agreement(table, describe.NoPartialCredit, 0.95)
	printed(t, "kappa", k.Value, .4841628959, 5.1e-11)
	printed(t, "standard error", k.SE, .1380135783, 5.1e-11)
	printed(t, "lower", k.Lower, .2137, 5.1e-5)
	printed(t, "upper", k.Upper, .7547, 5.1e-5)
	printed(t, "z", k.Value/k.SENull, 3.2626, 5.1e-5)
	k = describe.Agreement(table, describe.LinearCredit, 0.95)
	printed(t, "linear kappa", k.Value, .470119522, 5.1e-10)
	printed(t, "linear standard error", k.SE, .1457, 5.1e-5)
	printed(t, "linear z", k.Value/k.SENull, 3.2971, 5.1e-5)
	k = describe.Agreement(table, describe.QuadraticCredit, 0.95)
	printed(t, "quadratic kappa", k.Value, .450160772, 5.1e-10)
	k = describe.Agreement([][]int64{{20, 5}, {10, 15}}, describe.NoPartialCredit, 0.95)
	printed(t, "kappa of two by two", k.Value, .4, 1e-15)
	printed(t, "its standard error", k.SE, .12699606, 5.1e-9)
	printed(t, "by chance", k.SENull, .13856406, 5.1e-9)
	k = describe.Agreement([][]int64{{45, 15}, {25, 15}}, describe.NoPartialCredit, 0.95)
	printed(t, "kappa of two by two", k.Value, .1304347826, 5.1e-11)
}

// The project's list of published checks, section 9.2: formulas of Austin (2009) and of Yang & Dalton (2012) from memory,
// values recomputed with R.
func TestStandardisedAsPrinted(t *testing.T) {
	d := describe.StandardisedMeans(describe.Moments{N: 50, Mean: 71.3, SD: 8.1}, describe.Moments{N: 60, Mean: 73.0, SD: 7.4})
	printed(t, "means", d.Value, -0.219131489, 5.1e-10)
	for _, c := range []struct {
		a, b int64
		want float64
	}{{60, 50, .202030509}, {10, 5, .190692518}, {80, 72, .188144174}} {
		printed(t, "shares", describe.StandardisedShares(c.a, 100, c.b, 100).Value, c.want, 5.1e-10)
		both := describe.StandardisedCategories([]int64{c.a, 100 - c.a}, []int64{c.b, 100 - c.b})
		near(t, "as two categories", both.Value, math.Abs(describe.StandardisedShares(c.a, 100, c.b, 100).Value), 1e-12)
	}
	printed(t, "three categories", describe.StandardisedCategories([]int64{50, 30, 20}, []int64{40, 35, 25}).Value, .203594639, 5.1e-10)
}

// The textbook's median of {2, 3, 5, 9} is 4, which some libraries do not give.
func TestMedianIsTheTextbooks(t *testing.T) {
	for _, c := range []struct {
		x    []float64
		want float64
	}{{[]float64{9, 2, 5, 3}, 4}, {[]float64{2}, 2}, {[]float64{1, 2}, 1.5}, {[]float64{3, 1, 2}, 2}, {[]float64{5, 5, 5, 5}, 5}} {
		got, s := describe.Sort(c.x).Median()
		is(t, "median", s)
		printed(t, fmt.Sprint("median of ", c.x), got, c.want, 0)
		for _, d := range []describe.Definition{describe.AveragedSteps, describe.MidShare, describe.MeanShare, describe.Linear,
			describe.MedianUnbiased, describe.NormalUnbiased} {
			q, s := describe.Sort(c.x).Quantile(0.5, d)
			is(t, "median", s)
			printed(t, fmt.Sprint("definition ", d, " of ", c.x), q, c.want, 0)
		}
	}
}
