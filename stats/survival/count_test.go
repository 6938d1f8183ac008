package survival_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// printCounts shows every count, through the public functions only.
func printCounts(c *survival.Counts) string {
	var b strings.Builder
	for g := range c.Groups() {
		fmt.Fprintln(&b, c.N(g), c.LastDay(g), *c.LifeTable(g))
		for cause := range c.Causes() + 1 {
			k := c.ProductLimit(g, cause)
			fmt.Fprintln(&b, c.Events(g, cause), k.Time, k.AtRisk, k.Events, k.Censored, k.Survival, k.Variance)
		}
	}
	return b.String()
}

func TestOrderOfRowsDoesNotMatter(t *testing.T) {
	r := random.Stream(1, "shuffles", 0)
	rows := randomRows(r, 3, 2)
	want := printCounts(mustCount(t, columns(rows, 3, 2)))
	for range 100 {
		if got := printCounts(mustCount(t, columns(shuffled(r, rows), 3, 2))); got != want {
			t.Fatalf("shuffled rows give\n%s\nwant\n%s", got, want)
		}
	}
}

// bigData makes rows as a registry has them: years of whole days, few events.
func bigData(n, groups, causes int, late bool) survival.Data {
	r := random.Stream(uint64(n), "big data", uint64(groups*256+causes))
	d := survival.Data{Exit: make([]int32, n), Cause: make([]uint8, n), Groups: groups, Causes: causes}
	if groups > 1 {
		d.Group = make([]int32, n)
	}
	if late {
		d.Entry = make([]int32, n)
	}
	for i := range n {
		d.Exit[i] = int32(r.IntN(7301))
		if r.IntN(10) == 0 {
			d.Cause[i] = uint8(1 + r.IntN(causes))
		}
		if groups > 1 {
			d.Group[i] = int32(r.IntN(groups))
		}
		if late && d.Exit[i] > 0 && r.IntN(2) == 0 {
			d.Entry[i] = int32(r.IntN(int(d.Exit[i])))
		}
	}
	return d
}

// rowsForTwoWorkers is where the counting begins to use a second processor.
const rowsForTwoWorkers = 1 << 17

func TestNumberOfProcessorsDoesNotMatter(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for _, groups := range []int{1, 3, 200} {
		d := bigData(rowsForTwoWorkers+20_000, groups, 2, groups == 3)
		var want string
		for _, processors := range []int{1, 2, 7} {
			runtime.GOMAXPROCS(processors)
			got := printCounts(mustCount(t, d))
			if want == "" {
				want = got
			}
			if got != want {
				t.Errorf("%d groups: %d processors give other counts than 1", groups, processors)
			}
		}
	}
}

// Sorted by group first, each group must come out as if it were counted alone; in days and in
// shifts of eight hours, which with their causes do not fit 16 bits.
func TestGroupsAreCountedAsIfAlone(t *testing.T) {
	const groups = 12
	for _, unit := range []int32{1, 3} {
		d := bigData(rowsForTwoWorkers+10_000, groups, 3, true)
		for i := range d.Exit {
			d.Exit[i], d.Entry[i] = unit*d.Exit[i], unit*d.Entry[i]
		}
		parts := make([]survival.Data, groups)
		for i, g := range d.Group {
			p := &parts[g]
			p.Causes = d.Causes
			p.Entry, p.Exit, p.Cause = append(p.Entry, d.Entry[i]), append(p.Exit, d.Exit[i]), append(p.Cause, d.Cause[i])
		}
		counts := mustCount(t, d)
		for g, p := range parts {
			if printCounts(counts.Select(g)) != printCounts(mustCount(t, p)) {
				t.Errorf("unit %d: group %d is not counted as if it were alone", unit, g)
			}
		}
	}
}

// The table and the sort must count alike. Moving one row far away forces the sort.
func TestSortAndTableAgree(t *testing.T) {
	for _, groups := range []int{1, 5} {
		d := bigData(20_000, groups, 3, true)
		table := mustCount(t, d)
		far := d
		far.Exit = append(slices.Clone(d.Exit), math.MaxInt32)
		far.Cause = append(slices.Clone(d.Cause), 0)
		far.Entry = append(slices.Clone(d.Entry), 0)
		if groups > 1 {
			far.Group = append(slices.Clone(d.Group), 0)
		}
		sorted := mustCount(t, far)
		if sorted.LastDay(0) != math.MaxInt32 {
			t.Fatalf("last day %d", sorted.LastDay(0))
		}
		lone := mustCount(t, survival.Data{Exit: []int32{math.MaxInt32}, Cause: []uint8{0}, Groups: groups, Causes: 3})
		if err := table.Add(lone); err != nil {
			t.Fatal(err)
		}
		if printCounts(table) != printCounts(sorted) {
			t.Errorf("%d groups: sorting and counting in a table differ", groups)
		}
	}
}

