package competing

import (
	"fmt"
	"math"

	"deltoid/stats/numeric"
	"deltoid/stats/survival"
)

// MostClusteredGroups is how many groups ClusteredGray compares at most: its cost is cubic in them.
const MostClusteredGroups = 64

// ClusteredGray is Gray for rows that belong together in clusters (Data.Cluster) or have weights. The
// score is the same; its covariance is that of the sums over clusters of what each row adds to it, so
// that two hips of one person, in one group or in two, are not taken for two people. Stratum is 0 to
// strata−1 for each row, nil for one stratum; a cluster may have rows in several.
//
//	ε_i = Σ over times s: H_l(s) (dN₁ − Y dF/S_l) S_l/n_l + Q_l(s) (dN₂ − Y d₂/n_l) S_l/n_l
//	V   = Σ over clusters (Σ ε)(Σ ε)ᵀ
//
// for a row of group l with event of the cause N₁ or of another N₂, H and Q being the influences on
// the scores that grayScan gives for such an event (g there, with q and without its own term), S_l
// and dF as there, all just before s. As in Gray the events of the cause are held against what they
// would be if all groups had one incidence. There is no small-sample factor, and of one cluster the
// statistic would always be 1, so Status is survival.OneCluster.
//
// The cost is linear in the rows and the times, and cubic in the groups; more than
// MostClusteredGroups are refused.
//
// Source: Chen, Kramer, Greene & Rosenberg, Biometrics 64 (2008) 172–179, for tests of incidences in
// clusters; Lee, Wei & Amato, Survival Analysis: State of the Art (1992) 237–247, for the sum over
// clusters.
func ClusteredGray(cause int, rho float64, d survival.Data, stratum []int32, strata int) (*Test, error) {
	if stratum == nil {
		strata, stratum = 1, make([]int32, len(d.Exit))
	}
	d.Groups, d.Causes = max(d.Groups, 1), max(d.Causes, 1)
	counts, err := survival.CountByStratum(d, stratum, strata)
	if err != nil {
		return nil, err
	}
	people := d
	people.Weight = nil
	if d.Weight == nil {
		err = checkGray(cause, rho, counts)
	} else if unweighted, e := survival.CountByStratum(people, stratum, strata); e != nil {
		return nil, e
	} else {
		err = checkGray(cause, rho, unweighted)
	}
	if err != nil {
		return nil, err
	}
	if d.Groups > MostClusteredGroups {
		return nil, fmt.Errorf("%d groups, want at most %d to compare incidences of rows in clusters", d.Groups, MostClusteredGroups)
	}
	layout, err := survival.LayOut(crossed(d, stratum, strata))
	if err != nil {
		return nil, err
	}
	return clusteredGray(cause, rho, counts, layout), nil
}

// crossed makes a group of each group in each stratum.
func crossed(d survival.Data, stratum []int32, strata int) survival.Data {
	group := make([]int32, len(stratum))
	for i, s := range stratum {
		group[i] = s * int32(d.Groups)
		if d.Group != nil {
			group[i] += d.Group[i]
		}
	}
	d.Group, d.Groups = group, d.Groups*strata
	return d
}

func clusteredGray(cause int, rho float64, counts []*survival.Counts, layout *survival.Layout) *Test {
	k := counts[0].Groups()
	t := newTest(cause, rho, counts)
	t.Clusters = layout.Clusters()
	sum := grayClusters{k: k, of: map[int32][]float64{}, v: t.Variance}
	broken := false
	for i, c := range counts {
		s := newGrayInfluence(c, cause, rho)
		if broken = broken || s.broken; broken {
			break
		}
		for j, x := range s.score {
			t.Score[j] += x
		}
		for l := range k {
			s.group(l).addTo(&sum, layout.Group(i*k+l), c.LifeTable(l).Time)
		}
	}
	sum.finish()
	t.finish(broken)
	if t.Status == survival.Estimated && t.Clusters == 1 {
		t.Status, t.ChiSquare, t.DF, t.P = survival.OneCluster, 0, 0, 0
	}
	return t
}

// grayClusters adds up what rows add to the scores, by cluster.
type grayClusters struct {
	k     int
	of    map[int32][]float64
	order []int32 // in which clusters were met, so that their squares add up in one order
	v     []float64
}

// add adds times·x to a cluster.
func (g *grayClusters) add(cluster int32, times float64, x []float64) {
	sum := g.of[cluster]
	if sum == nil {
		sum = make([]float64, g.k)
		g.of[cluster], g.order = sum, append(g.order, cluster)
	}
	for j, y := range x {
		sum[j] += float64(times * y)
	}
}

// square adds times·x·xᵀ to V.
func (g *grayClusters) square(times float64, x []float64) {
	for j, a := range x {
		for l, b := range x {
			g.v[j*g.k+l] += float64(times * a * b)
		}
	}
}

func (g *grayClusters) finish() {
	for _, cluster := range g.order {
		g.square(1, g.of[cluster])
	}
}

// grayInfluence is one stratum of ClusteredGray: at each time at which anybody has an event, what all
// groups share, and of each group what grayGroup has.
type grayInfluence struct {
	k, cause int
	time     []float64
	moments  []grayMoment
	at       [][]graySeen // by group and time
	score    []float64
	broken   bool
}

// graySeen is one group at one time.
type graySeen struct {
	n, y, own, other float64 // people or their weights
	s, f, after      float64
}

