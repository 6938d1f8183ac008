package survival_test

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"testing"

	"deltoid/stats/random"
	"deltoid/stats/references"
	"deltoid/stats/survival"
)

type logRankCase struct {
	Data  string
	Input struct {
		Time, Status, Group, Strata, Subset string
		EventCodes                          []float64 `json:"event_codes"`
	}
	Results struct {
		LogRank logRankResult            `json:"logrank"`
		Rho1    logRankResult            `json:"fleming_harrington_rho1"`
		Hand    map[string]logRankResult `json:"hand_coded"`
		Trend   struct {
			Scores   []float64
			ChiSq, P float64
		}
		Pairwise struct {
			First, Second []any
			P             references.Column
			Holm          references.Column `json:"p_holm"`
			BH            references.Column `json:"p_bh"`
		}
	}
}

type logRankResult struct {
	Groups             []any
	N                  []int64
	Observed, Expected []float64
	Variance           [][]float64
	ChiSq              *float64
	DF                 int
	P                  *float64
}

// strata reads the data of the case as one Counts for each stratum.
func (c *logRankCase) strata(t *testing.T) []*survival.Counts {
	t.Helper()
	f := references.Data(t, c.Data)
	labels := []string{}
	for _, g := range c.Results.LogRank.Groups {
		labels = append(labels, fmt.Sprint(g))
	}
	var names []string
	var stratum []int32
	var d survival.Data
	time, status := numbers(f, c.Input.Time), numbers(f, c.Input.Status)
	for i := range time {
		// Rows without a group or stratum are left out, and so are groups outside the case.
		g := slices.Index(labels, f[c.Input.Group][i])
		name := ""
		if c.Input.Strata != "" {
			name = f[c.Input.Strata][i]
		}
		if g < 0 || c.Input.Strata != "" && name == "" {
			continue
		}
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
		cause := uint8(0)
		if slices.Contains(c.Input.EventCodes, status[i]) {
			cause = 1
		}
		d.Exit, d.Cause, d.Group = append(d.Exit, int32(time[i])), append(d.Cause, cause), append(d.Group, int32(g))
		stratum = append(stratum, int32(slices.Index(names, name)))
	}
	d.Groups = len(labels)
	strata, err := survival.CountByStratum(d, stratum, len(names))
	if err != nil {
		t.Fatal(err)
	}
	return strata
}

func weightings(t *testing.T) map[string]survival.Weighting {
	t.Helper()
	out := map[string]survival.Weighting{
		"logrank": survival.Equal, "gehan_breslow": survival.GehanBreslow,
		"tarone_ware": survival.TaroneWare, "peto_peto_modified": survival.PetoPrentice,
	}
	for name, powers := range map[string][2]float64{"fh_1_0": {1, 0}, "fh_0_1": {0, 1}, "fh_1_1": {1, 1}} {
		w, err := survival.FlemingHarrington(powers[0], powers[1])
		if err != nil {
			t.Fatal(err)
		}
		out[name] = w
	}
	return out
}

func TestLogRankAgainstReferences(t *testing.T) {
	for _, id := range []string{
		"logrank_edge_one_each", "logrank_edge_time_zero_ties", "logrank_leukemia6mp", "logrank_leukemia6mp_pairs", "logrank_lung_ecog_trend",
		"logrank_lung_sex_strata_inst", "logrank_ovarian", "logrank_pbc_stage", "logrank_veteran_celltype",
	} {
		t.Run(id, func(t *testing.T) {
			var c logRankCase
			references.Expected(t, id, &c)
			strata := c.strata(t)
			named := weightings(t)
			checkTest(t, strata, survival.Equal, c.Results.LogRank)
			checkTest(t, strata, named["fh_1_0"], c.Results.Rho1)
			for name, want := range c.Results.Hand {
				w, known := named[name]
				if !known {
					t.Fatalf("weighting %q is not known to this test", name)
				}
				checkTest(t, strata, w, want)
			}
			checkTrend(t, &c, strata)
			checkPairs(t, &c, strata)
		})
	}
}

