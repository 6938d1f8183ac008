package survival_test

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// clusteredSet makes rows in three groups and two strata, with weights and clusters that cross
// both.
func clusteredSet(r *rand.Rand, weighted bool) (rows []row, d survival.Data, stratum []int32) {
	rows = randomRows(r, 3, 2)
	d = columns(rows, 3, 2)
	for range rows {
		d.Cluster = append(d.Cluster, int32(r.IntN(1+len(rows)/2)))
		stratum = append(stratum, int32(r.IntN(2)))
		if weighted {
			d.Weight = append(d.Weight, 0.2+2*r.Float64())
		}
	}
	return rows, d, stratum
}

// slowClustered works out score and covariance from the rows by the definitions.
func slowClustered(rows []row, d survival.Data, stratum []int32, cause, k int) (score, v []float64) {
	weight := func(i int) float64 {
		if d.Weight == nil {
			return 1
		}
		return d.Weight[i]
	}
	atRisk := func(i, day int) bool {
		return day <= int(rows[i].exit) && (rows[i].entry == 0 || int(rows[i].entry) < day)
	}
	last := 0
	for _, x := range rows {
		last = max(last, int(x.exit))
	}
	score, v = make([]float64, k), make([]float64, k*k)
	byCluster := map[int32][]float64{}
	for i := range rows {
		if byCluster[d.Cluster[i]] == nil {
			byCluster[d.Cluster[i]] = make([]float64, k)
		}
		for day := 0; day <= last; day++ {
			n, events, nj := 0.0, 0.0, make([]float64, k)
			for j, x := range rows {
				if stratum[j] != stratum[i] || !atRisk(j, day) {
					continue
				}
				n += weight(j)
				nj[x.group] += weight(j)
				if int(x.exit) == day && int(x.cause) == cause {
					events += weight(j)
				}
			}
			if events == 0 || !atRisk(i, day) {
				continue
			}
			own := 0.0
			if int(rows[i].exit) == day && int(rows[i].cause) == cause {
				own = 1
			}
			for g := range k {
				mine := 0.0
				if int(rows[i].group) == g {
					mine = 1
				}
				byCluster[d.Cluster[i]][g] += weight(i) * (mine - nj[g]/n) * (own - events/n)
			}
		}
	}
	for _, sum := range byCluster {
		for j := range k {
			score[j] += sum[j]
			for l := range k {
				v[j*k+l] += sum[j] * sum[l]
			}
		}
	}
	return score, v
}

func TestClusteredLogRankAgainstSlowTwin(t *testing.T) {
	for seed := range uint64(1000) {
		rows, d, stratum := clusteredSet(random.Stream(seed, "clustered twin", 0), seed%2 == 0)
		got, err := survival.ClusteredLogRank(1, survival.Equal, d, stratum, 2)
		if err != nil {
			t.Fatal(err)
		}
		score, v := slowClustered(rows, d, stratum, 1, 3)
		for i := range score {
			// The sum of what the rows add is the score itself: their expected parts cancel.
			if math.Abs(got.Score[i]-score[i]) > 1e-12 {
				t.Fatalf("seed %d: score %v, want %v", seed, got.Score[i], score[i])
			}
		}
		for i := range v {
			if math.Abs(got.Variance[i]-v[i]) > 1e-11 {
				t.Fatalf("seed %d: variance %v, want %v", seed, got.Variance[i], v[i])
			}
		}
	}
}

// Many groups, more times than are multiplied at once, and rows of every kind: alone, in clusters,
// late, with weights.
func TestClusteredLogRankOfManyGroups(t *testing.T) {
	const k = 11
	for seed := range uint64(12) {
		r := random.Stream(seed, "clustered, many groups", 0)
		var rows []row
		var stratum []int32
		d := survival.Data{Groups: k, Entry: []int32{}}
		for i := range 250 {
			x := row{exit: int32(r.IntN(400)), cause: uint8(r.IntN(6) / 2 % 2), group: int32(r.IntN(k))}
			if seed%3 == 1 && x.exit > 0 && r.IntN(2) == 0 {
				x.entry = int32(r.IntN(int(x.exit)))
			}
			cluster := int32(i)
			if r.IntN(3) == 0 {
				cluster = int32(1000 + r.IntN(30))
			}
			rows, stratum = append(rows, x), append(stratum, int32(r.IntN(2)))
			d.Entry, d.Exit, d.Cause = append(d.Entry, x.entry), append(d.Exit, x.exit), append(d.Cause, x.cause)
			d.Group, d.Cluster = append(d.Group, x.group), append(d.Cluster, cluster)
			if seed%3 == 2 {
				d.Weight = append(d.Weight, 0.2+2*r.Float64())
			}
		}
		got, err := survival.ClusteredLogRank(1, survival.Equal, d, stratum, 2)
		if err != nil {
			t.Fatal(err)
		}
		score, v := slowClustered(rows, d, stratum, 1, k)
		for i := range score {
			near(t, "score", got.Score[i], score[i], 1e-11)
		}
		for i := range v {
			if math.Abs(got.Variance[i]-v[i]) > 1e-10 {
				t.Fatalf("seed %d: variance %v, want %v", seed, got.Variance[i], v[i])
			}
		}
	}
}

func TestClusteredLogRankOnAnyNumberOfProcessors(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	d := bigData(40_000, 150, 1, true)
	r := random.Stream(4, "clusters on processors", 0)
	for range d.Exit {
		d.Cluster = append(d.Cluster, int32(r.IntN(40_000)))
	}
	var want *survival.Test
	for _, processors := range []int{1, 2, 7} {
		runtime.GOMAXPROCS(processors)
		got := clusteredTest(t, d)
		if want != nil && (got.ChiSquare != want.ChiSquare || !slices.Equal(got.Variance, want.Variance)) {
			t.Errorf("%d processors: chi-square %v, on one %v", processors, got.ChiSquare, want.ChiSquare)
		}
		want = got
	}
	if want.DF != 149 {
		t.Errorf("df %d, want 149", want.DF)
	}
}

