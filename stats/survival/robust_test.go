package survival_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"deltoid/stats/random"
	"deltoid/stats/references"
	"deltoid/stats/survival"
)

// The weighted cases of the references: estimates with real weights, and the standard error by
// the infinitesimal jackknife with intervals on three scales.
func TestRobustAgainstReferences(t *testing.T) {
	var c productLimitCase
	references.Expected(t, "km_lung_weights_real_robust", &c)
	d := c.data(t)
	d.Weight = numbers(c.rows(t), "w_real")
	counts, err := survival.CountReal(d)
	if err != nil {
		t.Fatal(err)
	}
	for g, want := range c.Results.Groups {
		bare := counts.ProductLimit(g, 1)
		if p := bare.At(180); p.Limits != survival.NoVariance || p.SE != 0 {
			t.Errorf("a weighted curve has an interval without its rows: %+v", p)
		}
		robust, err := bare.RobustReal(d)
		if err != nil {
			t.Fatal(err)
		}
		want.Horizons.AtRisk = peopleAtRisk(d, g, want.Horizons.Time)
		checkPoints(t, robust, want.Horizons, c.Input.Conf)
		checkQuantiles(t, robust, want, c.Input.Conf)
	}
}

// peopleAtRisk counts people; the reference gives sums of weights.
func peopleAtRisk(d survival.RealData, group int, times []float64) (out references.Column) {
	for _, t := range times {
		n := 0.0
		for i, exit := range d.Exit {
			if int(d.Group[i]) == group && exit >= t {
				n++
			}
		}
		out = append(out, n)
	}
	return out
}

// Whole weights that stand for people: the row is given that many times, and Greenwood holds.
func TestRepeatedRowsAgainstReference(t *testing.T) {
	var c productLimitCase
	references.Expected(t, "km_lung_weights_int", &c)
	once := c.data(t)
	var d survival.RealData
	d.Groups, d.Causes = once.Groups, once.Causes
	for i, w := range numbers(c.rows(t), "w_int") {
		for range int(w) {
			d.Exit, d.Cause = append(d.Exit, once.Exit[i]), append(d.Cause, once.Cause[i])
		}
	}
	curve := countBoth(t, d).ProductLimit(0, 1)
	checkPoints(t, curve, c.Results.Groups[0].Horizons, c.Input.Conf)
	once.Weight = numbers(c.rows(t), "w_int")
	weighted, err := survival.CountReal(once)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range c.Results.Groups[0].Horizons.Time {
		near(t, "weighted estimate", weighted.ProductLimit(0, 1).At(at).Value, curve.At(at).Value, 1e-14)
	}
}

// For rows of their own, of weight 1, without late entries, the robust variance is Greenwood's.
func TestRobustIsGreenwood(t *testing.T) {
	for seed := range uint64(500) {
		rows := randomRows(random.Stream(seed, "robust is Greenwood", 0), 2, 2)
		for i := range rows {
			rows[i].entry = 0
		}
		d := columns(rows, 2, 2)
		curve := mustCount(t, d).ProductLimit(1, 1)
		robust, err := curve.Robust(d)
		if err != nil {
			t.Fatal(err)
		}
		if curve.N == 1 {
			continue // nothing can be told between clusters of which there is one
		}
		for i := range curve.Time {
			if math.Abs(robust.Variance[i]-curve.Variance[i]) > 1e-13 {
				t.Fatalf("seed %d at %v: robust %v, Greenwood %v", seed, curve.Time[i], robust.Variance[i], curve.Variance[i])
			}
		}
	}
}

// weightedLogSurvival is log S(t) from the rows by definition.
func weightedLogSurvival(rows []row, weight []float64, group, cause int, t float64) (sum float64) {
	for day := 0; float64(day) <= t; day++ {
		n, d := 0.0, 0.0
		for i, x := range rows {
			if int(x.group) != group || int(x.exit) < day || x.entry > 0 && int(x.entry) >= day {
				continue
			}
			n += weight[i]
			if int(x.exit) == day && int(x.cause) == cause {
				d += weight[i]
			}
		}
		if d > 0 {
			sum += math.Log(1 - d/n)
		}
	}
	return sum
}

// The slow twin takes the derivative of log S by each weight numerically, and adds up by cluster.
func TestRobustAgainstNumericalDerivatives(t *testing.T) {
	for seed := range uint64(400) {
		r := random.Stream(seed, "robust twin", 0)
		rows := randomRows(r, 2, 2)
		d := columns(rows, 2, 2)
		for range rows {
			d.Weight = append(d.Weight, 0.2+2*r.Float64())
			d.Cluster = append(d.Cluster, int32(r.IntN(1+len(rows)/2)))
		}
		curve, err := mustCount(t, d).ProductLimit(1, 1).Robust(d)
		if err != nil {
			t.Fatal(err)
		}
		for i, at := range curve.Time {
			if curve.Survival[i] == 0 || curve.Variance == nil {
				break // the second: of one cluster
			}
			near(t, "log S", math.Log(curve.Survival[i]), weightedLogSurvival(rows, d.Weight, 1, 1, at), 1e-11)
			byCluster := map[int32]float64{}
			for j, w := range d.Weight {
				const h = 1e-5
				up, down := append([]float64(nil), d.Weight...), append([]float64(nil), d.Weight...)
				up[j], down[j] = w+h, w-h
				slope := (weightedLogSurvival(rows, up, 1, 1, at) - weightedLogSurvival(rows, down, 1, 1, at)) / (2 * h)
				byCluster[d.Cluster[j]] += w * slope
			}
			want := 0.0
			for _, s := range byCluster {
				want += s * s
			}
			if math.Abs(curve.Variance[i]-want) > 1e-7*(1+want) {
				t.Fatalf("seed %d at %v: variance %v, by derivatives %v", seed, at, curve.Variance[i], want)
			}
		}
	}
}