func checkTest(t *testing.T, strata []*survival.Counts, w survival.Weighting, want logRankResult) {
	t.Helper()
	got, err := survival.LogRank(1, w, strata...)
	if err != nil {
		t.Fatal(err)
	}
	name := w.String() + ": "
	k := len(got.N)
	for g := range want.N {
		near(t, name+"n", float64(got.N[g]), float64(want.N[g]), 0)
		near(t, name+"observed", got.Observed[g], want.Observed[g], 1e-12)
		near(t, name+"expected", got.Expected[g], want.Expected[g], 1e-12)
	}
	for i, row := range want.Variance {
		for j, v := range row {
			near(t, name+"variance", got.Variance[i*k+j], v, 1e-11)
		}
	}
	if want.ChiSq == nil {
		if got.Status != survival.NotComparable {
			t.Errorf("%sstatus %v, the reference has no test", name, got.Status)
		}
		return
	}
	near(t, name+"chi-square", got.ChiSquare, *want.ChiSq, 1e-11)
	near(t, name+"p", got.P, *want.P, 1e-10)
	if got.DF != want.DF || got.Status != survival.Estimated {
		t.Errorf("%sdf %d status %v, want %d", name, got.DF, got.Status, want.DF)
	}
}

func checkTrend(t *testing.T, c *logRankCase, strata []*survival.Counts) {
	t.Helper()
	want := c.Results.Trend
	if want.Scores == nil {
		return
	}
	test, err := survival.LogRank(1, survival.Equal, strata...)
	if err != nil {
		t.Fatal(err)
	}
	got, err := test.Trend(want.Scores)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "trend", got.ChiSquare, want.ChiSq, 1e-11)
	near(t, "trend p", got.P, want.P, 1e-10)
	near(t, "trend z squared", got.Z*got.Z, want.ChiSq, 1e-11)
	if _, err := test.Trend([]float64{1}); err == nil {
		t.Error("one score for several groups was accepted")
	}
	if same, _ := test.Trend(make([]float64, len(want.Scores))); same.Status != survival.NotComparable {
		t.Errorf("equal scores give %+v", same)
	}
}

func checkPairs(t *testing.T, c *logRankCase, strata []*survival.Counts) {
	t.Helper()
	want := c.Results.Pairwise
	if want.P == nil {
		return
	}
	pairs, err := survival.Pairwise(1, survival.Equal, strata...)
	if err != nil {
		t.Fatal(err)
	}
	if len(pairs) != len(want.P) {
		t.Fatalf("%d pairs, want %d", len(pairs), len(want.P))
	}
	for i, pair := range pairs {
		labels := c.Results.LogRank.Groups
		if fmt.Sprint(labels[pair.First]) != fmt.Sprint(want.First[i]) || fmt.Sprint(labels[pair.Second]) != fmt.Sprint(want.Second[i]) {
			t.Errorf("pair %d is %v and %v, want %v and %v", i, labels[pair.First], labels[pair.Second], want.First[i], want.Second[i])
		}
		near(t, "pair p", pair.Test.P, want.P[i], 1e-10)
		near(t, "Holm", pair.Holm, want.Holm[i], 1e-10)
		near(t, "Benjamini–Hochberg", pair.BenjaminiHochberg, want.BH[i], 1e-10)
	}
}

// The references say "no test is possible" for these two; a number would be a mistake.
func TestNoTestIsPossible(t *testing.T) {
	for id, status := range map[string]survival.Status{"edge_no_events": survival.NoEvents, "edge_all_same_time": survival.NotComparable} {
		f := references.Data(t, id+".csv")
		labels := slices.Compact(slices.Sorted(slices.Values(f["group"])))
		d := survival.RealData{Exit: numbers(f, "time"), Group: groups(t, f, "group", labels), Groups: len(labels)}
		for _, s := range numbers(f, "status") {
			d.Cause = append(d.Cause, uint8(s))
		}
		got, err := survival.LogRank(1, survival.Equal, countBoth(t, d))
		if err != nil {
			t.Fatal(err)
		}
		if got.Status != status || got.P != 0 || got.ChiSquare != 0 {
			t.Errorf("%s: %+v, want %v", id, got, status)
		}
		var want struct {
			Results struct {
				Observed, Expected []float64
				TestPossible       bool `json:"test_possible"`
			}
		}
		references.Expected(t, "logrank_"+id, &want)
		if want.Results.TestPossible {
			t.Errorf("%s: the reference has a test after all", id)
		}
		for g := range want.Results.Observed {
			near(t, "observed", got.Observed[g], want.Results.Observed[g], 1e-15)
			near(t, "expected", got.Expected[g], want.Results.Expected[g], 1e-15)
		}
	}
}

