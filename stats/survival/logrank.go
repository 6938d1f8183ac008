package survival

import (
	"errors"
	"fmt"

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
	// Status is Estimated, NoEvents, or NotComparable where the variance is 0. In any but the
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
		sums.add(c, cause, weigher{Weighting: w, s: 1, peto: 1})
		for g := range k {
			t.N[g] += c.N(g)
			t.Events[g] += c.Events(g, cause)
		}
	}
	t.finish(sums, sums.variance.matrix())
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
		t.Score[g] = sums.score[g].Value()
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
	observed, expected, score []numeric.Sum
	variance                  *outerProducts
	share                     []float64 // n_j/n of the time at hand
}

func newScoreSums(k int) *scoreSums {
	return &scoreSums{
		observed: make([]numeric.Sum, k), expected: make([]numeric.Sum, k), score: make([]numeric.Sum, k),
		variance: newOuterProducts(k), share: make([]float64, k),
	}
}

// add goes through the event times of one stratum.
func (s *scoreSums) add(c *Counts, cause int, w weigher) {
	walkers := make([]walker, c.Groups())
	for g := range walkers {
		walkers[g] = newWalker(&c.groups[g], cause)
	}
	all := c.Pooled()
	table := all.LifeTable(0)
	events, _ := table.split(cause)
	for i, t := range table.Time {
		if events[i] == 0 {
			continue
		}
		n, d := float64(table.AtRisk[i]), float64(events[i])
		weight := w.next(n, d)
		for g := range walkers {
			atRisk, own := walkers[g].at(t)
			s.share[g] = float64(atRisk) / n
			expected := d * s.share[g]
			s.observed[g].Add(float64(weight * float64(own)))
			s.expected[g].Add(float64(weight * expected))
			s.score[g].Add(float64(weight * (float64(own) - expected)))
		}
		if n > 1 && d < n {
			s.variance.add(float64(weight*weight)*d*((n-d)/(n-1)), s.share)
		}
	}
	s.variance.flush()
}

// walker follows one group along ascending times.
type walker struct {
	left, entered []cell
	here          int64
	cause         int
}

func newWalker(g *tally, cause int) walker {
	return walker{left: g.left, entered: g.entered, here: g.start, cause: cause}
}

// at moves to time t and returns the number at risk and the events there.
func (w *walker) at(t float64) (atRisk, events int64) {
	for len(w.left) > 0 && w.left[0].time < t {
		w.here -= int64(w.left[0].count)
		w.left = w.left[1:]
	}
	for len(w.entered) > 0 && w.entered[0].time < t {
		w.here += int64(w.entered[0].count)
		w.entered = w.entered[1:]
	}
	for _, x := range w.left {
		if x.time > t {
			break
		}
		if isEvent(x.cause, w.cause) {
			events += int64(x.count)
		}
	}
	return w.here, events
}
