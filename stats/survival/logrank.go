package survival

import (
	"errors"
	"fmt"
	"runtime"

	"deltoid/stats/dist"
	"deltoid/stats/numeric"
)

// Test is the result of comparing groups over the whole of their follow-up. Slices have one
// element for each group.
type Test struct {
	Weighting Weighting
	Cause     int
	Strata    int
	// Clusters is the number of clusters that Variance was summed over; 0 where it is the
	// hypergeometric one.
	Clusters int
	// N and Events are the rows and events that the test used, over all strata.
	N, Events []int64
	// Observed and Expected are the weighted sums of events; with equal weights the numbers of
	// events themselves and what they would be if the groups did not differ.
	Observed, Expected []float64
	// Score is Observed − Expected and Variance its covariance, rows one after the other.
	Score, Variance []float64
	ChiSquare       float64
	DF              int
	P               float64
	// Status is Estimated, NoEvents, NotComparable where the variance is 0, or OneCluster. In any but the
	// first ChiSquare and P are 0 and not to be shown.
	Status Status
}

// LogRank compares the groups of the counts by their events of one cause (0: any), every other
// cause being censored. With several Counts each is a stratum with the same groups: groups are
// compared within strata and the differences added up.
//
//	U_j = Σ w (d_j − d n_j/n)
//	V_jl = Σ w² d(n−d)/(n−1) · n_j/n · (δ_jl − n_l/n)
//	χ² = Uᵀ V⁻ U
//
// over times with d events among n at risk, d_j and n_j of them in group j. The variance is the
// hypergeometric one. The statistic Σ (O−E)²/E that many textbooks print instead is another,
// smaller one: it takes the variance without regard to ties and to how the groups overlap.
//
// Groups that are never at risk together with another at the time of an event do not count
// towards the degrees of freedom.
//
// Sources: Mantel, Cancer Chemother. Rep. 50 (1966) 163–170; Peto & Peto, J. R. Stat. Soc. A 135
// (1972) 185–207.
func LogRank(cause int, w Weighting, strata ...*Counts) (*Test, error) {
	if err := sameShape(strata); err != nil {
		return nil, err
	}
	if err := strata[0].checkCause(cause); err != nil {
		return nil, err
	}
	k := strata[0].Groups()
	t := &Test{
		Weighting: w, Cause: cause, Strata: len(strata), N: make([]int64, k), Events: make([]int64, k),
	}
	sums := newScoreSums(k)
	for _, c := range strata {
		sums.add(c, cause, w)
		for g := range k {
			t.N[g] += c.N(g)
			t.Events[g] += c.Events(g, cause)
		}
	}
	t.finish(sums, sums.matrix())
	return t, nil
}

// sameShape refuses strata that differ in groups or causes.
func sameShape(strata []*Counts) error {
	if len(strata) == 0 {
		return errors.New("no counts to compare groups in")
	}
	first := strata[0]
	for i, c := range strata {
		if c.Groups() != first.Groups() || c.Causes() != first.Causes() {
			return fmt.Errorf("stratum %d has %d groups and %d causes, stratum 0 has %d and %d",
				i, c.Groups(), c.Causes(), first.Groups(), first.Causes())
		}
		for g := range c.groups {
			if c.Weighted(g) {
				return errors.New("the rows were counted with weights, which this test has no variance for")
			}
		}
	}
	return nil
}

func (t *Test) finish(sums *scoreSums, variance []float64) {
	k := len(t.N)
	t.Observed, t.Expected, t.Score, t.Variance = make([]float64, k), make([]float64, k), make([]float64, k), variance
	var events int64
	for g := range t.N {
		t.Observed[g], t.Expected[g] = sums.observed[g].Value(), sums.expected[g].Value()
		t.Score[g] = sums.observed[g].Less(&sums.expected[g])
		events += t.Events[g]
	}
	if events == 0 {
		t.Status = NoEvents
		return
	}
	form, rank := numeric.QuadraticForm(t.Score, t.Variance)
	if rank == 0 {
		t.Status = NotComparable
		return
	}
	t.ChiSquare, t.DF, t.P = form, rank, dist.ChiSquareUpper(form, rank)
}

