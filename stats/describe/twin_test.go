package describe_test

import (
	"math"
	"math/big"
	"math/bits"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"deltoid/stats/describe"
)

// samples draws whole numbers, so that ties are common.
func samples(t *rapid.T, name string, least, most int) []float64 {
	whole := rapid.SliceOfN(rapid.IntRange(-6, 12), least, most).Draw(t, name)
	x := make([]float64, len(whole))
	for i, v := range whole {
		x[i] = float64(v)
	}
	return x
}

// distinct draws numbers without ties.
func distinct(t *rapid.T, name string, most int) []float64 {
	x := rapid.Permutation([]float64{1, 2, 3, 5, 8, 13, 21, 34, 55, 89, 144, 233}).Draw(t, name)
	return x[:rapid.IntRange(1, most).Draw(t, name+" length")]
}

// Mean and standard deviation in exact fractions, on numbers that are large beside their spread.
func TestMomentsTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := samples(t, "x", 2, 40)
		far := rapid.SampledFrom([]float64{0, 1e3, 1e9, 1e14}).Draw(t, "far")
		exact := new(big.Rat)
		for i := range x {
			x[i] += far
			exact.Add(exact, new(big.Rat).SetFloat64(x[i]))
		}
		n := new(big.Rat).SetInt64(int64(len(x)))
		mean := new(big.Rat).Quo(exact, n)
		squares := new(big.Rat)
		for _, v := range x {
			d := new(big.Rat).Sub(new(big.Rat).SetFloat64(v), mean)
			squares.Add(squares, d.Mul(d, d))
		}
		variance, _ := squares.Quo(squares, new(big.Rat).SetInt64(int64(len(x)-1))).Float64()
		want, _ := mean.Float64()
		m := describe.MomentsOf(x)
		if math.Abs(m.Mean-want) > 1e-15*max(1, math.Abs(want)) || math.Abs(m.SD-math.Sqrt(variance)) > 1e-12*max(1, math.Sqrt(variance)) && far < 1e14 {
			t.Fatalf("mean %v, SD %v; exactly %v, %v", m.Mean, m.SD, want, math.Sqrt(variance))
		}
		if far == 1e14 && math.Abs(m.SD-math.Sqrt(variance)) > 1e-2 {
			t.Fatalf("SD %v far away, exactly %v", m.SD, math.Sqrt(variance))
		}
	})
}

// The rank-sum p-value by listing every way to choose the first sample's ranks.
func TestRankSumTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := distinct(t, "all", 11)
		if len(all) < 2 {
			return
		}
		m := rapid.IntRange(1, len(all)-1).Draw(t, "m")
		got := describe.RankSum(all[:m], all[m:])
		ranks := make([]int, len(all))
		for i, x := range all {
			for _, y := range all {
				if y <= x {
					ranks[i]++
				}
			}
		}
		observed := 0
		for _, r := range ranks[:m] {
			observed += r
		}
		low, high, total := 0, 0, 0
		for set := range uint(1) << len(all) {
			if bits.OnesCount(set) != m {
				continue
			}
			sum := 0
			for i := range all {
				if set>>i&1 == 1 {
					sum += i + 1
				}
			}
			total++
			if sum <= observed {
				low++
			}
			if sum >= observed {
				high++
			}
		}
		want := min(1, 2*float64(min(low, high))/float64(total))
		if !got.Exact || math.Abs(got.P-want) > 1e-12 || got.Statistic != float64(observed-m*(m+1)/2) {
			t.Fatalf("%v against %v: %+v, want p %v", all[:m], all[m:], got, want)
		}
	})
}

// The signed-rank p-value by listing all signs.
func TestSignedRankTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := distinct(t, "sizes", 11)
		for i := range d {
			if rapid.Bool().Draw(t, "negative") {
				d[i] = -d[i]
			}
		}
		sizes := slices.Clone(d)
		slices.SortFunc(sizes, func(a, b float64) int { return int(math.Abs(a) - math.Abs(b)) })
		observed := 0
		for i, x := range sizes {
			if x > 0 {
				observed += i + 1
			}
		}
		low, high := 0, 0
		for signs := range uint(1) << len(d) {
			sum := 0
			for i := range d {
				if signs>>i&1 == 1 {
					sum += i + 1
				}
			}
			if sum <= observed {
				low++
			}
			if sum >= observed {
				high++
			}
		}
		want := min(1, 2*float64(min(low, high))/float64(int(1)<<len(d)))
		if got := describe.SignedRank(d); !got.Exact || got.Statistic != float64(observed) || math.Abs(got.P-want) > 1e-12 {
			t.Fatalf("%v: %+v, want p %v", d, got, want)
		}
	})
}

