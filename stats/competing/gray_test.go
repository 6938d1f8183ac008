package competing_test

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/random"
	"deltoid/stats/references"
	"deltoid/stats/survival"
)

type grayCase struct {
	incidenceCase
	Results struct {
		Rho0 grayResult `json:"gray_rho0"`
		Rho1 grayResult `json:"gray_rho1"`
	}
}

type grayResult struct {
	Cause    []int
	ChiSq, P references.Column
	DF       references.Column
}

// The references hold one program's results only; the tests of scores and covariance below do
// not rest on it.
func TestGrayAgainstReferences(t *testing.T) {
	for id, stratum := range map[string]string{
		"cif_melanoma_ulcer": "", "cif_melanoma_ulcer_strata_sex": "sex", "cif_pbc_stage": "", "cif_mgus1_agegrp": "", "cif_edge_time_zero_ties": "",
	} {
		t.Run(id, func(t *testing.T) {
			var c incidenceCase
			var want grayCase
			references.Expected(t, id, &c)
			references.Expected(t, id, &want)
			strata := grayStrata(t, &c, stratum)
			for rho, results := range []grayResult{want.Results.Rho0, want.Results.Rho1} {
				for i, cause := range results.Cause {
					got, err := competing.Gray(cause, float64(rho), strata...)
					if err != nil {
						t.Fatal(err)
					}
					name := fmt.Sprintf("cause %d rho %d: ", cause, rho)
					near(t, name+"chi-square", got.ChiSquare, results.ChiSq[i], 1e-9)
					near(t, name+"p", got.P, results.P[i], 1e-9)
					near(t, name+"df", float64(got.DF), results.DF[i], 0)
				}
			}
		})
	}
}

func grayStrata(t *testing.T, c *incidenceCase, column string) (strata []*survival.Counts) {
	t.Helper()
	all := c.data(t)
	if column == "" {
		return []*survival.Counts{mustCountReal(t, all)}
	}
	labels := references.Data(t, c.Data)[column]
	for _, label := range slices.Compact(slices.Sorted(slices.Values(labels))) {
		part := survival.RealData{Groups: all.Groups, Causes: all.Causes}
		for i, l := range labels {
			if l == label {
				part.Exit, part.Cause, part.Group = append(part.Exit, all.Exit[i]), append(part.Cause, all.Cause[i]), append(part.Group, all.Group[i])
			}
		}
		strata = append(strata, mustCountReal(t, part))
	}
	return strata
}

// slowGray works out score and covariance from daily counts, piece by piece with quadratic work,
// for sets without late entries.
func slowGray(d survival.Data, cause int, rho float64, k int) (score, v []float64) {
	var pieces []piece
	days := make([][]slowDay, k)
	for g := range k {
		days[g] = slowDays(d, g, slices.Max(d.Exit)+1)
	}
	score, v = make([]float64, k), make([]float64, k*k)
	c := make([]float64, k*k) // C so far
	pooled := 0.0
	for day := range days[0] {
		own, total, expected, any := 0.0, 0.0, 0.0, false
		y, f := make([]float64, k), make([]float64, k)
		for g := range k {
			x := days[g][day]
			if day > 0 {
				f[g] = days[g][day-1].incidence[cause]
			}
			if x.n > 0 {
				y[g] = x.n / x.before
			}
			own += x.events[cause]
			any = any || x.d > 0
			total += y[g]
			expected += y[g] * (1 - f[g])
		}
		if !any {
			continue
		}
		after := pooled + own/total
		height := math.Pow(1-pooled, rho)
		a := make([]float64, k*k)
		for i := range k {
			for j := range k {
				a[i*k+j] = -height * y[i] * y[j] / total
				if i == j {
					a[i*k+j] += height * y[i]
				}
				c[i*k+j] += a[i*k+j] * own / total / (1 - pooled)
			}
		}
		for g := range k {
			x := days[g][day]
			if own > 0 {
				score[g] += height * (x.events[cause] - own*y[g]*(1-f[g])/expected)
			}
			if x.n == 0 {
				continue
			}
			p := piece{group: g, start: slices.Clone(c), influence: make([]float64, k)}
			if own > 0 {
				p.w, p.q = x.before*own/(total*x.n), 1
				if own > 1 && total*x.before > 1 {
					p.w *= 1 - (own-1)/(total*x.before-1)
				}
				p.w = max(0, p.w)
				if x.after > 0 {
					p.q = 1 - (1-after)/x.after
				}
				for i := range k {
					p.influence[i] = a[i*k+g]
				}
				pieces = append(pieces, p)
			}
			if other := x.d - x.events[cause]; other > 0 && x.after > 0 {
				p.w, p.q, p.influence = x.before*x.before*other/(x.n*x.n), (1-after)/x.after, make([]float64, k)
				if other > 1 {
					p.w *= 1 - (other-1)/(x.n-1)
				}
				pieces = append(pieces, p)
			}
		}
		pooled = after
	}
	for _, p := range pieces {
		for i := range k {
			for j := range k {
				gi := p.influence[i] + p.q*(c[i*k+p.group]-p.start[i*k+p.group])
				gj := p.influence[j] + p.q*(c[j*k+p.group]-p.start[j*k+p.group])
				v[i*k+j] += p.w * gi * gj
			}
		}
	}
	return score, v
}