// Two groups one after the other are never at risk together, whatever the clusters; beside a third
// that is there all along, they are compared with that.
func TestClusteredLogRankOfGroupsApart(t *testing.T) {
	d := survival.Data{Groups: 2, Entry: []int32{0, 0, 0, 10, 10, 10}, Exit: []int32{3, 4, 8, 13, 14, 18},
		Cause: []uint8{1, 1, 0, 1, 1, 0}, Group: []int32{0, 0, 0, 1, 1, 1}, Cluster: []int32{1, 2, 3, 1, 4, 3}}
	if apart := clusteredTest(t, d); apart.Status != survival.NotComparable {
		t.Errorf("groups that never meet: %v with chi-square %v", apart.Status, apart.ChiSquare)
	}
	d.Groups, d.Entry, d.Exit = 3, append(d.Entry, 0, 0), append(d.Exit, 20, 20)
	d.Cause, d.Group, d.Cluster = append(d.Cause, 0, 0), append(d.Group, 2, 2), append(d.Cluster, 5, 6)
	if with := clusteredTest(t, d); with.DF != 2 {
		t.Errorf("df %d beside a group that meets both, want 2", with.DF)
	}
}

// The score is that of the plain test; copies of every row in its own cluster leave the clustered
// statistic where it was, while the plain one grows with them.
func TestClusteredLogRankOfCopies(t *testing.T) {
	r := random.Stream(21, "copies in a test", 0)
	var rows []row
	for len(rows) < 60 {
		rows = append(rows, randomRows(r, 2, 1)...)
	}
	d := columns(rows, 2, 1)
	for i := range rows {
		d.Cluster = append(d.Cluster, int32(i/2))
	}
	copies := survival.Data{Groups: 2}
	const k = 3
	for i := range rows {
		for range k {
			copies.Entry, copies.Exit = append(copies.Entry, d.Entry[i]), append(copies.Exit, d.Exit[i])
			copies.Cause, copies.Group = append(copies.Cause, d.Cause[i]), append(copies.Group, d.Group[i])
			copies.Cluster = append(copies.Cluster, d.Cluster[i])
		}
	}
	one, many := clusteredTest(t, d), clusteredTest(t, copies)
	near(t, "clustered statistic of copies", many.ChiSquare, one.ChiSquare, 1e-10)
	if one.Clusters != (len(rows)+1)/2 || many.Clusters != one.Clusters {
		t.Errorf("%d and %d clusters", one.Clusters, many.Clusters)
	}
	plain, err := survival.LogRank(1, survival.Equal, mustCount(t, d))
	if err != nil {
		t.Fatal(err)
	}
	for g := range plain.Score {
		near(t, "score", one.Score[g], plain.Score[g], 1e-12)
		near(t, "expected", one.Expected[g], plain.Expected[g], 1e-12)
	}
	if plain.Clusters != 0 {
		t.Errorf("the plain test says it has %d clusters", plain.Clusters)
	}
}

func clusteredTest(t *testing.T, d survival.Data) *survival.Test {
	t.Helper()
	got, err := survival.ClusteredLogRank(1, survival.Equal, d, nil, 1)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// Pairs with one common frailty, one of each pair in each group or both in one: p-values of the
// clustered test must be uniform where the plain one is not. 600 sets; three standard errors of a
// share of 0.05 are 0.027.
func TestClusteredLogRankHoldsItsLevel(t *testing.T) {
	const sets, pairs = 600, 120
	clustered, plain := 0, 0
	for set := range uint64(sets) {
		r := random.Stream(22, "frailty", set)
		d := survival.Data{Groups: 2}
		for pair := range pairs {
			frailty, group := math.Exp(1.5*r.NormFloat64()), int32(r.IntN(2))
			for range 2 {
				event, censored := 300*r.ExpFloat64()/frailty, 500*r.Float64()
				cause := uint8(0)
				if event < censored {
					cause = 1
				}
				d.Exit, d.Cause = append(d.Exit, int32(min(event, censored))), append(d.Cause, cause)
				d.Group, d.Cluster = append(d.Group, group), append(d.Cluster, int32(pair))
			}
		}
		if clusteredTest(t, d).P < 0.05 {
			clustered++
		}
		naive, err := survival.LogRank(1, survival.Equal, mustCount(t, d))
		if err != nil {
			t.Fatal(err)
		}
		if naive.P < 0.05 {
			plain++
		}
	}
	if share := float64(clustered) / sets; math.Abs(share-0.05) > 0.027 {
		t.Errorf("clustered: %.3f of the p-values are below 0.05", share)
	}
	if share := float64(plain) / sets; share < 0.08 {
		t.Errorf("plain: only %.3f are below 0.05; the sets no longer show why clusters matter", share)
	}
}

func TestClusteredLogRankStates(t *testing.T) {
	none := clusteredTest(t, survival.Data{Exit: []int32{1, 2}, Cause: []uint8{0, 0}, Group: []int32{0, 1}, Groups: 2})
	if none.Status != survival.NoEvents {
		t.Errorf("no events: %v", none.Status)
	}
	one := clusteredTest(t, survival.Data{Exit: []int32{1, 2}, Cause: []uint8{1, 1}})
	if one.Status != survival.NotComparable {
		t.Errorf("one group: %v", one.Status)
	}
	if _, err := survival.ClusteredLogRank(1, survival.Equal, survival.Data{Exit: []int32{-1}, Cause: []uint8{0}}, nil, 1); err == nil {
		t.Error("a bad row was accepted")
	}
}
