package monitor_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"deltoid/stats/dist"
	"deltoid/stats/monitor"
	"deltoid/stats/random"
	"deltoid/stats/survival"
)

func clusters(t *testing.T, d survival.Data) *monitor.Clusters {
	t.Helper()
	c, err := monitor.Cluster(d)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// whole is all follow-up of the groups of the data, in its own unit.
func whole(t *testing.T, d survival.Data, cause int) *monitor.Spread {
	t.Helper()
	return clusters(t, d).Spread(cause, 0, math.Inf(1), 1, d.Group, d.Groups)
}

func must[T any](t *testing.T) func(x T, err error) T {
	return func(x T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
}

func clusteredRows(r *rand.Rand, n, clusters int) survival.Data {
	d := survival.Data{Groups: 3, Causes: 2}
	for range n {
		exit := int32(r.IntN(60))
		entry := int32(0)
		if exit > 0 && r.IntN(3) == 0 {
			entry = int32(r.IntN(int(exit)))
		}
		d.Entry, d.Exit = append(d.Entry, entry), append(d.Exit, exit)
		d.Cause, d.Group = append(d.Cause, uint8(r.IntN(3))), append(d.Group, int32(r.IntN(3)))
		d.Cluster = append(d.Cluster, int32(r.IntN(clusters)))
	}
	return d
}

// Four patients, two of them with two shoulders; two revisions in 12 years, so 1/6 a year. Residuals:
// patient 0 (1 − 2/6) + (0 − 2/6) = 1/3, patient 1 (1 − 1/6) = 5/6, patient 2 (0 − 3/6) + (0 − 1/6) = −2/3,
// patient 3 (0 − 3/6) = −1/2. Squares over rows 4/9 + 1/9 + 25/36 + 1/4 + 1/36 + 1/4 = 64/36, over
// patients 4/36 + 25/36 + 16/36 + 9/36 = 54/36: a design effect of 54/64.
func TestDesignEffectByHand(t *testing.T) {
	d := survival.Data{Exit: []int32{2, 2, 1, 3, 1, 3}, Cause: []uint8{1, 0, 1, 0, 0, 0}, Cluster: []int32{0, 0, 1, 2, 2, 3}, Groups: 1, Causes: 1}
	r := must[monitor.Rate](t)(whole(t, d, 1).Rate(0, 1, 0.95, monitor.Exact))
	if !within(r.Effect, 54.0/64, 1e-14) || r.Value != 1.0/6 || r.Limits != monitor.Estimated {
		t.Errorf("%+v, want a design effect of 54/64", r)
	}
	lower, upper := dist.RealPoissonLimits(2*64.0/54, 0.95)
	if !within(r.Lower, lower*54/64/12, 1e-12) || !within(r.Upper, upper*54/64/12, 1e-12) {
		t.Errorf("%v to %v, want %v to %v", r.Lower, r.Upper, lower*54/64/12, upper*54/64/12)
	}
	// Without an event rows of a patient are taken to be wholly alike: (16+1+16+9) / (4+4+1+9+1+9).
	d.Cause = make([]uint8, 6)
	r = must[monitor.Rate](t)(whole(t, d, 1).Rate(0, 1, 0.95, monitor.Exact))
	if !within(r.Effect, 42.0/28, 1e-14) || r.Lower != 0 || !within(r.Upper, -math.Log(0.025)*1.5/12, 1e-12) {
		t.Errorf("without events %+v", r)
	}
}

// Patients of one shoulder are independent: all is as from the tallies, to the last bit.
func TestSpreadOfIndependentRows(t *testing.T) {
	for seed := range uint64(200) {
		r := random.Stream(seed, "independent spread", 0)
		d := clusteredRows(r, 5+r.IntN(60), 1)
		for i := range d.Cluster {
			d.Cluster[i] = int32(i)
		}
		s := whole(t, d, 1)
		for form := monitor.Exact; form <= monitor.MidP; form++ {
			got, want := must[monitor.Rate](t)(s.Rate(1, 100, 0.9, form)), must[monitor.Rate](t)(s.Tallies[1].Rate(100, 0.9, form))
			if got != want {
				t.Fatalf("seed %d: rate %+v, want %+v", seed, got, want)
			}
			ratio, other := must[monitor.RateRatio](t)(s.Ratio(0, 2, 0.9, form)), must[monitor.RateRatio](t)(monitor.Ratio(s.Tallies[0], s.Tallies[2], 0.9, form))
			if ratio != other {
				t.Fatalf("seed %d: ratio %+v, want %+v", seed, ratio, other)
			}
			rest := monitor.Others(s.Tallies)[1]
			a := must[monitor.RateDifference](t)(s.Difference(1, monitor.AllOthers, 100, 0.9, form))
			b := must[monitor.RateDifference](t)(monitor.Difference(s.Tallies[1], rest, 100, 0.9, form))
			if a.Status != b.Status || a.Limits != b.Limits || !within(a.Lower, b.Lower, 1e-12) || !within(a.Upper, b.Upper, 1e-12) {
				t.Fatalf("seed %d: difference %+v, want %+v", seed, a, b)
			}
		}
		got, want := must[monitor.Test](t)(s.Homogeneity()), must[monitor.Test](t)(monitor.Homogeneity(s.Tallies))
		if got.Status != want.Status || !within(got.ChiSquare, want.ChiSquare, 1e-12) {
			t.Fatalf("seed %d: %+v, want %+v", seed, got, want)
		}
	}
}

// slowVariance is Σ over clusters (or rows) of (Σ weight of the group × (d − r t))², r by group.
func slowVariance(d survival.Data, weight, rate []float64, byCluster bool) (sum float64) {
	residuals := map[int]float64{}
	for i := range d.Exit {
		key, event := i, 0.0
		if byCluster {
			key = int(d.Cluster[i])
		}
		if d.Cause[i] == 1 {
			event = 1
		}
		g := d.Group[i]
		residuals[key] += weight[g] * (event - rate[g]*float64(d.Exit[i]-d.Entry[i]))
	}
	for _, x := range residuals {
		sum += x * x
	}
	return sum
}

// The slow twin goes over all rows and all clusters for every design effect.
func TestDesignEffectsAgainstSlowTwin(t *testing.T) {
	compared := 0
	for seed := range uint64(500) {
		r := random.Stream(seed, "design effects", 0)
		n := 8 + r.IntN(60)
		d := clusteredRows(r, n, 2+r.IntN(n))
		s := whole(t, d, 1)
		rates := make([]float64, 3)
		for g, x := range s.Tallies {
			rates[g] = float64(x.Events) / x.Exposure
		}
		effect := func(weight ...float64) float64 {
			return slowVariance(d, weight, rates, true) / slowVariance(d, weight, rates, false)
		}
		if s.Tallies[0].Events == 0 || s.Tallies[1].Events == 0 || s.Tallies[2].Events == 0 {
			continue
		}
		compared++
		rate := must[monitor.Rate](t)(s.Rate(1, 1, 0.95, monitor.Exact))
		if rate.Limits == monitor.Estimated && math.Abs(rate.Effect-effect(0, 1, 0)) > 1e-9 {
			t.Fatalf("seed %d: design effect %v of a rate, want %v", seed, rate.Effect, effect(0, 1, 0))
		}
		ratio := must[monitor.RateRatio](t)(s.Ratio(0, 2, 0.95, monitor.MidP))
		want := effect(1/float64(s.Tallies[0].Events), 0, -1/float64(s.Tallies[2].Events))
		if ratio.Limits == monitor.Estimated && math.Abs(ratio.Effect-want) > 1e-9 {
			t.Fatalf("seed %d: design effect %v of a ratio, want %v", seed, ratio.Effect, want)
		}
		others := monitor.Others(s.Tallies)[0]
		rates[1] = float64(others.Events) / others.Exposure
		rates[2] = rates[1]
		ratio = must[monitor.RateRatio](t)(s.Ratio(0, monitor.AllOthers, 0.95, monitor.MidP))
		want = effect(1/float64(s.Tallies[0].Events), -1/float64(others.Events), -1/float64(others.Events))
		if ratio.Limits == monitor.Estimated && math.Abs(ratio.Effect-want) > 1e-9 {
			t.Fatalf("seed %d: design effect %v of a ratio to all others, want %v", seed, ratio.Effect, want)
		}
		all := s.Tallies[0].Plus(others)
		pooled := float64(all.Events) / all.Exposure
		rates = []float64{pooled, pooled, pooled}
		mean := 0.0
		for g, x := range s.Tallies {
			share := x.Exposure / all.Exposure
			weight := []float64{-share, -share, -share}
			weight[g]++
			mean += (1 - share) * effect(weight...) / 2
		}
		test := must[monitor.Test](t)(s.Homogeneity())
		if test.Status == monitor.Estimated && math.Abs(test.Effect-mean) > 1e-9 {
			t.Fatalf("seed %d: mean design effect %v, want %v", seed, test.Effect, mean)
		}
	}
	if compared < 300 {
		t.Errorf("%d sets compared", compared)
	}
}

// Every patient k times in one cluster: no interval and no p-value moves.
func TestRatesOfCopies(t *testing.T) {
	one := clusteredRows(random.Stream(3, "copies of rates", 0), 90, 60)
	want := whole(t, one, 1)
	for _, k := range []int{2, 5} {
		d := survival.Data{Groups: one.Groups, Causes: one.Causes}
		for range k {
			d.Entry, d.Exit, d.Cause = append(d.Entry, one.Entry...), append(d.Exit, one.Exit...), append(d.Cause, one.Cause...)
			d.Group, d.Cluster = append(d.Group, one.Group...), append(d.Cluster, one.Cluster...)
		}
		got := whole(t, d, 1)
		for form := monitor.Exact; form <= monitor.MidP; form++ {
			for g := range 3 {
				a, b := must[monitor.Rate](t)(got.Rate(g, 1, 0.95, form)), must[monitor.Rate](t)(want.Rate(g, 1, 0.95, form))
				if !within(a.Lower, b.Lower, 1e-10) || !within(a.Upper, b.Upper, 1e-10) || !within(a.Effect, b.Effect*float64(k), 1e-10) {
					t.Errorf("%d copies: %+v, want %+v", k, a, b)
				}
				c, e := must[monitor.RateRatio](t)(got.Ratio(g, monitor.AllOthers, 0.95, form)), must[monitor.RateRatio](t)(want.Ratio(g, monitor.AllOthers, 0.95, form))
				if !within(c.Lower, e.Lower, 1e-10) || !within(c.Upper, e.Upper, 1e-10) || !within(c.P, e.P, 1e-9) {
					t.Errorf("%d copies: %+v, want %+v", k, c, e)
				}
				x, y := must[monitor.RateDifference](t)(got.Difference(g, (g+1)%3, 1, 0.95, form)), must[monitor.RateDifference](t)(want.Difference(g, (g+1)%3, 1, 0.95, form))
				if !within(x.Lower, y.Lower, 1e-9) || !within(x.Upper, y.Upper, 1e-9) {
					t.Errorf("%d copies: %+v, want %+v", k, x, y)
				}
			}
		}
		a, b := must[monitor.Test](t)(got.Homogeneity()), must[monitor.Test](t)(want.Homogeneity())
		if a.Status != monitor.Estimated || !within(a.P, b.P, 1e-9) {
			t.Errorf("%d copies: %+v, want %+v", k, a, b)
		}
	}
}

// Parts of follow-up have the tallies of Stretches, and so do the groups.
func TestSpreadHasTheTalliesOfStretches(t *testing.T) {
	for seed := range uint64(300) {
		r := random.Stream(seed, "spread of stretches", 0)
		d := clusteredRows(r, r.IntN(50), 20)
		counts := must[*survival.Counts](t)(survival.Count(d))
		cuts := []float64{0, 7.25, 20, 41.5, math.Inf(1)}
		for cause := range 3 {
			for group := range 3 {
				want := must[[]monitor.Stretch](t)(monitor.Stretches(counts, group, cause, cuts[1:4]...))
				for i, stretch := range want {
					got := clusters(t, d).Spread(cause, cuts[i], cuts[i+1], 1, d.Group, 3).Tallies[group]
					if got.Events != stretch.Events || math.Abs(got.Exposure-stretch.Exposure) > 1e-9 {
						t.Fatalf("seed %d, group %d, stretch %d: %+v, want %+v", seed, group, i, got, stretch)
					}
				}
			}
		}
	}
}

func TestClusteredStates(t *testing.T) {
	pair := survival.Data{Exit: []int32{5, 9, 4}, Cause: []uint8{1, 0, 1}, Cluster: []int32{7, 7, 8}, Group: []int32{0, 0, 1}, Groups: 3, Causes: 1}
	s := whole(t, pair, 1)
	if r := must[monitor.Rate](t)(s.Rate(0, 1, 0.95, monitor.Exact)); r.Status != monitor.Estimated || r.Limits != monitor.OneCluster || r.Upper != 0 || r.Value != 1.0/14 {
		t.Errorf("a group of one patient: %+v", r)
	}
	if r := must[monitor.Rate](t)(s.Rate(1, 1, 0.95, monitor.Exact)); r.Limits != monitor.Estimated || r.Effect != 1 {
		t.Errorf("a group of one row: %+v", r)
	}
	if r := must[monitor.Rate](t)(s.Rate(2, 1, 0.95, monitor.Exact)); r.Status != monitor.NoExposure || r.Limits != monitor.NoExposure {
		t.Errorf("a group of nobody: %+v", r)
	}
	if r := must[monitor.RateRatio](t)(s.Ratio(0, 1, 0.95, monitor.Exact)); r.Status != monitor.Estimated || r.Limits != monitor.OneCluster || r.P != 0 || r.Value != 4.0/14 {
		t.Errorf("a ratio of one patient: %+v", r)
	}
	if r := must[monitor.RateDifference](t)(s.Difference(0, 1, 1, 0.95, monitor.Exact)); r.Status != monitor.Estimated || r.Limits != monitor.OneCluster || r.Lower != 0 {
		t.Errorf("a difference of one patient: %+v", r)
	}
	// Two patients with the same shoulder in each group: nothing is left of the ratio to be unsure of.
	same := survival.Data{Exit: []int32{5, 9, 5, 9}, Cause: []uint8{1, 0, 1, 0}, Cluster: []int32{0, 1, 0, 1}, Group: []int32{0, 0, 1, 1}, Groups: 2, Causes: 1}
	if r := must[monitor.RateRatio](t)(whole(t, same, 1).Ratio(0, 1, 0.95, monitor.Exact)); r.Limits != monitor.NotComparable || r.Value != 1 || r.P != 0 {
		t.Errorf("groups of the same patients: %+v", r)
	}
	if test := must[monitor.Test](t)(whole(t, same, 1).Homogeneity()); test.Status != monitor.NotComparable || test.P != 0 {
		t.Errorf("groups of the same patients: %+v", test)
	}
	all := pair
	all.Cluster = []int32{7, 7, 7}
	if test := must[monitor.Test](t)(whole(t, all, 1).Homogeneity()); test.Status != monitor.OneCluster || test.P != 0 {
		t.Errorf("one patient in all: %+v", test)
	}
	if _, err := monitor.Cluster(survival.Data{Exit: []int32{1}, Cause: []uint8{1}}); err == nil {
		t.Error("rows without clusters were accepted")
	}
	if _, err := monitor.Cluster(survival.Data{Exit: []int32{-1}, Cause: []uint8{1}, Cluster: []int32{0}}); err == nil {
		t.Error("a negative time was accepted")
	}
	nobody := clusters(t, survival.Data{}).Spread(1, 0, 10, 1, nil, 1)
	if r := must[monitor.Rate](t)(nobody.Rate(0, 1, 0.95, monitor.Exact)); r.Status != monitor.NoExposure {
		t.Errorf("nobody: %+v", r)
	}
}

// frailRates draws pairs with one rate of events each.
func frailRates(r *rand.Rand, pairs int) survival.Data {
	d := survival.Data{Groups: 1, Causes: 1}
	for p := range pairs {
		frailty := math.Exp(2*r.NormFloat64() - 2) // mean 1
		for range 2 {
			event, end := r.ExpFloat64()/frailty*3000, 200+800*r.Float64()
			cause := uint8(0)
			if event <= end {
				cause = 1
			}
			d.Exit, d.Cause, d.Cluster = append(d.Exit, int32(min(event, end))+1), append(d.Cause, cause), append(d.Cluster, int32(p))
		}
	}
	return d
}

// The rate of pairs with a frailty in common: the clustered interval covers the rate of a hundred
// thousand of them, where the one for independent shoulders falls short. 1,000 sets; three standard
// errors of 0.95 are 0.021.
func TestClusteredRateCovers(t *testing.T) {
	many := whole(t, frailRates(random.Stream(0, "true rate", 0), 100_000), 1).Tallies[0]
	truth := float64(many.Events) / many.Exposure
	const sets = 1000
	clustered, naive := 0, 0
	for i := range uint64(sets) {
		s := whole(t, frailRates(random.Stream(i, "clustered rate", 0), 150), 1)
		r := must[monitor.Rate](t)(s.Rate(0, 1, 0.95, monitor.MidP))
		if r.Lower <= truth && truth <= r.Upper {
			clustered++
		}
		if r = must[monitor.Rate](t)(s.Tallies[0].Rate(1, 0.95, monitor.MidP)); r.Lower <= truth && truth <= r.Upper {
			naive++
		}
	}
	if share := float64(clustered) / sets; math.Abs(share-0.95) > 0.021 {
		t.Errorf("the clustered interval covers %.3f", share)
	}
	if share := float64(naive) / sets; share > 0.93 {
		t.Errorf("the interval that knows of no clusters covers %.3f: these sets show nothing", share)
	}
}
