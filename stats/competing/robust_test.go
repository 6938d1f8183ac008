package competing_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/random"
	"deltoid/stats/references"
	"deltoid/stats/survival"
)

// The infinitesimal jackknife with late entries, where it is not the delta-method variance: women
// of the mgus1 data on the age scale (R package survival).
func TestRobustAgainstReference(t *testing.T) {
	var c struct {
		Results struct {
			Groups []struct {
				Group  string
				Causes []struct {
					Cause    int
					Horizons struct {
						Time references.Column
						SE   references.Column `json:"aj_se_ij"`
					}
				}
			}
		}
	}
	references.Expected(t, "cif_left_truncated_mgus1_age", &c)
	d := mgus1Ages(t)
	counts := mustCountReal(t, d)
	compared := 0
	for g, group := range c.Results.Groups {
		for _, want := range group.Causes {
			curve, err := competing.Incidence(counts, g, want.Cause).RobustReal(d)
			if err != nil {
				t.Fatal(err)
			}
			for i, at := range want.Horizons.Time {
				if p := curve.At(at); p.Limits == survival.Estimated {
					near(t, fmt.Sprintf("%s cause %d at %v", group.Group, want.Cause, at), p.SE, want.Horizons.SE[i], 1e-10)
					compared++
				}
			}
		}
	}
	if compared < 8 {
		t.Errorf("only %d standard errors were compared", compared)
	}
}

func mgus1Ages(t *testing.T) survival.RealData {
	t.Helper()
	f := references.Read(t, references.Folder+"/data/mgus1.csv")
	age, stop, cause := numbers(t, f["age"]), numbers(t, f["stop"]), numbers(t, f["cause"])
	d := survival.RealData{Groups: 2, Causes: 2}
	for i := range age {
		d.Entry = append(d.Entry, age[i])
		d.Exit = append(d.Exit, age[i]+stop[i]/365.25)
		d.Cause = append(d.Cause, uint8(cause[i]))
		d.Group = append(d.Group, int32(slices.Index([]string{"female", "male"}, f["sex"][i])))
	}
	return d
}

func TestRobustIsDelta(t *testing.T) {
	for seed := range uint64(500) {
		d := randomData(random.Stream(seed, "robust is delta", 0))
		clear(d.Entry)
		counts := mustCount(t, d)
		for cause := 1; cause <= causes; cause++ {
			curve := competing.Incidence(counts, 1, cause)
			robust, err := curve.Robust(d)
			if err != nil {
				t.Fatal(err)
			}
			if curve.N == 1 {
				continue // nothing can be told between clusters of which there is one
			}
			for i := range curve.Time {
				if math.Abs(robust.Jackknife[i]-curve.Delta[i]) > 1e-13 {
					t.Fatalf("seed %d at %v: robust %v, delta %v", seed, curve.Time[i], robust.Jackknife[i], curve.Delta[i])
				}
			}
		}
	}
}

// weightedIncidence is F(t) from the rows by definition.
func weightedIncidence(d survival.Data, weight []float64, group, cause int, t float64) (f float64) {
	free := 1.0
	for day := int32(0); float64(day) <= t; day++ {
		n, own, events := 0.0, 0.0, 0.0
		for i, exit := range d.Exit {
			if int(d.Group[i]) != group || exit < day || d.Entry[i] > 0 && d.Entry[i] >= day {
				continue
			}
			n += weight[i]
			if exit == day && d.Cause[i] > 0 {
				events += weight[i]
				if int(d.Cause[i]) == cause {
					own += weight[i]
				}
			}
		}
		if events > 0 {
			f += free * own / n
			free *= 1 - events/n
		}
	}
	return f
}

// The slow twin takes the derivative of F by each weight numerically, and adds up by cluster.
func TestRobustAgainstNumericalDerivatives(t *testing.T) {
	for seed := range uint64(300) {
		r := random.Stream(seed, "robust incidence twin", 0)
		d := randomData(r)
		for range d.Exit {
			d.Weight = append(d.Weight, 0.2+2*r.Float64())
			d.Cluster = append(d.Cluster, int32(r.IntN(1+len(d.Exit)/2)))
		}
		bare := competing.Incidence(mustCount(t, d), 1, 1)
		curve, err := bare.Robust(d)
		if err != nil {
			t.Fatal(err)
		}
		for i, at := range curve.Time {
			near(t, "weighted incidence", curve.Incidence[i], weightedIncidence(d, d.Weight, 1, 1, at), 1e-11)
			if curve.Jackknife == nil {
				continue // of one cluster
			}
			want := jackknifeByDerivatives(d, at)
			if math.Abs(curve.Jackknife[i]-want) > 1e-8 {
				t.Fatalf("seed %d at %v: variance %v, by derivatives %v\n%+v", seed, at, curve.Jackknife[i], want, d)
			}
			if p := bare.At(at); p.Limits == survival.Estimated {
				t.Fatalf("seed %d: a weighted incidence has an interval without its rows", seed)
			}
		}
	}
}

func jackknifeByDerivatives(d survival.Data, at float64) (sum float64) {
	byCluster := map[int32]float64{}
	for j, w := range d.Weight {
		const h = 1e-5
		up, down := slices.Clone(d.Weight), slices.Clone(d.Weight)
		up[j], down[j] = w+h, w-h
		byCluster[d.Cluster[j]] += w * (weightedIncidence(d, up, 1, 1, at) - weightedIncidence(d, down, 1, 1, at)) / (2 * h)
	}
	for _, s := range byCluster {
		sum += s * s
	}
	return sum
}