// Every row given k times: the naive standard error falls by √k, the one clustered by the
// original row does not move. A common weight does not move it either.
func TestCopiesDoNotMakeItSurer(t *testing.T) {
	r := random.Stream(8, "copies", 0)
	rows := randomRows(r, 1, 1)
	for len(rows) < 30 {
		rows = append(rows, randomRows(r, 1, 1)...)
	}
	base := columns(rows, 1, 1)
	for i := range rows {
		base.Cluster = append(base.Cluster, int32(i/2)) // pairs, like two eyes
	}
	want := robustOf(t, base)
	for _, k := range []int{2, 5} {
		copies := survival.Data{Entry: []int32{}}
		for i := range rows {
			for range k {
				copies.Entry, copies.Exit = append(copies.Entry, base.Entry[i]), append(copies.Exit, base.Exit[i])
				copies.Cause, copies.Cluster = append(copies.Cause, base.Cause[i]), append(copies.Cluster, base.Cluster[i])
			}
		}
		got := robustOf(t, copies)
		doubled := base
		doubled.Weight = make([]float64, len(rows))
		for i := range doubled.Weight {
			doubled.Weight[i] = float64(k)
		}
		heavy := robustOf(t, doubled)
		naive, one := mustCount(t, copies).ProductLimit(0, 1), mustCount(t, base).ProductLimit(0, 1)
		for i := range want.Time {
			near(t, "clustered variance of copies", got.Variance[i], want.Variance[i], 1e-10)
			near(t, "clustered variance with a common weight", heavy.Variance[i], want.Variance[i], 1e-10)
			near(t, "naive variance of copies", naive.Variance[i]*float64(k), one.Variance[i], 1e-12)
		}
	}
}

func robustOf(t *testing.T, d survival.Data) *survival.Curve {
	t.Helper()
	curve, err := mustCount(t, d).ProductLimit(0, 1).Robust(d)
	if err != nil {
		t.Fatal(err)
	}
	return curve
}

func TestRobustRefusesOtherRows(t *testing.T) {
	d := survival.Data{Exit: []int32{1, 2, 3}, Cause: []uint8{1, 0, 1}}
	curve := mustCount(t, d).ProductLimit(0, 1)
	for _, other := range []survival.Data{
		{Exit: []int32{1, 2}, Cause: []uint8{1, 0}},
		{Exit: []int32{1, 2, 4}, Cause: []uint8{1, 0, 1}},
		{Exit: []int32{1, 2, 3}, Cause: []uint8{1, 0, 1}, Cluster: []int32{0, 0, -1}},
	} {
		if _, err := curve.Robust(other); err == nil {
			t.Errorf("%+v were taken for the rows of the curve", other)
		}
	}
}

func TestWeightsThatAreNone(t *testing.T) {
	for _, w := range []float64{-1, math.NaN(), math.Inf(1)} {
		if _, err := survival.Count(survival.Data{Exit: []int32{1, 2}, Cause: []uint8{1, 0}, Weight: []float64{1, w}}); err == nil {
			t.Errorf("weight %v was accepted", w)
		}
	}
	// Weight 0 keeps a person in the number at risk and out of the estimate.
	c := mustCount(t, survival.Data{Exit: []int32{1, 2, 3}, Cause: []uint8{1, 1, 0}, Weight: []float64{0, 1, 1}})
	p := c.ProductLimit(0, 1).At(2)
	if p.Value != 0.5 || p.AtRisk != 2 || c.AtRisk(0, 1) != 3 {
		t.Errorf("with a weight of 0: %+v", p)
	}
}

func TestWeightsAddUp(t *testing.T) {
	a := survival.Data{Exit: []int32{1, 2}, Cause: []uint8{1, 0}, Weight: []float64{0.5, 2}}
	b := survival.Data{Exit: []int32{2, 5}, Cause: []uint8{0, 1}, Entry: []int32{0, 1}, Weight: []float64{1.5, 1}}
	both := survival.Data{Exit: []int32{1, 2, 2, 5}, Cause: []uint8{1, 0, 0, 1}, Entry: []int32{0, 0, 0, 1}, Weight: []float64{0.5, 2, 1.5, 1}}
	sum := mustCount(t, a)
	if err := sum.Add(mustCount(t, b)); err != nil {
		t.Fatal(err)
	}
	if got, want := fmt.Sprint(*sum.LifeTable(0)), fmt.Sprint(*mustCount(t, both).LifeTable(0)); got != want {
		t.Errorf("weights add up to\n%s\nwant\n%s", got, want)
	}
	if _, err := survival.LogRank(1, survival.Equal, sum); err == nil {
		t.Error("a log-rank test of weighted counts was made")
	}
}

func BenchmarkRobust(b *testing.B) {
	const n = 1_000_000
	d := benchmarkData(b, n, 1, 1)
	r := rand.New(rand.NewPCG(3, 4))
	for range n {
		d.Cluster = append(d.Cluster, int32(r.IntN(n)))
	}
	c, err := survival.Count(d)
	if err != nil {
		b.Fatal(err)
	}
	curve := c.ProductLimit(0, 1)
	for b.Loop() {
		if _, err := curve.Robust(d); err != nil {
			b.Fatal(err)
		}
	}
}
