package competing_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// slowClusteredGray takes every row along every day, by the formula in the doc comment.
func slowClusteredGray(d survival.Data, k int) (score, v []float64) {
	const cause = 1
	last := slices.Max(d.Exit)
	weight := func(i int) float64 {
		if d.Weight == nil {
			return 1
		}
		return d.Weight[i]
	}
	type seen struct{ n, own, other, s, after, f float64 }
	at := make([][]seen, k)
	for g := range k {
		s, f := 1.0, 0.0
		for day := int32(0); day <= last; day++ {
			x := seen{s: s, f: f}
			for i := range d.Exit {
				if int(d.Group[i]) == g && d.Exit[i] >= day {
					x.n += weight(i)
					if d.Exit[i] == day && d.Cause[i] == cause {
						x.own += weight(i)
					} else if d.Exit[i] == day && d.Cause[i] > 0 {
						x.other += weight(i)
					}
				}
			}
			if x.n > 0 {
				f += s * x.own / x.n
				s *= 1 - (x.own+x.other)/x.n
				if s < 1e-12 {
					s = 0
				}
			}
			x.after = s
			at[g] = append(at[g], x)
		}
	}
	score = make([]float64, k)
	p, a := make([][]float64, last+1), make([][]float64, last+1)
	jump, after := make([]float64, last+1), make([]float64, last+1)
	f := 0.0
	for day := range p {
		p[day], a[day] = make([]float64, k), make([]float64, k)
		total, expected, own := 0.0, 0.0, 0.0
		y := make([]float64, k)
		for g := range k {
			x := at[g][day]
			if x.n > 0 {
				y[g] = x.n / x.s
			}
			total, expected, own = total+y[g], expected+y[g]*(1-x.f), own+x.own
		}
		if own > 0 {
			jump[day] = own / total
			for g := range k {
				p[day][g] = y[g] / total
				a[day][g] = y[g] * jump[day] / (1 - f)
				score[g] += at[g][day].own - own*y[g]*(1-at[g][day].f)/expected
			}
		}
		f += jump[day]
		after[day] = f
	}
	sums := map[int32][]float64{}
	for i := range d.Exit {
		g := int(d.Group[i])
		cluster := int32(i)
		if d.Cluster != nil {
			cluster = d.Cluster[i]
		}
		if sums[cluster] == nil {
			sums[cluster] = make([]float64, k)
		}
		for day := int32(0); day <= d.Exit[i]; day++ {
			x := at[g][day]
			if x.n == 0 {
				continue
			}
			own := -jump[day] / x.s
			other := -x.other / x.n
			if day == d.Exit[i] && d.Cause[i] == cause {
				own++
			} else if day == d.Exit[i] && d.Cause[i] > 0 {
				other++
			}
			for j := range k {
				delta := 0.0
				if j == g {
					delta = 1
				}
				later := 0.0
				for u := day + 1; u <= last; u++ {
					later += a[u][g] * (delta - p[u][j])
				}
				h, q := 0.0, 0.0
				if jump[day] > 0 {
					h = x.n / x.s * (delta - p[day][j])
				}
				if x.after > 0 {
					h += (1 - (1-after[day])/x.after) * later
					q = (1 - after[day]) / x.after * later
				} else {
					h += later
				}
				sums[cluster][j] += weight(i) * x.s / x.n * (h*own + q*other)
			}
		}
	}
	v = make([]float64, k*k)
	for _, x := range sums {
		for j := range k {
			for l := range k {
				v[j*k+l] += x[j] * x[l]
			}
		}
	}
	return score, v
}

func clusteredSet(r *rand.Rand) survival.Data {
	n, days := 4+r.IntN(30), 2+r.IntN(14)
	d := survival.Data{Groups: 3, Causes: causes}
	weighted := r.IntN(2) == 0
	for range n {
		d.Exit, d.Cause = append(d.Exit, int32(r.IntN(days))), append(d.Cause, uint8(r.IntN(causes+1)))
		d.Group, d.Cluster = append(d.Group, int32(r.IntN(3))), append(d.Cluster, int32(r.IntN(1+n/2)))
		if weighted {
			d.Weight = append(d.Weight, 0.5+r.Float64())
		}
	}
	return d
}

func TestClusteredGrayAgainstSlowTwin(t *testing.T) {
	compared := 0
	for seed := range uint64(500) {
		d := clusteredSet(random.Stream(seed, "clustered Gray twin", 0))
		got, err := competing.ClusteredGray(1, 0, d, nil, 1)
		if err != nil {
			t.Fatal(err)
		}
		if got.Status != survival.Estimated {
			continue
		}
		compared++
		score, v := slowClusteredGray(d, 3)
		for i, want := range append(score, v...) {
			have := slices.Concat(got.Score, got.Variance)[i]
			if math.Abs(have-want) > 1e-9*(1+math.Abs(want)) {
				t.Fatalf("seed %d: number %d is %v, want %v\n%+v", seed, i, have, want, d)
			}
		}
	}
	if compared < 300 {
		t.Errorf("%d sets compared", compared)
	}
}

