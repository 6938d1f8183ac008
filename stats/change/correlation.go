package change

import (
	"cmp"
	"math"
	"slices"

	"deltoid/stats/dist"
	"deltoid/stats/numeric"
)

// byRank returns the Spearman correlation of two columns without missing values: that of their ranks, ties sharing the
// mean. The interval is on Fisher's scale with the standard error √((1 + r²/2)/(n − 3)); where rows are clustered the number of patients stands for n,
// which makes it wide rather than narrow.
//
// Source of the interval: Bonett & Wright, Psychometrika 65 (2000) 23–28.
func byRank(x, y []float64, p people, level float64) Estimate {
	r, s := correlation(midranks(x), midranks(y))
	e := Estimate{Value: r, Level: level, N: len(x), Patients: p.patients(), State: s}
	if e.OK() {
		e = e.byFisher(math.Sqrt(1+r*r/2), float64(p.clusters.Count))
	}
	return e
}

// byFisher fills the limits of a correlation from a standard error of widened/√(n−3) on Fisher's scale.
func (e Estimate) byFisher(widened, n float64) Estimate {
	if !(n > 3) {
		return refused(e.N, e.Level, state(TooFew, "the interval of a correlation needs more than 3 patients; there are %v", n))
	}
	if math.Abs(e.Value) == 1 {
		e.Lower, e.Upper = e.Value, e.Value
		return e
	}
	se := widened / math.Sqrt(n-3)
	half := float64(dist.NormalSpread(e.Level) * se)
	at := math.Atanh(e.Value)
	e.SE = float64(se * (1 - float64(e.Value*e.Value)))
	e.Lower, e.Upper = math.Tanh(at-half), math.Tanh(at+half)
	return e
}

// correlation is the product-moment correlation.
func correlation(x, y []float64) (float64, State) {
	if len(x) < 3 {
		return 0, state(TooFew, "a correlation needs 3 rows; there are %d", len(x))
	}
	mx, my := mean(x), mean(y)
	var xx, yy, xy numeric.Sum
	for i := range x {
		dx, dy := x[i]-mx, y[i]-my
		xx.Add(float64(dx * dx))
		yy.Add(float64(dy * dy))
		xy.Add(float64(dx * dy))
	}
	if !(xx.Value() > 0 && yy.Value() > 0) {
		return 0, state(NoSpread, "all values are the same, so there is nothing to correlate")
	}
	return max(-1, min(1, xy.Value()/(math.Sqrt(xx.Value())*math.Sqrt(yy.Value())))), State{}
}

func mean(x []float64) float64 {
	var s numeric.Sum
	for _, v := range x {
		s.Add(v)
	}
	return s.Value() / float64(len(x))
}

// midranks returns ranks, equal numbers sharing the mean of theirs.
func midranks(x []float64) []float64 {
	order := rising(x)
	rank := make([]float64, len(x))
	for from := 0; from < len(order); {
		to := from + 1
		for to < len(order) && x[order[to]] == x[order[from]] {
			to++
		}
		for _, i := range order[from:to] {
			rank[i] = float64(from+1+to) / 2
		}
		from = to
	}
	return rank
}

// rising returns the rows in rising order of x, equal values in the order of rows.
func rising(x []float64) []int32 {
	type item struct {
		x   float64
		row int32
	}
	items := make([]item, len(x))
	for i, v := range x {
		items[i] = item{v, int32(i)}
	}
	slices.SortFunc(items, func(a, b item) int {
		if c := cmp.Compare(a.x, b.x); c != 0 {
			return c
		}
		return cmp.Compare(a.row, b.row)
	})
	rows := make([]int32, len(x))
	for k, it := range items {
		rows[k] = it.row
	}
	return rows
}

// asNumbers turns categories into numbers.
func asNumbers(category []int32) []float64 {
	out := make([]float64, len(category))
	for i, c := range category {
		out[i] = float64(c)
	}
	return out
}
