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
	// Clusters is the number of clusters that Variance was summed over; 0 where rows are independent.
	Clusters int
	// N and Events are the rows and the events of the cause that the test used.
	N, Events []int64
	// Score is above 0 where a group had more events than if all groups had one incidence.
	// Variance is its covariance, rows one after the other.
	Score, Variance []float64
	ChiSquare       float64
	DF              int
	P               float64
	// Status is Estimated, NoEvents, or NotComparable where the variance is 0, or where the incidence
	// of all groups together has reached 1 before the last event of the cause: it is a mean of what
	// those still there see, and groups that follow one another can bring it so far. In any but the
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
// With ties the variance of d events at one time is that of a hypergeometric draw, (n−d)/(n−1) of
// the binomial one. For events of the cause n is y S_k, which estimates those at risk but need not be
// a whole number and can fall below d; the factor would then be negative, and is taken as 0.
//
// Rows with a late entry are refused: the method has no answer for them. The cost is linear in
// the times and quadratic in the groups.
//
// Source: Gray, Ann. Stat. 16 (1988) 1141–1154.
func Gray(cause int, rho float64, strata ...*survival.Counts) (*Test, error) {
	if err := checkGray(cause, rho, strata); err != nil {
		return nil, err
	}
	t, broken := newTest(cause, rho, strata), false
	for _, c := range strata {
		s := newGrayScan(c, cause, rho)
		s.addTo(t)
		broken = broken || s.broken
	}
	t.finish(broken)
	return t, nil
}

func newTest(cause int, rho float64, strata []*survival.Counts) *Test {
	k := strata[0].Groups()
	t := &Test{Cause: cause, Rho: rho, Strata: len(strata), N: make([]int64, k), Events: make([]int64, k),
		Score: make([]float64, k), Variance: make([]float64, k*k)}
	for _, c := range strata {
		for g := range k {
			t.N[g] += c.N(g)
			t.Events[g] += c.Events(g, cause)
		}
	}
	return t
}

func (t *Test) finish(broken bool) {
	events := int64(0)
	for _, n := range t.Events {
		events += n
	}
	if events == 0 {
		t.Status = survival.NoEvents
		return
	}
	if broken {
		t.Status = survival.NotComparable
		return
	}
	form, rank := numeric.QuadraticForm(t.Score, t.Variance)
	if rank == 0 {
		t.Status = survival.NotComparable
		return
	}
	t.ChiSquare, t.DF, t.P = form, rank, dist.ChiSquareUpper(form, rank)
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

// grayGroup is one group on its way along the times.
type grayGroup struct {
	walk survival.Walk
	left []int64 // who leaves at the time at hand
	end  float64 // Σ a_l over all times
	// At the time at hand:
	n          float64 // at risk
	y          float64 // n/S
	own, other float64 // events of the cause, and of the others
	s, f       float64 // event-free and incidence just before
	after      float64 // event-free just after
	// Sums over the pieces so far, see grayScan:
	spread  float64 // Σ w q²
	pull    float64 // Σ w q Σ c
	carried float64 // Σ a_l
}

// at moves the group to time t.
func (g *grayGroup) at(t float64, cause int) {
	g.n, g.y, g.own, g.other, g.after = float64(g.walk.To(t, g.left)), 0, 0, 0, g.s
	if g.n == 0 {
		return
	}
	g.y = g.n / g.s
	for seen, n := range g.left {
		switch {
		case seen == cause:
			g.own = float64(n)
		case seen > 0:
			g.other += float64(n)
		}
	}
	if d := g.own + g.other; d > 0 {
		g.after = g.s * ((g.n - d) / g.n)
	}
}

// visit moves group l to time i of a stretch and leaves what it has there in the tables.
func (g *grayGroup) visit(i, l int, m *grayMoment, cause int, x *grayTables) {
	g.at(m.t, cause)
	k := len(x.m) / x.p.Times()
	var p, a, b, pull, square float64
	if m.d > 0 && g.n > 0 {
		p, a = g.y/m.total, float64(m.growth*g.y)
		g.carried += a
		w := g.s * (m.d / float64(m.total*g.n)) * tieCorrection(m.d, m.total*g.s)
		c, q := float64(m.height*g.y), 1.0
		if g.after > 0 {
			q = 1 - (1-m.after)/g.after
		}
		all := c + float64(q*(g.end-g.carried))
		b = float64(g.spread*a) + float64(w*q*c)
		pull = float64(g.pull*a) + float64(w*c*all)
		square = float64(g.spread*a*a) + float64(w*c*c)
		g.spread += float64(w * q * q)
		g.pull += float64(w * q * all)
	}
	if g.other > 0 && g.after > 0 {
		w := float64(g.s*g.s) * (g.other / float64(g.n*g.n)) * tieCorrection(g.other, g.n)
		q := (1 - m.after) / g.after
		g.spread += float64(w * q * q)
		g.pull += float64(w * q * q * (g.end - g.carried))
	}
	x.p.Set(i, l, p)
	x.b.Set(i, l, b)
	x.at.Set(l, i, a)
	x.bt.Set(l, i, b)
	x.m[i*k+l], x.own[i*k+l] = pull, square
	g.leave()
}

// leave carries the group past the time.
func (g *grayGroup) leave() {
	if g.n > 0 {
		g.f += float64(g.s * (g.own / g.n))
	}
	g.s = g.after
}

// tieCorrection is (n−d)/(n−1), the factor by which a hypergeometric variance falls short of a
// binomial one; 1 for a single event.
func tieCorrection(d, n float64) float64 {
	if d <= 1 || n <= 1 {
		return 1
	}
	return max(0, (n-d)/(n-1))
}