// The scores of independent rows are those of Gray, in strata too; and in a large set the variance is
// that of Gray but for chance.
func TestClusteredGrayOfIndependentRows(t *testing.T) {
	d := largeData(4000, 2)
	r := random.Stream(6, "independent rows", 0)
	d.Groups = 3
	var stratum []int32
	for range d.Exit {
		d.Group, stratum = append(d.Group, int32(r.IntN(3))), append(stratum, int32(r.IntN(2)))
	}
	got, err := competing.ClusteredGray(1, 0, d, stratum, 2)
	if err != nil {
		t.Fatal(err)
	}
	strata, err := survival.CountByStratum(d, stratum, 2)
	if err != nil {
		t.Fatal(err)
	}
	want, err := competing.Gray(1, 0, strata...)
	if err != nil {
		t.Fatal(err)
	}
	for g := range 3 {
		near(t, "score", got.Score[g], want.Score[g], 1e-10)
		near(t, "variance", got.Variance[g*3+g], want.Variance[g*3+g], 0.05)
	}
	if got.Clusters != 4000 || got.DF != 2 || !slices.Equal(got.N, want.N) || !slices.Equal(got.Events, want.Events) {
		t.Errorf("%+v", got)
	}
}

// Every patient k times in one cluster changes neither statistic nor p-value.
func TestClusteredGrayOfCopies(t *testing.T) {
	d := clusteredSet(rand.New(rand.NewPCG(5, 9)))
	for len(d.Exit) < 60 {
		more := clusteredSet(rand.New(rand.NewPCG(5, uint64(len(d.Exit)))))
		d.Exit, d.Cause, d.Group = append(d.Exit, more.Exit...), append(d.Cause, more.Cause...), append(d.Group, more.Group...)
		for _, c := range more.Cluster {
			d.Cluster = append(d.Cluster, c+int32(len(d.Cluster)+100))
		}
	}
	d.Weight = nil
	want, err := competing.ClusteredGray(1, 0, d, nil, 1)
	if err != nil || want.Status != survival.Estimated {
		t.Fatal(want, err)
	}
	for _, k := range []int{2, 7} {
		copies := survival.Data{Groups: d.Groups, Causes: d.Causes}
		for range k {
			copies.Exit, copies.Cause = append(copies.Exit, d.Exit...), append(copies.Cause, d.Cause...)
			copies.Group, copies.Cluster = append(copies.Group, d.Group...), append(copies.Cluster, d.Cluster...)
		}
		got, err := competing.ClusteredGray(1, 0, copies, nil, 1)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("%d copies", k), got.ChiSquare, want.ChiSquare, 1e-9)
		weighted := d
		for range d.Exit {
			weighted.Weight = append(weighted.Weight, float64(k))
		}
		if got, err = competing.ClusteredGray(1, 0, weighted, nil, 1); err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("weight %d for all", k), got.ChiSquare, want.ChiSquare, 1e-9)
	}
}

// Pairs with one frailty, in groups that do not differ: the clustered test keeps its level where the
// other, which takes the two for two people, does not. 400 sets; three standard errors are 0.033.
func TestClusteredGrayHoldsItsLevel(t *testing.T) {
	const sets, pairs = 400, 120
	clustered, naive := 0, 0
	for i := range uint64(sets) {
		d := frailPairs(random.Stream(i, "clustered Gray level", 0), pairs)
		test, err := competing.ClusteredGray(1, 0, d, nil, 1)
		if err != nil {
			t.Fatal(err)
		}
		if test.P < 0.05 {
			clustered++
		}
		if test, err = competing.Gray(1, 0, mustCount(t, d)); err != nil {
			t.Fatal(err)
		}
		if test.P < 0.05 {
			naive++
		}
	}
	if share := float64(clustered) / sets; math.Abs(share-0.05) > 0.033 {
		t.Errorf("%.3f of the clustered p-values are below 0.05", share)
	}
	if share := float64(naive) / sets; share < 0.09 {
		t.Errorf("%.3f of the p-values that know of no clusters are below 0.05: these sets show nothing", share)
	}
}

