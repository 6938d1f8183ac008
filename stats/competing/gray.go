package competing

import (
	"errors"
	"fmt"
	"math"

	"deltoid/stats/dist"
	"deltoid/stats/numeric"
	"deltoid/stats/survival"
)

// Test is the result of comparing the cumulative incidence of one cause between groups over the
// whole of their follow-up. Slices have one element for each group.
type Test struct {
	Cause  int
	Rho    float64
	Strata int
	// N and Events are the rows and the events of the cause that the test used.
	N, Events []int64
	// Score is above 0 where a group had more events than if all groups had one incidence.
	// Variance is its covariance, rows one after the other.
	Score, Variance []float64
	ChiSquare       float64
	DF              int
	P               float64
	// Status is Estimated, NoEvents, or NotComparable where the variance is 0. In any but the
	// first ChiSquare and P are 0 and not to be shown.
	Status survival.Status
}

// Gray compares the cumulative incidences of a cause between the groups of the counts. With
// several Counts each is a stratum with the same groups; differences are taken within strata and
// added up. Times count by (1 − F)^rho, F being the incidence of all groups together: 0 is the
// usual test, a positive rho favours early differences.
//
// At each time a group enters with n_k(1−F_k)/S_k instead of n_k: those still at risk and, in
// expectation, those whom another cause took away but who would still be under observation. So
// it compares what happens, other causes included, where LogRank compares the rates at which
// events happen to those at risk.
//
// Rows with a late entry are refused: the method has no answer for them. The cost is linear in
// the times and quadratic in the groups.
//
// Source: Gray, Ann. Stat. 16 (1988) 1141–1154.
func Gray(cause int, rho float64, strata ...*survival.Counts) (*Test, error) {
	if err := checkGray(cause, rho, strata); err != nil {
		return nil, err
	}
	k := strata[0].Groups()
	t := &Test{Cause: cause, Rho: rho, Strata: len(strata), N: make([]int64, k), Events: make([]int64, k),
		Score: make([]float64, k), Variance: make([]float64, k*k)}
	events := int64(0)
	for _, c := range strata {
		for g := range k {
			t.N[g] += c.N(g)
			t.Events[g] += c.Events(g, cause)
			events += c.Events(g, cause)
		}
		s := newGrayScan(c, cause, rho)
		s.run()
		s.addTo(t)
	}
	if events == 0 {
		t.Status = survival.NoEvents
		return t, nil
	}
	form, rank := numeric.QuadraticForm(t.Score, t.Variance)
	if rank == 0 {
		t.Status = survival.NotComparable
		return t, nil
	}
	t.ChiSquare, t.DF, t.P = form, rank, dist.ChiSquareUpper(form, rank)
	return t, nil
}

func checkGray(cause int, rho float64, strata []*survival.Counts) error {
	if len(strata) == 0 {
		return errors.New("no counts to compare groups in")
	}
	first := strata[0]
	if cause < 1 || cause > first.Causes() {
		return fmt.Errorf("cause %d, want 1 to %d", cause, first.Causes())
	}
	if math.IsNaN(rho) || math.IsInf(rho, 0) {
		return fmt.Errorf("rho %v, want a finite number", rho)
	}
	for i, c := range strata {
		if c.Groups() != first.Groups() || c.Causes() != first.Causes() {
			return fmt.Errorf("stratum %d has %d groups and %d causes, stratum 0 has %d and %d",
				i, c.Groups(), c.Causes(), first.Groups(), first.Causes())
		}
		for g := range c.Groups() {
			if c.LateEntries(g) > 0 {
				return fmt.Errorf("group %d has %d rows with a late entry, for which there is no such test", g, c.LateEntries(g))
			}
			if c.Weighted(g) {
				return errors.New("the rows were counted with weights, which this test has no variance for")
			}
		}
	}
	return nil
}

// grayGroup is one group at the time at hand.
type grayGroup struct {
	table      *survival.LifeTable
	next       int     // the next row of the table
	n          float64 // at risk
	own, other float64 // events of the cause, and of the others
	s, f       float64 // event-free and incidence just before
	after      float64 // event-free just after
}

// at moves the group to time t.
func (g *grayGroup) at(t float64, cause int) {
	table := g.table
	for g.next < len(table.Time) && table.Time[g.next] < t {
		g.next++
	}
	g.n, g.own, g.other, g.after = 0, 0, 0, g.s
	if g.next == len(table.Time) {
		return
	}
	g.n = float64(table.AtRisk[g.next])
	if table.Time[g.next] == t {
		g.own = table.MassLeft(g.next, cause)
		g.other = table.MassEvents(g.next, 0) - g.own
		g.after = g.s * ((g.n - g.own - g.other) / g.n)
	}
}

// leave carries the group past the time.
func (g *grayGroup) leave() {
	if g.n > 0 {
		g.f += float64(g.s * (g.own / g.n))
	}
	g.s = g.after
}