// piece is one independent part of the score of every group.
type piece struct {
	group     int
	w, q      float64
	start     []float64 // C when it arose
	influence []float64
}

func TestGrayAgainstSlowTwin(t *testing.T) {
	for seed := range uint64(1000) {
		r := random.Stream(seed, "Gray twin", 0)
		d := randomData(r)
		clear(d.Entry)
		d.Groups = 3
		for i := range d.Group {
			d.Group[i] = int32(r.IntN(3))
		}
		cause, rho := 1+int(seed%causes), float64(seed%2)
		got, err := competing.Gray(cause, rho, mustCount(t, d))
		if err != nil {
			t.Fatal(err)
		}
		score, v := slowGray(d, cause, rho, 3)
		for i, want := range append(score, v...) {
			have := slices.Concat(got.Score, got.Variance)[i]
			if math.Abs(have-want) > 1e-9*(1+math.Abs(want)) {
				t.Fatalf("seed %d: number %d is %v, want %v\n%+v", seed, i, have, want, d)
			}
		}
	}
}

// More groups than a vector has room for, and more days than are taken at once.
func TestGrayOfManyGroupsAgainstSlowTwin(t *testing.T) {
	for seed := range uint64(4) {
		r := random.Stream(seed, "Gray twin of many groups", 0)
		k, days := 5+r.IntN(9), 280+r.IntN(300)
		d := survival.Data{Groups: k, Causes: causes}
		for range 420 {
			d.Entry, d.Exit = append(d.Entry, 0), append(d.Exit, int32(r.IntN(days)))
			d.Cause, d.Group = append(d.Cause, uint8(r.IntN(causes+1))), append(d.Group, int32(float64(k)*r.Float64()*r.Float64()))
		}
		got, err := competing.Gray(1, float64(seed%2), mustCount(t, d))
		if err != nil {
			t.Fatal(err)
		}
		score, v := slowGray(d, 1, float64(seed%2), k)
		for i, want := range append(score, v...) {
			near(t, fmt.Sprintf("seed %d, number %d", seed, i), slices.Concat(got.Score, got.Variance)[i], want, 1e-9)
		}
	}
}

// A small group with events when the large one is gone brings F of both together beyond 1.
func TestGrayBeyondOneAgainstSlowTwin(t *testing.T) {
	beyond := 0
	for seed := range uint64(300) {
		r := random.Stream(seed, "Gray beyond one", 0)
		d := survival.Data{Groups: 2, Causes: causes}
		add := func(group, day int32, cause uint8) {
			d.Entry, d.Exit, d.Cause, d.Group = append(d.Entry, 0), append(d.Exit, day), append(d.Cause, cause), append(d.Group, group)
		}
		for range 20 {
			add(0, int32(r.IntN(6)), uint8(min(1, r.IntN(5))))
		}
		for range 5 {
			add(1, int32(4+r.IntN(8)), 1)
		}
		got, err := competing.Gray(1, 1, mustCount(t, d))
		if err != nil {
			t.Fatal(err)
		}
		if got.Status != survival.Estimated {
			continue
		}
		beyond++
		score, v := slowGray(d, 1, 1, 2)
		for i, want := range append(score, v...) {
			near(t, fmt.Sprintf("seed %d, number %d", seed, i), slices.Concat(got.Score, got.Variance)[i], want, 1e-9)
		}
	}
	if beyond < 100 {
		t.Errorf("%d sets compared", beyond)
	}
}

