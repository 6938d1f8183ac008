package competing_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/random"
	"deltoid/stats/survival"
)

const groups, causes = 2, 3

// randomData makes a small set with heavy ties within and between causes, events on day 0, late
// entries in half of the sets, and sets without any censored row or without some cause.
func randomData(r *rand.Rand) survival.Data {
	n, days, late := 1+r.IntN(40), 1+r.IntN(10), r.IntN(2) == 0
	firstCause, lastCause := r.IntN(2), 1+r.IntN(causes)
	d := survival.Data{Groups: groups, Causes: causes, Entry: make([]int32, n)}
	for i := range n {
		exit := int32(r.IntN(days + 1))
		if late && exit > 0 {
			d.Entry[i] = int32(r.IntN(int(exit)))
		}
		d.Exit = append(d.Exit, exit)
		d.Cause = append(d.Cause, uint8(firstCause+r.IntN(lastCause-firstCause+1)))
		d.Group = append(d.Group, int32(r.IntN(groups)))
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

// slowDay is what the rows say about one day of a group.
type slowDay struct {
	n, d          float64
	events        [causes + 1]float64
	before, after float64 // event-free
	incidence     [causes + 1]float64
}

// slowDays works out every day up to last from the rows, by the definitions.
func slowDays(d survival.Data, group int, last int32) []slowDay {
	days := []slowDay{}
	free, incidence := 1.0, [causes + 1]float64{}
	for day := int32(0); day <= last; day++ {
		x := slowDay{before: free}
		for i, exit := range d.Exit {
			if int(d.Group[i]) != group || exit < day || d.Entry[i] > 0 && d.Entry[i] >= day {
				continue
			}
			x.n++
			if exit == day && d.Cause[i] > 0 {
				x.events[d.Cause[i]]++
				x.d++
			}
		}
		for k := 1; k <= causes && x.n > 0; k++ {
			incidence[k] += free * x.events[k] / x.n
		}
		if x.d > 0 {
			free *= (x.n - x.d) / x.n
		}
		x.after, x.incidence = free, incidence
		days = append(days, x)
	}
	return days
}

// slowDelta is the delta-method variance at the last of the days, as it is printed, with
// quadratic work.
func slowDelta(days []slowDay, cause int) (v float64) {
	end := days[len(days)-1].incidence[cause]
	for _, x := range days {
		if x.d == 0 {
			continue
		}
		own, e := x.events[cause], end-x.incidence[cause]
		if x.n > x.d {
			v += e * e * x.d / (x.n * (x.n - x.d))
		}
		v += x.before * x.before * own * (x.n - own) / (x.n * x.n * x.n)
		v -= 2 * e * x.before * own / (x.n * x.n)
	}
	return v
}

// slowAalen is the counting-process variance in the same way.
func slowAalen(days []slowDay, cause int) (v float64) {
	end := days[len(days)-1].incidence[cause]
	tied := func(d, n float64) float64 {
		if d > 1 {
			return d * (1 - (d-1)/(n-1))
		}
		return d
	}
	for _, x := range days {
		e := 0.0
		if x.after > 0 {
			e = (end - x.incidence[cause]) / x.after
		}
		if own := x.events[cause]; own > 0 {
			v += x.before * x.before * (1 - e) * (1 - e) * tied(own, x.n) / (x.n * x.n)
		}
		if other := x.d - x.events[cause]; other > 0 {
			v += x.before * x.before * e * e * tied(other, x.n) / (x.n * x.n)
		}
	}
	return v
}

func TestAgainstSlowTwin(t *testing.T) {
	for seed := range uint64(3000) {
		d := randomData(random.Stream(seed, "incidence twin", 0))
		counts := mustCount(t, d)
		for g := range groups {
			days := slowDays(d, g, 12)
			set := competing.All(counts, g)
			for row, at := range set.Time {
				soFar := days[:int(at)+1]
				compareRow(t, set, row, soFar)
			}
		}
		if t.Failed() {
			t.Fatalf("seed %d: %+v", seed, d)
		}
	}
}

func compareRow(t *testing.T, set *competing.Set, row int, days []slowDay) {
	t.Helper()
	today := days[len(days)-1]
	sum := set.EventFree[row]
	for cause := 1; cause <= causes; cause++ {
		k := set.Cause(cause)
		sum += k.Incidence[row]
		for _, c := range []struct {
			what      string
			got, want float64
		}{
			{"at risk", float64(k.AtRisk[row]), today.n},
			{"events", float64(k.Events[row]), today.events[cause]},
			{"incidence", k.Incidence[row], today.incidence[cause]},
			{"event-free", set.EventFree[row], today.after},
			{"delta variance", k.Delta[row], slowDelta(days, cause)},
			{"Aalen variance", k.Aalen[row], slowAalen(days, cause)},
		} {
			if math.Abs(c.got-c.want) > 1e-13 {
				t.Errorf("group %d cause %d day %v: %s %v, want %v", set.Group, cause, set.Time[row], c.what, c.got, c.want)
			}
		}
	}
	if math.Abs(sum-1) > 1e-12 {
		t.Errorf("group %d day %v: incidences and event-free sum to %v", set.Group, set.Time[row], sum)
	}
}

// With one cause the incidence is 1 − product-limit and its variance is Greenwood's.
func TestOneCauseIsTheProductLimit(t *testing.T) {
	for seed := range uint64(500) {
		d := randomData(random.Stream(seed, "one cause", 0))
		for i := range d.Cause {
			d.Cause[i] = min(d.Cause[i], 1)
		}
		counts := mustCount(t, d)
		for g := range groups {
			incidence, free := competing.Incidence(counts, g, 1), counts.ProductLimit(g, 1)
			for row := range incidence.Time {
				s := free.Survival[row]
				if math.Abs(incidence.Incidence[row]-(1-s)) > 1e-14 {
					t.Fatalf("seed %d: incidence %v, survival %v", seed, incidence.Incidence[row], s)
				}
				if green := s * s * free.Variance[row]; s > 0 && math.Abs(incidence.Delta[row]-green) > 1e-14 {
					t.Fatalf("seed %d: variance %v, Greenwood %v", seed, incidence.Delta[row], green)
				}
			}
		}
	}
}

// Without censoring the incidence is a proportion, and its variance the binomial one.
func TestWithoutCensoringItIsAProportion(t *testing.T) {
	for seed := range uint64(300) {
		r := random.Stream(seed, "no censoring", 0)
		n := 1 + r.IntN(50)
		d := survival.Data{Causes: 2}
		for range n {
			d.Exit = append(d.Exit, int32(r.IntN(8)))
			d.Cause = append(d.Cause, uint8(1+r.IntN(2)))
		}
		curve := competing.Incidence(mustCount(t, d), 0, 1)
		events := 0.0
		for row := range curve.Time {
			events += float64(curve.Events[row])
			p := events / float64(n)
			if math.Abs(curve.Incidence[row]-p) > 1e-14 || math.Abs(curve.Delta[row]-p*(1-p)/float64(n)) > 1e-14 {
				t.Fatalf("seed %d: %v (%v), want %v (%v)", seed, curve.Incidence[row], curve.Delta[row], p, p*(1-p)/float64(n))
			}
		}
	}
}

// A million rows over twenty years: the sum must hold at every day, also where thousands of small
// steps have been added.
func TestSumIsOneInALargeCohort(t *testing.T) {
	counts := mustCount(t, largeData(1_000_000, 6))
	set := competing.All(counts, 0)
	for row := range set.Time {
		sum := set.EventFree[row]
		for cause := 1; cause <= set.Causes(); cause++ {
			sum += set.Cause(cause).Incidence[row]
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Fatalf("day %v: sum is 1%+g", set.Time[row], sum-1)
		}
	}
}

func TestOrderOfRowsDoesNotMatter(t *testing.T) {
	r := random.Stream(5, "shuffled incidence", 0)
	d := randomData(r)
	want := fmt.Sprint(printSet(competing.All(mustCount(t, d), 0)))
	for range 100 {
		r.Shuffle(len(d.Exit), func(i, j int) {
			d.Exit[i], d.Exit[j] = d.Exit[j], d.Exit[i]
			d.Entry[i], d.Entry[j] = d.Entry[j], d.Entry[i]
			d.Cause[i], d.Cause[j] = d.Cause[j], d.Cause[i]
			d.Group[i], d.Group[j] = d.Group[j], d.Group[i]
		})
		if got := printSet(competing.All(mustCount(t, d), 0)); got != want {
			t.Fatalf("shuffled rows give\n%s\nwant\n%s", got, want)
		}
	}
}

func printSet(s *competing.Set) (text string) {
	text = fmt.Sprintln(s.N, s.Time, s.AtRisk, s.EventFree)
	for cause := 1; cause <= s.Causes(); cause++ {
		k := s.Cause(cause)
		text += fmt.Sprintln(k.Events, k.Incidence, k.Delta, k.Aalen)
	}
	return text
}

func largeData(n, causes int) survival.Data {
	r := random.Stream(uint64(n), "large incidence", 0)
	d := survival.Data{Exit: make([]int32, n), Cause: make([]uint8, n), Causes: causes}
	for i := range n {
		d.Exit[i] = int32(r.IntN(7305))
		if r.IntN(4) == 0 {
			d.Cause[i] = uint8(1 + r.IntN(causes))
		}
	}
	return d
}

// Counting, and the incidences of six causes with both variances.
func BenchmarkIncidence(b *testing.B) {
	for _, n := range []int{100_000, 1_000_000, 10_000_000} {
		b.Run(fmt.Sprintf("rows=%d/causes=6", n), func(b *testing.B) {
			d := largeData(n, 6)
			b.ReportAllocs()
			for b.Loop() {
				c, err := survival.Count(d)
				if err != nil {
					b.Fatal(err)
				}
				competing.All(c, 0)
			}
		})
	}
}