func newGrayInfluence(c *survival.Counts, cause int, rho float64) *grayInfluence {
	s := &grayInfluence{k: c.Groups(), cause: cause, at: make([][]graySeen, c.Groups()), score: make([]float64, c.Groups())}
	all := c.Pooled().LifeTable(0)
	for row, t := range all.Time {
		if all.MassEvents(row, 0) > 0 {
			s.time = append(s.time, t)
			s.moments = append(s.moments, grayMoment{t: t, d: all.MassLeft(row, cause)})
		}
	}
	for l := range s.at {
		s.at[l] = s.follow(c.LifeTable(l))
	}
	s.pool(rho)
	return s
}

// follow goes along the times with one group.
func (s *grayInfluence) follow(table *survival.LifeTable) []graySeen {
	out := make([]graySeen, len(s.time))
	row, free, f := 0, numeric.One(), numeric.Sum{}
	for i, t := range s.time {
		for row < len(table.Time) && table.Time[row] < t {
			row++
		}
		x := &out[i]
		x.s, x.f, x.after = free.Value(), f.Value(), free.Value()
		if row == len(table.Time) || table.Mass(row) == 0 {
			continue
		}
		x.n = table.Mass(row)
		x.y = x.n / x.s
		if table.Time[row] != t {
			continue
		}
		step := stepAt(table, row)
		x.own = table.MassLeft(row, s.cause)
		x.other = max(0, step.events-x.own)
		switch {
		case step.all:
			free.Times(0, 1)
		case step.events > 0:
			free.Times(max(0, x.n-step.events), x.n)
		}
		f.Add(float64(x.s * (x.own / x.n)))
		x.after = free.Value()
	}
	return out
}

// pool works out what all groups share, and the scores, as grayScan does.
func (s *grayInfluence) pool(rho float64) {
	f := 0.0
	for i := range s.moments {
		m := &s.moments[i]
		weighted := 0.0
		for l := range s.at {
			x := &s.at[l][i]
			m.total += x.y
			weighted += float64(x.y * (1 - x.f))
		}
		if m.d > 0 && m.total > 0 {
			jump := m.d / m.total
			m.height = height(f, rho)
			if s.broken = s.broken || math.Abs(1-f) < 1e-9; s.broken {
				return
			}
			m.growth = m.height * jump / (1 - f)
			f += jump
			for l := range s.at {
				x := &s.at[l][i]
				s.score[l] += float64(m.height * (x.own - float64(m.d*(x.y*(1-x.f)/weighted))))
			}
		}
		m.after = f
	}
}

// grayRows is what a row of one group adds to the scores, k numbers for each time: while it is at
// risk at the first so many times, and when it has an event at a time.
type grayRows struct {
	k          int
	cause      int
	time       []float64
	waiting    []float64 // one time more
	own, other []float64
}

func (s *grayInfluence) group(l int) *grayRows {
	n := len(s.time)
	g := &grayRows{k: s.k, cause: s.cause, time: s.time, waiting: make([]float64, (n+1)*s.k), own: make([]float64, n*s.k), other: make([]float64, n*s.k)}
	later := make([]float64, s.k) // Σ a_l (δ − p) over later times
	for i := n - 1; i >= 0; i-- {
		x, m := &s.at[l][i], &s.moments[i]
		if x.n == 0 {
			continue // nobody is at risk, so a_l is 0 too
		}
		own, other, q := 1.0, 0.0, x.s/x.n
		if x.after > 0 {
			own, other = 1-(1-m.after)/x.after, (1-m.after)/x.after
		}
		for j := range s.k {
			apart := -s.at[j][i].y / m.total
			if j == l {
				apart++
			}
			g.own[i*s.k+j] = float64(q * (float64(m.height*x.y*apart) + float64(own*later[j])))
			g.other[i*s.k+j] = float64(q * other * later[j])
			later[j] += float64(m.growth * x.y * apart)
		}
	}
	for i := range n {
		x, m := &s.at[l][i], &s.moments[i]
		for j := range s.k {
			at := i*s.k + j
			g.waiting[at+s.k] = g.waiting[at]
			if x.n > 0 {
				if m.d > 0 { // dF/S_l is how many of those at risk would have the event if all groups had one incidence
					g.waiting[at+s.k] -= float64(g.own[at] * (m.d / m.total / x.s))
				}
				g.waiting[at+s.k] -= float64(g.other[at] * (x.other / x.n))
			}
		}
	}
	return g
}

// addTo adds the rows of the group; times are those of its life table.
func (g *grayRows) addTo(sum *grayClusters, rows *survival.Rows, times []float64) {
	gone := make([]int, len(times)) // how many times have gone by once that of a row is over
	at := 0
	for row, t := range times {
		for at < len(g.time) && g.time[at] <= t {
			at++
		}
		gone[row] = at
	}
	x := make([]float64, g.k)
	adds := func(row, cause int) []float64 {
		copy(x, g.waiting[gone[row]*g.k:])
		if cause == 0 || gone[row] == 0 || g.time[gone[row]-1] != times[row] {
			return x // an event of weight 0 may have no time of its own
		}
		from := g.other
		if cause == g.cause {
			from = g.own
		}
		for j, e := range from[(gone[row]-1)*g.k : gone[row]*g.k] {
			x[j] += e
		}
		return x
	}
	rows.Leaving(func(row, cause int, n int64) { sum.square(float64(n), adds(row, cause)) },
		func(cluster int32, row, cause int, weight float64) { sum.add(cluster, weight, adds(row, cause)) })
}