// scoreSums adds up scores and their covariance over times and strata.
type scoreSums struct {
	observed, expected []numeric.Sum
	spread             []float64 // Σ w² d(n−d)/(n−1) n_j/n (1 − n_j/n)
	variance           []float64 // off the diagonal, its lower half
	comparable         []bool    // at risk together with others who do not all have the event
}

func newScoreSums(k int) *scoreSums {
	return &scoreSums{
		observed: make([]numeric.Sum, k), expected: make([]numeric.Sum, k),
		spread: make([]float64, k), comparable: make([]bool, k),
	}
}

// groupsPerWorker is the fewest groups worth a goroutine of their own.
const groupsPerWorker = 32

// add goes through the event times of one stratum, a stretch at a time. Groups and rows of the
// matrix are shared out among processors; each number is made by one of them in the order of the
// times, so it does not depend on how many there are.
func (s *scoreSums) add(c *Counts, cause int, w Weighting) {
	times := c.eventTimes(cause, w)
	along := times.walkers(c, cause)
	k := len(along)
	if s.variance == nil {
		s.variance = make([]float64, k*k)
	}
	shares, scaled := numeric.NewPanels(k, numeric.Stretch), numeric.NewPanels(k, numeric.Stretch)
	workers := max(1, min(runtime.GOMAXPROCS(0), k/groupsPerWorker))
	for from := 0; from < len(times.time); from += numeric.Stretch {
		to := min(from+numeric.Stretch, len(times.time))
		numeric.InParallel(shares.Count(), workers, func(_, first, last int) {
			for g := 4 * first; g < min(4*last, k); g++ {
				s.walk(g, &along[g], times, from, to, shares.Panel(g/4, to-from))
			}
			for q := first; q < last; q++ {
				times.scale(scaled.Panel(q, to-from), shares.Panel(q, to-from), from)
			}
		})
		numeric.InParallel(workers, workers, func(worker, _, _ int) {
			for q := worker; q < shares.Count(); q += workers {
				numeric.AddProducts(s.variance, k, 4*q, 4*q+4, scaled.Panel(q, to-from), shares)
			}
		})
	}
}

// walk takes a group along some of the times, at most a stretch, and puts its shares of those at risk
// into its lane of a panel, if there is one.
func (s *scoreSums) walk(g int, w *walker, times *eventTimes, from, to int, lanes [][4]float64) {
	observed, expected := s.observed[g], s.expected[g]
	spread, comparable := s.spread[g], s.comparable[g]
	var here steps
	w.along(from, to, &here)
	for i := from; i < to; i++ {
		n, atRisk := times.n[i], here.atRisk[i-from]
		share := atRisk / n
		if lanes != nil {
			lanes[i-from][g&3] = share
		}
		if own := here.events[i-from]; own > 0 {
			observed.Add(float64(times.weight[i] * own))
		}
		expected.Add(float64(times.weight[i] * float64(times.d[i]*share)))
		spread += float64(float64(times.factor[i]*share) * ((n - atRisk) / n))
		if people := here.people[i-from]; people > 0 && people < times.people[i] {
			comparable = comparable || !times.all[i]
		}
	}
	s.observed[g], s.expected[g] = observed, expected
	s.spread[g], s.comparable[g] = spread, comparable
}

// scale sets the rows of out to those of shares, less their factors.
func (e *eventTimes) scale(out, shares [][4]float64, from int) {
	for t := range out {
		c := -e.factor[from+t]
		for i, x := range shares[t] {
			out[t][i] = float64(c * x)
		}
	}
}

// matrix returns the whole symmetric covariance.
func (s *scoreSums) matrix() []float64 {
	k := len(s.spread)
	for j := range k {
		for l := range j {
			s.variance[l*k+j] = s.variance[j*k+l]
		}
		s.variance[j*k+j] = s.spread[j]
	}
	return s.variance
}