func TestGrayOnAnyNumberOfProcessors(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	d := largeData(20_000, 2)
	r := random.Stream(1, "groups", 0)
	d.Groups = 130
	for range d.Exit {
		d.Group = append(d.Group, int32(r.IntN(d.Groups)))
	}
	counts := mustCount(t, d)
	var want *competing.Test
	for _, processors := range []int{1, 2, 7} {
		runtime.GOMAXPROCS(processors)
		got, err := competing.Gray(1, 0, counts)
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

// With no competing events and no ties Gray's score is that of the log-rank test.
func TestGrayWithoutCompetingEventsIsLogRank(t *testing.T) {
	r := random.Stream(9, "Gray is log-rank", 0)
	d := survival.Data{Groups: 3}
	for i := range 200 {
		d.Exit, d.Cause, d.Group = append(d.Exit, int32(i)), append(d.Cause, uint8(r.IntN(2))), append(d.Group, int32(r.IntN(3)))
	}
	counts := mustCount(t, d)
	gray, err := competing.Gray(1, 0, counts)
	if err != nil {
		t.Fatal(err)
	}
	rank, err := survival.LogRank(1, survival.Equal, counts)
	if err != nil {
		t.Fatal(err)
	}
	for g := range gray.Score {
		near(t, "score", gray.Score[g], rank.Score[g], 1e-11)
	}
}

// The published set of 1,384 elderly subjects and the fourteen-subject set (see published_test.go);
// recomputed with the R package cmprsk to the digits shown.
func TestGrayOnPublishedSets(t *testing.T) {
	counts := mustCountReal(t, mgus2(t, references.Read(t, published+"/mgus2_cr.csv")))
	for cause, want := range map[int][2]float64{1: {1.1945078, .274422157}, 2: {11.6512590, .000641591}} {
		got, err := competing.Gray(cause, 0, counts)
		if err != nil {
			t.Fatal(err)
		}
		printed(t, "statistic", got.ChiSquare, want[0], 7)
		printed(t, "p", got.P, want[1], 9)
	}
	d := survival.Data{
		Exit:  []int32{1, 2, 3, 4, 4, 4, 5, 5, 6, 8, 8, 9, 10, 12},
		Cause: []uint8{1, 2, 0, 1, 0, 0, 2, 1, 0, 0, 2, 0, 1, 0}, Causes: 2, Groups: 2,
	}
	for _, x := range []int{5, 4, 3, 1, 2, 1, 1, 2, 2, 4, 6, 1, 2, 0} {
		d.Group = append(d.Group, int32(min(1, x/3)))
	}
	for cause, want := range map[int]float64{1: 0.017413448, 2: 1.388360045} {
		got, err := competing.Gray(cause, 0, mustCount(t, d))
		if err != nil {
			t.Fatal(err)
		}
		printed(t, "fourteen subjects", got.ChiSquare, want, 9)
	}
}

func TestGrayStates(t *testing.T) {
	for name, c := range map[string]struct {
		d    survival.Data
		want survival.Status
	}{
		"no events":      {survival.Data{Exit: []int32{1, 2}, Cause: []uint8{0, 2}, Group: []int32{0, 1}, Groups: 2, Causes: 2}, survival.NoEvents},
		"one group":      {survival.Data{Exit: []int32{1, 2}, Cause: []uint8{1, 2}, Causes: 2}, survival.NotComparable},
		"all at once":    {survival.Data{Exit: []int32{1, 1}, Cause: []uint8{1, 1}, Group: []int32{0, 1}, Groups: 2}, survival.NotComparable},
		"an empty group": {survival.Data{Exit: []int32{1, 2, 3}, Cause: []uint8{1, 1, 0}, Group: []int32{0, 0, 0}, Groups: 2}, survival.NotComparable},
		// Half of all have the event with the first group, half with the second, and one is still to come.
		"one after another": {survival.Data{Exit: []int32{1, 1, 2, 3}, Cause: []uint8{1, 1, 1, 1}, Group: []int32{0, 0, 1, 1}, Groups: 2}, survival.NotComparable},
		"nobody in a group": {survival.Data{Groups: 2}, survival.NoEvents},
	} {
		got, err := competing.Gray(1, 0, mustCount(t, c.d))
		if err != nil {
			t.Fatal(err)
		}
		if got.Status != c.want || got.P != 0 {
			t.Errorf("%s: %v with p %v, want %v", name, got.Status, got.P, c.want)
		}
	}
}

func TestGrayRefuses(t *testing.T) {
	good := mustCount(t, survival.Data{Exit: []int32{1, 2}, Cause: []uint8{1, 0}, Group: []int32{0, 1}, Groups: 2})
	late := mustCount(t, survival.Data{Entry: []int32{0, 1}, Exit: []int32{1, 2}, Cause: []uint8{1, 0}, Group: []int32{0, 1}, Groups: 2})
	heavy := mustCount(t, survival.Data{Exit: []int32{1, 2}, Cause: []uint8{1, 0}, Weight: []float64{1, 2}, Groups: 2})
	for name, try := range map[string]func() (*competing.Test, error){
		"no strata":    func() (*competing.Test, error) { return competing.Gray(1, 0) },
		"cause 0":      func() (*competing.Test, error) { return competing.Gray(0, 0, good) },
		"cause 2 of 1": func() (*competing.Test, error) { return competing.Gray(2, 0, good) },
		"late entries": func() (*competing.Test, error) { return competing.Gray(1, 0, late) },
		"weights":      func() (*competing.Test, error) { return competing.Gray(1, 0, heavy) },
		"rho":          func() (*competing.Test, error) { return competing.Gray(1, math.NaN(), good) },
		"other groups": func() (*competing.Test, error) { return competing.Gray(1, 0, good, good.Pooled()) },
	} {
		if _, err := try(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// Under no difference p-values are uniform: of 800 sets about 5 % fall below 0.05. Three standard
// errors of that share are 0.023.
func TestGrayHoldsItsLevel(t *testing.T) {
	const sets = 800
	below := 0
	for set := range uint64(sets) {
		r := random.Stream(11, "level of Gray's test", set)
		d := survival.Data{Groups: 3, Causes: 2}
		for range 150 {
			event, censored := r.ExpFloat64()*300, r.Float64()*600
			cause := uint8(0)
			if event < censored {
				cause = uint8(1 + r.IntN(2))
			}
			d.Exit, d.Cause, d.Group = append(d.Exit, int32(min(event, censored))), append(d.Cause, cause), append(d.Group, int32(r.IntN(3)))
		}
		got, err := competing.Gray(1, 0, mustCount(t, d))
		if err != nil {
			t.Fatal(err)
		}
		if got.P < 0.05 {
			below++
		}
	}
	if share := float64(below) / sets; math.Abs(share-0.05) > 0.023 {
		t.Errorf("%.3f of the p-values are below 0.05", share)
	}
}

// Counting and Gray's test of a million rows.
func BenchmarkGray(b *testing.B) {
	for _, groups := range []int{3, 400} {
		b.Run(fmt.Sprintf("rows=1000000/groups=%d", groups), func(b *testing.B) {
			d := largeData(1_000_000, 2)
			r := random.Stream(1, "groups", 0)
			d.Groups = groups
			for range d.Exit {
				d.Group = append(d.Group, int32(r.IntN(groups)))
			}
			for b.Loop() {
				c, err := survival.Count(d)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := competing.Gray(1, 0, c); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