// Every row given k times: the naive variance falls by k, the clustered one does not move.
func TestCopiesDoNotMakeItSurer(t *testing.T) {
	d := randomData(random.Stream(77, "copies of an incidence", 0))
	d.Group, d.Groups = nil, 1
	for i := range d.Exit {
		d.Cluster = append(d.Cluster, int32(i/2))
	}
	copies := survival.Data{Causes: causes}
	const k = 4
	for i := range d.Exit {
		for range k {
			copies.Entry, copies.Exit = append(copies.Entry, d.Entry[i]), append(copies.Exit, d.Exit[i])
			copies.Cause, copies.Cluster = append(copies.Cause, d.Cause[i]), append(copies.Cluster, d.Cluster[i])
		}
	}
	once, many := competing.Incidence(mustCount(t, d), 0, 1), competing.Incidence(mustCount(t, copies), 0, 1)
	onceRobust, err := once.Robust(d)
	if err != nil {
		t.Fatal(err)
	}
	manyRobust, err := many.Robust(copies)
	if err != nil {
		t.Fatal(err)
	}
	for i := range once.Time {
		near(t, "clustered variance of copies", manyRobust.Jackknife[i], onceRobust.Jackknife[i], 1e-10)
		near(t, "naive variance of copies", k*many.Delta[i], once.Delta[i], 1e-12)
	}
	if _, err := once.Robust(copies); err == nil {
		t.Error("other rows were taken for those of the curve")
	}
	if p := once.Using(competing.Jackknife).At(once.Time[0]); p.Limits == survival.Estimated {
		t.Errorf("a variance that was never computed gave an interval: %+v", p)
	}
}

// Rows of weight 1 are counted where they can be; with weights given they are laid out one by one,
// as in the twin of numerical derivatives. Both must agree for every group and all together.
func TestCountedRowsAreAsRowsOneByOne(t *testing.T) {
	for seed := range uint64(500) {
		r := random.Stream(seed, "incidence counted and one by one", 0)
		d := randomData(r)
		for i := range d.Exit {
			cluster := int32(i)
			if r.IntN(2) == 0 {
				cluster = int32(r.IntN(1 + len(d.Exit)/4))
			}
			d.Cluster = append(d.Cluster, cluster)
		}
		weighted := d
		weighted.Weight = slices.Repeat([]float64{1}, len(d.Exit))
		for cause := 1; cause <= causes; cause++ {
			got, err := competing.Incidence(mustCount(t, d).Pooled(), 0, cause).RobustFrom(mustLayOut(t, d).Pooled())
			if err != nil {
				t.Fatal(err)
			}
			want, err := competing.Incidence(mustCount(t, weighted), 1, cause).Robust(weighted)
			if err != nil {
				t.Fatal(err)
			}
			group, err := competing.Incidence(mustCount(t, d), 1, cause).RobustFrom(mustLayOut(t, d).Group(1))
			if err != nil {
				t.Fatal(err)
			}
			for i := range want.Jackknife {
				near(t, "robust variance of a group", group.Jackknife[i], want.Jackknife[i], 1e-11)
			}
			weighted.Group, weighted.Groups = nil, 1
			if want, err = competing.Incidence(mustCount(t, weighted), 0, cause).Robust(weighted); err != nil {
				t.Fatal(err)
			}
			for i := range want.Jackknife {
				near(t, "robust variance of all", got.Jackknife[i], want.Jackknife[i], 1e-11)
			}
			weighted.Group, weighted.Groups = d.Group, d.Groups
		}
	}
}

func mustLayOut(t testing.TB, d survival.Data) *survival.Layout {
	t.Helper()
	l, err := survival.LayOut(d)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// BenchmarkRobust answers: what do the robust variances of the product-limit and of the incidence
// cost, in three groups and all together, one row in six being in a cluster of two?
func BenchmarkRobust(b *testing.B) {
	for _, n := range []int{100_000, 1_000_000, 2_000_000} {
		b.Run(fmt.Sprintf("rows=%d", n), func(b *testing.B) {
			r := rand.New(rand.NewPCG(1, 2))
			d := survival.Data{Groups: 3, Causes: 2}
			patient := int32(0)
			for i := range n {
				if i%11 != 1 {
					patient++
				}
				cause := uint8(0)
				if u := r.IntN(100); u < 30 {
					cause = 1 + uint8(min(u/5, 1))
				}
				d.Exit, d.Cause = append(d.Exit, int32(r.IntN(5480))), append(d.Cause, cause)
				d.Group, d.Cluster = append(d.Group, int32(r.IntN(3))), append(d.Cluster, patient)
			}
			counts, err := survival.Count(d)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				layout := mustLayOut(b, d)
				for g := range counts.Groups() + 1 {
					var own *survival.Counts
					var rows *survival.Rows
					if g < counts.Groups() {
						own, rows = counts.Select(g), layout.Group(g)
					} else {
						own, rows = counts.Pooled(), layout.Pooled()
					}
					if _, err := own.ProductLimit(0, 1).RobustFrom(rows); err != nil {
						b.Fatal(err)
					}
					if _, err := competing.Incidence(own, 0, 1).RobustFrom(rows); err != nil {
						b.Fatal(err)
					}
				}
			}
		})
	}
}
