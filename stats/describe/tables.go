package describe

import (
	"math"

	"deltoid/stats/dist"
)

// ChiSquare tests whether the rows and columns of a table of counts have to do with each other, by Pearson's statistic without
// continuity correction. Empty rows and columns are left out; when fewer than two of either remain it is NoSpread. Where [SmallestExpected] is below 5, ask for
// [FisherExact].
//
// Source: Pearson, Philos. Mag. 50 (1900) 157–175, with the degrees of freedom of Fisher, J. R. Stat. Soc. 85 (1922) 87–94.
func ChiSquare(table [][]int64) Test {
	f := fill(table)
	if f.status != Estimated {
		return Test{Status: f.status}
	}
	sum := 0.0
	for i, row := range f.cells {
		for j, c := range row {
			e := f.expected(i, j)
			d := float64(c) - e
			sum += float64(d*d) / e
		}
	}
	df := (len(f.rows) - 1) * (len(f.cols) - 1)
	return Test{Statistic: sum, DF: float64(df), P: dist.ChiSquareUpper(sum, df)}
}

// SmallestExpected returns the smallest count that a cell of the table would hold if rows and columns had nothing to do with each other.
// Empty rows and columns are left out.
func SmallestExpected(table [][]int64) (float64, Status) {
	f := fill(table)
	if f.status != Estimated {
		return 0, f.status
	}
	least := math.Inf(1)
	for i := range f.rows {
		for j := range f.cols {
			least = min(least, f.expected(i, j))
		}
	}
	return least, Estimated
}

// PairedShares tests whether two shares measured on the same pairs differ, from the numbers of pairs in which only the first and only
// the second holds. P is the exact two-sided probability of the binomial distribution with one half. Pairs in which both
// or neither hold say nothing. Statistic is the first number.
//
// Source: McNemar, Psychometrika 12 (1947) 153–157; exact as in Armitage & Berry, Statistical Methods in Medical Research.
func PairedShares(onlyFirst, onlySecond int64) Test {
	n := onlyFirst + onlySecond
	switch {
	case onlyFirst < 0 || onlySecond < 0:
		return Test{Status: NotCounts}
	case n == 0:
		return Test{Status: NoRows}
	}
	tail := 0.0
	for k := range min(onlyFirst, onlySecond) + 1 {
		tail += math.Exp(logChoose(n, k) - float64(float64(n)*math.Ln2))
	}
	return Test{Statistic: float64(onlyFirst), P: min(1, 2*tail), Exact: true}
}

// logChoose is the logarithm of n over k.
func logChoose(n, k int64) float64 { return logFactorial(n) - logFactorial(k) - logFactorial(n-k) }

func logFactorial(n int64) float64 {
	lg, _ := math.Lgamma(float64(n) + 1)
	return lg
}