func TestCountsAddUp(t *testing.T) {
	for seed := range uint64(300) {
		r := random.Stream(seed, "files", 0)
		rows := randomRows(r, 3, 2)
		want := printCounts(mustCount(t, columns(rows, 3, 2)))
		sum := mustCount(t, columns(nil, 3, 2))
		for len(rows) > 0 {
			n := 1 + r.IntN(len(rows))
			if err := sum.Add(mustCount(t, columns(rows[:n], 3, 2))); err != nil {
				t.Fatal(err)
			}
			rows = rows[n:]
		}
		if got := printCounts(sum); got != want {
			t.Fatalf("seed %d: parts add up to\n%s\nwant\n%s", seed, got, want)
		}
	}
}

// Pooling is counting as if there were no groups, for whole and real times, with and without
// weights.
func TestPooledIsOneGroup(t *testing.T) {
	d := bigData(20_000, 7, 2, true)
	one := d
	one.Group, one.Groups = nil, 1
	if printCounts(mustCount(t, d).Pooled()) != printCounts(mustCount(t, one)) {
		t.Error("whole times: pooled counts differ from counts of one group")
	}
	weight := make([]float64, len(d.Exit))
	for i := range weight {
		weight[i] = float64(1 + i%3)
	}
	d.Weight, one.Weight = weight, weight
	if printCounts(mustCount(t, d).Pooled()) != printCounts(mustCount(t, one)) {
		t.Error("weights: pooled counts differ from counts of one group")
	}
	real := func(x survival.Data) *survival.Counts {
		r := survival.RealData{Cause: x.Cause, Group: x.Group, Groups: x.Groups, Causes: 2}
		for i := range x.Exit {
			r.Entry, r.Exit = append(r.Entry, float64(x.Entry[i])/7), append(r.Exit, float64(x.Exit[i])/7)
		}
		c, err := survival.CountReal(r)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	if printCounts(real(d).Pooled()) != printCounts(real(one)) {
		t.Error("real times: pooled counts differ from counts of one group")
	}
}

func TestAddRefusesOtherGroups(t *testing.T) {
	a, b := mustCount(t, columns(nil, 3, 2)), mustCount(t, columns(nil, 2, 2))
	if err := a.Add(b); err == nil {
		t.Error("counts of 2 groups were added to counts of 3")
	}
}

func TestBadRowsAreNamed(t *testing.T) {
	good := func() survival.Data {
		return survival.Data{Entry: []int32{0, 0, 2}, Exit: []int32{0, 4, 5}, Cause: []uint8{1, 0, 2}, Group: []int32{0, 1, 1}, Groups: 2, Causes: 2}
	}
	mustCount(t, good())
	for _, c := range []struct {
		name   string
		spoil  func(*survival.Data)
		row    int
		column string
	}{
		{"negative exit", func(d *survival.Data) { d.Exit[1] = -1 }, 1, "Exit"},
		{"unknown cause", func(d *survival.Data) { d.Cause[2] = 3 }, 2, "Cause"},
		{"negative group", func(d *survival.Data) { d.Group[0] = -1 }, 0, "Group"},
		{"group too large", func(d *survival.Data) { d.Group[1] = 2 }, 1, "Group"},
		{"smallest group", func(d *survival.Data) { d.Group[1] = math.MinInt32 }, 1, "Group"},
		{"negative entry", func(d *survival.Data) { d.Entry[1] = -3 }, 1, "Entry"},
		{"entry at exit", func(d *survival.Data) { d.Entry[2] = 5 }, 2, "Entry"},
		{"two of them", func(d *survival.Data) { d.Exit[1] = -1; d.Cause[0] = 9 }, 0, "Cause"},
	} {
		d := good()
		c.spoil(&d)
		_, err := survival.Count(d)
		var bad *survival.RowError
		if !errors.As(err, &bad) || bad.Row != c.row || bad.Column != c.column {
			t.Errorf("%s: error %v, want row %d, %s", c.name, err, c.row, c.column)
		}
	}
}

func TestColumnsOfOtherLengthsAreRefused(t *testing.T) {
	for _, d := range []survival.Data{
		{Exit: []int32{1}},
		{Exit: []int32{1}, Cause: []uint8{0}, Entry: []int32{0, 0}},
		{Exit: []int32{1}, Cause: []uint8{0}, Group: []int32{}},
		{Causes: 256}, {Groups: 1 << 25},
	} {
		if _, err := survival.Count(d); err == nil {
			t.Errorf("%+v was counted", d)
		}
	}
}

func TestRealTimesRefuseWhatIsNoTime(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), -0.5} {
		_, err := survival.CountReal(survival.RealData{Exit: []float64{1, bad}, Cause: []uint8{0, 0}})
		var row *survival.RowError
		if !errors.As(err, &row) || row.Row != 1 || row.Column != "Exit" {
			t.Errorf("exit %v: error %v", bad, err)
		}
	}
	_, err := survival.CountReal(survival.RealData{Entry: []float64{2.5}, Exit: []float64{2.5}, Cause: []uint8{0}})
	if err == nil || !strings.Contains(err.Error(), "2.5") {
		t.Errorf("entry at exit: error %v, want the times in it", err)
	}
	if _, err := survival.CountReal(survival.RealData{Exit: []float64{1}, Cause: []uint8{0}, Entry: []float64{}}); err == nil {
		t.Error("an Entry without rows was counted")
	}
}