// Fisher's p-value by listing every assignment of rows to columns: labels are dealt out in all ways.
func TestFisherTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(rapid.IntRange(0, 2), 2, 7).Draw(t, "rows")
		cols := rapid.SliceOfN(rapid.IntRange(0, 2), len(rows), len(rows)).Draw(t, "cols")
		table := cross(rows, cols)
		got := describe.FisherExact(table)
		if got.Status != describe.Estimated {
			return
		}
		counts, total := map[[9]int64]float64{}, 0.0
		permute(slices.Clone(cols), 0, func(dealt []int) {
			var key [9]int64
			for i, r := range rows {
				key[3*r+dealt[i]]++
			}
			counts[key]++
			total++
		})
		var observed [9]int64
		for i := range 9 {
			observed[i] = table[i/3][i%3]
		}
		want := 0.0
		for _, n := range counts {
			if n <= counts[observed] {
				want += n / total
			}
		}
		if math.Abs(got.P-want) > 1e-9 || math.Abs(got.Statistic-counts[observed]/total) > 1e-9 {
			t.Fatalf("%v: %+v, want p %v", table, got, want)
		}
	})
}

func cross(rows, cols []int) [][]int64 {
	table := [][]int64{{0, 0, 0}, {0, 0, 0}, {0, 0, 0}}
	for i := range rows {
		table[rows[i]][cols[i]]++
	}
	return table
}

func permute(x []int, at int, visit func([]int)) {
	if at == len(x) {
		visit(x)
		return
	}
	for i := at; i < len(x); i++ {
		x[at], x[i] = x[i], x[at]
		permute(x, at+1, visit)
		x[at], x[i] = x[i], x[at]
	}
}

// Exchanging the groups turns the sign; adding a constant or changing the unit does nothing; the order of the categories does nothing.
func TestStandardisedProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x, y := samples(t, "x", 2, 20), samples(t, "y", 2, 20)
		a, b := describe.MomentsOf(x), describe.MomentsOf(y)
		d := describe.StandardisedMeans(a, b)
		if back := describe.StandardisedMeans(b, a); back.Value != -d.Value || back.Status != d.Status {
			t.Fatalf("%v one way and %v the other", d, back)
		}
		for i := range x {
			x[i] = 4*x[i] + 100
		}
		for i := range y {
			y[i] = 4*y[i] + 100
		}
		if moved := describe.StandardisedMeans(describe.MomentsOf(x), describe.MomentsOf(y)); math.Abs(moved.Value-d.Value) > 1e-12 {
			t.Fatalf("%v in one unit and %v in another", d, moved)
		}
		p := rapid.SliceOfN(rapid.Int64Range(0, 9), 4, 4).Draw(t, "p")
		q := rapid.SliceOfN(rapid.Int64Range(0, 9), 4, 4).Draw(t, "q")
		one := describe.StandardisedCategories(p, q)
		slices.Reverse(p)
		slices.Reverse(q)
		other := describe.StandardisedCategories(p, q)
		if one.Status != other.Status || math.Abs(one.Value-other.Value) > 1e-9*max(1, one.Value) {
			t.Fatalf("%v in one order and %v in another", one, other)
		}
	})
}

// Kappa does not depend on which rating comes first, nor on the order of categories when there is no partial credit; an empty
// category changes nothing.
func TestKappaProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := [][]int64{}
		turned := [][]int64{{0, 0, 0, 0}, {0, 0, 0, 0}, {0, 0, 0, 0}, {0, 0, 0, 0}}
		for i := range 3 {
			row := rapid.SliceOfN(rapid.Int64Range(0, 9), 3, 3).Draw(t, "row")
			table = append(table, row)
			for j, c := range row {
				turned[3-j][3-i] = c
			}
		}
		k, other := describe.Agreement(table, describe.NoPartialCredit, 0.9), describe.Agreement(turned, describe.NoPartialCredit, 0.9)
		if k.Status != other.Status || math.Abs(k.Value-other.Value) > 1e-12 || math.Abs(k.SE-other.SE) > 1e-12 {
			t.Fatalf("%+v one way and %+v the other", k, other)
		}
	})
}

// Every interval of a proportion holds the proportion, a Newcombe interval holds the difference, and both mirror.
func TestProportionProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, m := rapid.Int64Range(1, 400).Draw(t, "n"), rapid.Int64Range(1, 400).Draw(t, "m")
		k, l := rapid.Int64Range(0, n).Draw(t, "k"), rapid.Int64Range(0, m).Draw(t, "l")
		level := rapid.SampledFrom([]float64{0.8, 0.95, 0.99}).Draw(t, "level")
		for _, of := range []func(k, n int64, level float64) describe.Proportion{describe.Wilson, describe.ExactProportion} {
			p, q := of(k, n, level), of(n-k, n, level)
			if !(0 <= p.Lower && p.Lower <= p.Value && p.Value <= p.Upper && p.Upper <= 1) {
				t.Fatalf("%+v", p)
			}
			if math.Abs(p.Lower-(1-q.Upper)) > 1e-12 {
				t.Fatalf("%+v does not mirror %+v", p, q)
			}
		}
		d, back := describe.Newcombe(k, n, l, m, level), describe.Newcombe(l, m, k, n, level)
		if !(d.Lower <= d.Value && d.Value <= d.Upper) || d.Lower != -back.Upper {
			t.Fatalf("%+v and %+v", d, back)
		}
	})
}
