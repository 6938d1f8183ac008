package survival_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// row is one subject of a random set.
type row struct {
	entry, exit int32
	cause       uint8
	group       int32
}

// randomRows makes a small set with heavy ties, events on day 0, late entries in half of the
// sets, and groups that may be empty.
func randomRows(r *rand.Rand, groups, causes int) []row {
	rows := make([]row, 1+r.IntN(40))
	days, late := 1+r.IntN(12), r.IntN(2) == 0
	for i := range rows {
		x := row{exit: int32(r.IntN(days + 1)), cause: uint8(r.IntN(causes + 1)), group: int32(r.IntN(groups))}
		if late && x.exit > 0 {
			x.entry = int32(r.IntN(int(x.exit)))
		}
		rows[i] = x
	}
	return rows
}

func columns(rows []row, groups, causes int) survival.Data {
	d := survival.Data{Groups: groups, Causes: causes, Entry: []int32{}, Exit: []int32{}, Cause: []uint8{}, Group: []int32{}}
	for _, x := range rows {
		d.Entry = append(d.Entry, x.entry)
		d.Exit = append(d.Exit, x.exit)
		d.Cause = append(d.Cause, x.cause)
		d.Group = append(d.Group, x.group)
	}
	return d
}

func mustCount(t testing.TB, d survival.Data) *survival.Counts {
	t.Helper()
	c, err := survival.Count(d)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// slowAtRisk is the rule for numbers at risk, word by word.
func slowAtRisk(rows []row, group int, t float64) (n int64) {
	for _, x := range rows {
		if int(x.group) == group && t >= 0 && t <= float64(x.exit) && (x.entry == 0 || float64(x.entry) < t) {
			n++
		}
	}
	return n
}

// slowProductLimit works out S(t) and Greenwood's standard error day by day from the rows.
func slowProductLimit(rows []row, group, cause int, t float64) (s, se float64, events int64) {
	s = 1
	var sum float64
	for day := 0; float64(day) <= t; day++ {
		n, d := float64(slowAtRisk(rows, group, float64(day))), 0.0
		for _, x := range rows {
			if int(x.group) == group && int(x.exit) == day && x.cause > 0 && (cause == 0 || int(x.cause) == cause) {
				d++
			}
		}
		if d > 0 {
			events += int64(d)
			s *= 1 - d/n
			sum += d / (n * (n - d))
		}
	}
	return s, s * math.Sqrt(sum), events
}

func TestAgainstSlowTwin(t *testing.T) {
	const groups, causes = 3, 2
	for seed := range uint64(3000) {
		rows := randomRows(random.Stream(seed, "product-limit twin", 0), groups, causes)
		counts := mustCount(t, columns(rows, groups, causes))
		for g := range groups {
			for cause := range causes + 1 {
				curve := counts.ProductLimit(g, cause)
				for _, at := range []float64{0, 0.5, 1, 2, 3.5, 4, 7, 12} {
					comparePoint(t, seed, rows, curve, at)
				}
			}
		}
		if t.Failed() {
			t.Fatalf("seed %d: %v", seed, rows)
		}
	}
}

func comparePoint(t *testing.T, seed uint64, rows []row, curve *survival.Curve, at float64) {
	t.Helper()
	p := curve.At(at)
	if want := slowAtRisk(rows, curve.Group, at); p.AtRisk != want {
		t.Errorf("seed %d: at risk at %v is %d, want %d", seed, at, p.AtRisk, want)
	}
	s, se, events := slowProductLimit(rows, curve.Group, curve.Cause, at)
	if p.Events != events {
		t.Errorf("seed %d: %d events by %v, want %d", seed, p.Events, at, events)
	}
	if p.Status == survival.Estimated && math.Abs(p.Value-s) > 1e-14 {
		t.Errorf("seed %d: S(%v) = %v, want %v", seed, at, p.Value, s)
	}
	if p.Limits == survival.Estimated && math.Abs(p.SE-se) > 1e-14 {
		t.Errorf("seed %d: SE(%v) = %v, want %v", seed, at, p.SE, se)
	}
	if want := slowStatus(rows, curve, p, s); p.Status != want {
		t.Errorf("seed %d: status at %v is %v, want %v", seed, at, p.Status, want)
	}
}

// slowStatus is the rule for where a curve may be read: where somebody is at risk, or after it
// reached 0.
func slowStatus(rows []row, curve *survival.Curve, p survival.Point, s float64) survival.Status {
	var members, events, last int32
	for _, x := range rows {
		if int(x.group) == curve.Group {
			members++
			last = max(last, x.exit)
			if x.cause > 0 && (curve.Cause == 0 || int(x.cause) == curve.Cause) {
				events++
			}
		}
	}
	switch {
	case members == 0:
		return survival.NoRows
	case s == 0:
		return survival.Estimated
	case p.AtRisk == 0 && p.T > float64(last):
		return survival.BeyondFollowUp
	case p.AtRisk == 0:
		return survival.NobodyAtRisk
	case events == 0:
		return survival.NoEvents
	}
	return survival.Estimated
}

// Numbers at risk of the groups add up to the overall number at every tick, and a curve takes its
// denominators from the same rule as the table under a figure.
func TestNumbersAtRiskAddUp(t *testing.T) {
	const groups = 3
	for seed := range uint64(500) {
		rows := randomRows(random.Stream(seed, "at risk", 0), groups, 1)
		counts := mustCount(t, columns(rows, groups, 1))
		pooled := counts.Pooled()
		for at := -1.0; at < 15; at += 0.5 {
			var sum int64
			for g := range groups {
				sum += counts.AtRisk(g, at)
			}
			if sum != pooled.AtRisk(0, at) {
				t.Fatalf("seed %d: groups sum to %d at %v, overall %d", seed, sum, at, pooled.AtRisk(0, at))
			}
		}
		for g := range groups {
			curve := counts.ProductLimit(g, 1)
			for i, at := range curve.Time {
				if curve.AtRisk[i] != counts.AtRisk(g, at) {
					t.Fatalf("seed %d: the curve divides by %d at %v, the table says %d", seed, curve.AtRisk[i], at, counts.AtRisk(g, at))
				}
			}
		}
	}
}

// Subjects split into two stretches at a time count once at every time.
func TestSplittingAStretchChangesNothing(t *testing.T) {
	for seed := range uint64(300) {
		r := random.Stream(seed, "split", 0)
		rows := randomRows(r, 2, 2)
		var split []row
		for _, x := range rows {
			if x.exit-x.entry < 2 {
				split = append(split, x)
				continue
			}
			middle := x.entry + 1 + int32(r.IntN(int(x.exit-x.entry-1)))
			split = append(split, row{x.entry, middle, 0, x.group}, row{middle, x.exit, x.cause, x.group})
		}
		whole, parts := mustCount(t, columns(rows, 2, 2)), mustCount(t, columns(split, 2, 2))
		for g := range 2 {
			for at := 0.0; at < 13; at++ {
				if a, b := whole.AtRisk(g, at), parts.AtRisk(g, at); a != b {
					t.Fatalf("seed %d: %d at risk at %v whole, %d split", seed, a, at, b)
				}
				a, b := whole.ProductLimit(g, 1).At(at), parts.ProductLimit(g, 1).At(at)
				if a != b {
					t.Fatalf("seed %d at %v: %+v whole, %+v split", seed, at, a, b)
				}
			}
		}
	}
}

func shuffled(r *rand.Rand, rows []row) []row {
	out := slices.Clone(rows)
	r.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}