// Two statistics are in print under one name. Ours is the one with the variance; Σ (O−E)²/E is
// what the British Medical Journal note on 51 gliomas prints (Bland & Altman 2004: O 14 and 28,
// E 22.48 and 19.52, χ² 6.88); the other value was recomputed with R.
func TestGliomas(t *testing.T) {
	f := references.Read(t, "../../testdata/published/data/glioma_bmj2004.csv")
	d := survival.RealData{Exit: numbers(f, "time"), Group: groups(t, f, "grp", []string{"A", "G"}), Groups: 2}
	for _, s := range numbers(f, "status") {
		d.Cause = append(d.Cause, uint8(s))
	}
	got, err := survival.LogRank(1, survival.Equal, countBoth(t, d))
	if err != nil {
		t.Fatal(err)
	}
	printed(t, "expected A", got.Expected[0], 22.48, 2)
	printed(t, "expected G", got.Expected[1], 19.52, 2)
	textbook := 0.0
	for g, e := range got.Expected {
		textbook += (got.Observed[g] - e) * (got.Observed[g] - e) / e
	}
	printed(t, "textbook statistic", textbook, 6.88, 2)
	printed(t, "chi-square", got.ChiSquare, 7.4965941685, 9)
	printed(t, "p", got.P, 0.0061815786, 9)
}

func TestSixMPLogRank(t *testing.T) {
	var c logRankCase
	references.Expected(t, "logrank_leukemia6mp", &c)
	got, err := survival.LogRank(1, survival.Equal, c.strata(t)...)
	if err != nil {
		t.Fatal(err)
	}
	// Equal to the score test of an exact Cox model, which was computed by another routine.
	printed(t, "chi-square", got.ChiSquare, 16.792940989, 9)
}

// slowScores works out scores and their covariance from the rows, day by day, as printed.
func slowScores(rows []row, groups, cause int, weight func(n, d, before, peto float64) float64) (u []float64, v []float64) {
	u, v = make([]float64, groups), make([]float64, groups*groups)
	before, peto := 1.0, 1.0
	for day := 0; day <= 12; day++ {
		n, d, nj, dj := 0.0, 0.0, make([]float64, groups), make([]float64, groups)
		for g := range groups {
			nj[g] = float64(slowAtRisk(rows, g, float64(day)))
			n += nj[g]
		}
		for _, x := range rows {
			if int(x.exit) == day && x.cause > 0 && (cause == 0 || int(x.cause) == cause) {
				dj[x.group]++
				d++
			}
		}
		if d == 0 {
			continue
		}
		peto *= (n + 1 - d) / (n + 1)
		w := weight(n, d, before, peto)
		for j := range groups {
			u[j] += w * (dj[j] - d*nj[j]/n)
			for l := range groups {
				if n > 1 {
					same := 0.0
					if j == l {
						same = 1
					}
					v[j*groups+l] += w * w * d * (n - d) / (n - 1) * nj[j] / n * (same - nj[l]/n)
				}
			}
		}
		before *= 1 - d/n
	}
	return u, v
}

func TestLogRankAgainstSlowTwin(t *testing.T) {
	const groups = 4
	named := weightings(t)
	slow := map[string]func(n, d, before, peto float64) float64{
		"logrank":            func(_, _, _, _ float64) float64 { return 1 },
		"gehan_breslow":      func(n, _, _, _ float64) float64 { return n },
		"tarone_ware":        func(n, _, _, _ float64) float64 { return math.Sqrt(n) },
		"peto_peto_modified": func(_, _, _, peto float64) float64 { return peto },
		"fh_1_1":             func(_, _, before, _ float64) float64 { return before * (1 - before) },
	}
	for seed := range uint64(1500) {
		r := random.Stream(seed, "log-rank twin", 0)
		rows := randomRows(r, groups, 2)
		strata := [][]row{{}, {}}
		d := columns(rows, groups, 2)
		stratum := make([]int32, len(rows))
		for i, x := range rows {
			stratum[i] = int32(r.IntN(2))
			strata[stratum[i]] = append(strata[stratum[i]], x)
		}
		counts, err := survival.CountByStratum(d, stratum, 2)
		if err != nil {
			t.Fatal(err)
		}
		for name, weight := range slow {
			got, err := survival.LogRank(seed2cause(seed), named[name], counts...)
			if err != nil {
				t.Fatal(err)
			}
			u1, v1 := slowScores(strata[0], groups, seed2cause(seed), weight)
			u2, v2 := slowScores(strata[1], groups, seed2cause(seed), weight)
			for i := range u1 {
				if math.Abs(got.Score[i]-u1[i]-u2[i]) > 1e-11 {
					t.Fatalf("seed %d %s: score %v, want %v", seed, name, got.Score[i], u1[i]+u2[i])
				}
			}
			for i := range v1 {
				if math.Abs(got.Variance[i]-v1[i]-v2[i]) > 1e-10 {
					t.Fatalf("seed %d %s: variance %v, want %v", seed, name, got.Variance[i], v1[i]+v2[i])
				}
			}
		}
	}
}