// Real-valued times that happen to be whole days, divided by any number, keep their risk sets.
func TestRealTimesKeepTies(t *testing.T) {
	r := random.Stream(3, "real times", 0)
	d := bigData(5_000, 2, 2, true)
	days := mustCount(t, d)
	scaled := survival.RealData{Cause: d.Cause, Group: d.Group, Groups: 2, Causes: 2}
	unit := 1 + 100*r.Float64()
	for i := range d.Exit {
		scaled.Exit = append(scaled.Exit, float64(d.Exit[i])/unit)
		scaled.Entry = append(scaled.Entry, float64(d.Entry[i])/unit)
	}
	real, err := survival.CountReal(scaled)
	if err != nil {
		t.Fatal(err)
	}
	for g := range 2 {
		a, b := days.ProductLimit(g, 1), real.ProductLimit(g, 1)
		if !slices.Equal(a.Survival, b.Survival) || !slices.Equal(a.AtRisk, b.AtRisk) || !slices.Equal(a.Variance, b.Variance) {
			t.Errorf("group %d: curves differ between days and days/%v", g, unit)
		}
	}
}

func benchmarkData(b *testing.B, n, groups, causes int) survival.Data {
	r := rand.New(rand.NewPCG(1, 2))
	d := survival.Data{Exit: make([]int32, n), Cause: make([]uint8, n), Groups: groups, Causes: causes}
	if groups > 1 {
		d.Group = make([]int32, n)
	}
	for i := range n {
		d.Exit[i] = int32(r.IntN(5480))
		if x := r.IntN(100); x < 5*causes {
			d.Cause[i] = uint8(1 + x%causes)
		}
		if groups > 1 {
			d.Group[i] = int32(r.IntN(groups))
		}
	}
	b.ReportAllocs()
	return d
}

// How long counting and the product-limit of all groups take, 15 years of whole days.
func BenchmarkProductLimit(b *testing.B) {
	for _, n := range []int{100_000, 1_000_000, 10_000_000} {
		for _, groups := range []int{1, 3, 400} {
			b.Run(fmt.Sprintf("rows=%d/groups=%d", n, groups), func(b *testing.B) {
				d := benchmarkData(b, n, groups, 1)
				for b.Loop() {
					c, err := survival.Count(d)
					if err != nil {
						b.Fatal(err)
					}
					for g := range groups {
						c.ProductLimit(g, 1)
					}
				}
			})
		}
	}
}

// The same with real-valued times, nearly all of them distinct.
func BenchmarkRealTimes(b *testing.B) {
	const n = 1_000_000
	r := rand.New(rand.NewPCG(1, 2))
	d := survival.RealData{Exit: make([]float64, n), Cause: make([]uint8, n)}
	for i := range n {
		d.Exit[i], d.Cause[i] = 15*r.Float64(), uint8(r.IntN(20)/19)
	}
	for b.Loop() {
		c, err := survival.CountReal(d)
		if err != nil {
			b.Fatal(err)
		}
		c.ProductLimit(0, 1)
	}
}