// frailPairs makes pairs in one group each: cause 1 with a rate that both share, cause 2 and the end
// of observation at random.
func frailPairs(r *rand.Rand, pairs int) survival.Data {
	d := survival.Data{Groups: 2, Causes: 2}
	for p := range pairs {
		frailty := math.Exp(2.5 * r.NormFloat64())
		for range 2 {
			event, other, end := r.ExpFloat64()/frailty*400, r.ExpFloat64()*600, 100+900*r.Float64()
			cause := uint8(0)
			switch {
			case event <= other && event <= end:
				cause = 1
			case other <= end:
				cause = 2
			}
			d.Exit, d.Cause = append(d.Exit, int32(min(event, other, end))), append(d.Cause, cause)
			d.Group, d.Cluster = append(d.Group, int32(p%2)), append(d.Cluster, int32(p))
		}
	}
	return d
}

func TestClusteredGrayStates(t *testing.T) {
	one := survival.Data{Exit: []int32{1, 2, 3, 4}, Cause: []uint8{1, 0, 1, 1}, Group: []int32{0, 1, 1, 0}, Cluster: []int32{3, 3, 3, 3}, Groups: 2}
	after := survival.Data{Exit: []int32{1, 1, 2, 3}, Cause: []uint8{1, 1, 1, 1}, Group: []int32{0, 0, 1, 1}, Groups: 2}
	none := survival.Data{Exit: []int32{1, 2}, Cause: []uint8{0, 0}, Group: []int32{0, 1}, Groups: 2}
	nothing := survival.Data{Exit: []int32{1, 2}, Cause: []uint8{1, 1}, Group: []int32{0, 1}, Weight: []float64{0, 0}, Groups: 2}
	for name, c := range map[string]struct {
		d    survival.Data
		want survival.Status
	}{"one cluster": {one, survival.OneCluster}, "one after another": {after, survival.NotComparable}, "no events": {none, survival.NoEvents},
		"no rows": {survival.Data{Groups: 2}, survival.NoEvents}, "no weight": {nothing, survival.NotComparable}} {
		got, err := competing.ClusteredGray(1, 0, c.d, nil, 1)
		if err != nil || got.Status != c.want || got.P != 0 || got.ChiSquare != 0 {
			t.Errorf("%s: %+v, %v, want %v", name, got, err, c.want)
		}
	}
	late := one
	late.Entry = []int32{0, 0, 1, 0}
	many := survival.Data{Exit: []int32{1}, Cause: []uint8{1}, Groups: competing.MostClusteredGroups + 1}
	for name, d := range map[string]survival.Data{"late entries": late, "too many groups": many} {
		if _, err := competing.ClusteredGray(1, 0, d, nil, 1); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// The covariance of two incidences against numerical derivatives.
func TestCovarianceOfTwoGroupsAgainstNumericalDerivatives(t *testing.T) {
	for seed := range uint64(200) {
		r := random.Stream(seed, "covariance of incidences", 0)
		d := randomData(r)
		for range d.Exit {
			d.Weight = append(d.Weight, 0.2+2*r.Float64())
			d.Cluster = append(d.Cluster, int32(r.IntN(1+len(d.Exit)/2)))
		}
		counts, layout := mustCount(t, d), mustLayOut(t, d)
		var curves [2]*competing.Curve
		for g := range curves {
			var err error
			if curves[g], err = competing.Incidence(counts, g, 1).RobustFrom(layout.Group(g)); err != nil {
				t.Fatal(err)
			}
		}
		for _, at := range []float64{0, 1, 4, 8} {
			want := 0.0
			first, second := incidenceSlopes(d, 0, at), incidenceSlopes(d, 1, at)
			for cluster, x := range first {
				want += x * second[cluster]
			}
			if got := curves[0].Influence(at).With(curves[1].Influence(at)); math.Abs(got-want) > 1e-8 {
				t.Fatalf("seed %d at %v: covariance %v, by derivatives %v\n%+v", seed, at, got, want, d)
			}
		}
	}
	if competing.Incidence(mustCount(t, survival.Data{Exit: []int32{1}, Cause: []uint8{1}}), 0, 1).Influence(1) != nil {
		t.Error("an incidence of independent rows has influences")
	}
}

// incidenceSlopes returns, for each cluster, Σ w ∂F/∂w over its rows.
func incidenceSlopes(d survival.Data, group int, at float64) map[int32]float64 {
	by := map[int32]float64{}
	for j, w := range d.Weight {
		const h = 1e-5
		moved := slices.Clone(d.Weight)
		moved[j] = w + h
		up := weightedIncidence(d, moved, group, 1, at)
		moved[j] = w - h
		by[d.Cluster[j]] += w * (up - weightedIncidence(d, moved, group, 1, at)) / (2 * h)
	}
	return by
}