func seed2cause(seed uint64) int { return int(seed % 3) }

// Any order of rows and groups, any number of processors: one result.
func TestLogRankManyGroups(t *testing.T) {
	d := bigData(40_000, 130, 1, true)
	counts := mustCount(t, d)
	a, err := survival.LogRank(1, survival.Equal, counts)
	if err != nil {
		t.Fatal(err)
	}
	reverse := make([]int, 130)
	for i := range reverse {
		reverse[i] = 129 - i
	}
	b, err := survival.LogRank(1, survival.Equal, counts.Select(reverse...))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "chi-square of groups in reverse", b.ChiSquare, a.ChiSquare, 1e-11)
	if a.DF != 129 || b.DF != 129 {
		t.Errorf("df %d and %d, want 129", a.DF, b.DF)
	}
	if a.P < 1e-4 {
		t.Errorf("groups drawn alike differ with p %v", a.P)
	}
}

func TestLogRankOnAnyNumberOfProcessors(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	counts := mustCount(t, bigData(40_000, 300, 1, false))
	var want *survival.Test
	for _, processors := range []int{1, 2, 7} {
		runtime.GOMAXPROCS(processors)
		got, err := survival.LogRank(1, survival.Equal, counts)
		if err != nil {
			t.Fatal(err)
		}
		if want == nil {
			want = got
		}
		if got.ChiSquare != want.ChiSquare || !slices.Equal(got.Variance, want.Variance) {
			t.Errorf("%d processors: chi-square %v, on one %v", processors, got.ChiSquare, want.ChiSquare)
		}
	}
}

func TestLogRankRefusesUnlikeStrata(t *testing.T) {
	a, b := mustCount(t, columns(nil, 3, 1)), mustCount(t, columns(nil, 2, 1))
	if _, err := survival.LogRank(1, survival.Equal, a, b); err == nil {
		t.Error("strata with other groups were accepted")
	}
	if _, err := survival.LogRank(1, survival.Equal); err == nil {
		t.Error("no strata were accepted")
	}
	if _, err := survival.Pairwise(1, survival.Equal, a, b); err == nil {
		t.Error("pairs in strata with other groups were accepted")
	}
	if _, err := survival.LogRank(2, survival.Equal, a); err == nil {
		t.Error("a second cause was accepted where one was counted")
	}
	if _, err := survival.FlemingHarrington(-1, 0); err == nil {
		t.Error("a negative power was accepted")
	}
	if _, err := survival.CountByStratum(survival.Data{Exit: []int32{1}, Cause: []uint8{0}}, []int32{2}, 2); err == nil {
		t.Error("a stratum out of range was accepted")
	}
}

func BenchmarkLogRank(b *testing.B) {
	for _, groups := range []int{3, 400} {
		b.Run(fmt.Sprintf("rows=1000000/groups=%d", groups), func(b *testing.B) {
			d := benchmarkData(b, 1_000_000, groups, 1)
			for b.Loop() {
				c, err := survival.Count(d)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := survival.LogRank(1, survival.Equal, c); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// What the clustered test costs, one row in six being in a cluster of two.
func BenchmarkClusteredLogRank(b *testing.B) {
	for _, groups := range []int{3, 400} {
		b.Run(fmt.Sprintf("rows=1000000/groups=%d", groups), func(b *testing.B) {
			d := pairedData(b, 1_000_000, groups)
			for b.Loop() {
				if _, err := survival.ClusteredLogRank(1, survival.Equal, d, nil, 1); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// pairedData puts one row in six into a cluster with its neighbour.
func pairedData(b *testing.B, n, groups int) survival.Data {
	d := benchmarkData(b, n, groups, 1)
	d.Cluster = make([]int32, n)
	for i := range d.Cluster {
		d.Cluster[i] = int32(i - i/11)
	}
	return d
}

// What a registry of 400 hospitals costs: counting a million rows once, all curves, and the test.
func BenchmarkHospitals(b *testing.B) {
	d := benchmarkData(b, 1_000_000, 400, 1)
	for b.Loop() {
		c, err := survival.Count(d)
		if err != nil {
			b.Fatal(err)
		}
		for g := range c.Groups() {
			c.ProductLimit(g, 1)
		}
		if _, err := survival.LogRank(1, survival.Equal, c); err != nil {
			b.Fatal(err)
		}
	}
}
