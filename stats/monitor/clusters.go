package monitor

import (
	"errors"
	"slices"

	"deltoid/stats/numeric"
	"deltoid/stats/survival"
)

// Clusters is rows of which some belong together, such as two shoulders of one person: their events
// are not independent, and a Poisson interval would take them for more than they are.
//
// An event count has a variance from its rows, Σ (d_i − r t_i)² with r the rate, and one from its
// clusters, where residuals are summed within a cluster before they are squared. The second over the
// first is the design effect: how many times as many events clusters need to say as much. Intervals
// are made from the events divided by it, by the same exact or mid-P tails as for independent rows, of
// which they are the special case with design effect 1. Without events it cannot be seen how alike the
// rows of a cluster are; they are then taken to be wholly alike, Σ (Σ t)² over Σ t².
//
// Weights are not looked at.
//
// Sources: Stukel, Glynn, Fisher, Sharp, Lu-Yao & Wennberg, Stat. Med. 13 (1994) 1781–1791, for the
// variance of a rate of clustered events; Korn & Graubard, Survey Methodology 24 (1998) 193–201, for
// exact limits at the effective number.
type Clusters struct {
	d      survival.Data
	shared []int32 // the rows of clusters of several, by cluster
}

// Cluster puts rows into their clusters. The error is that of survival.Count, or for rows without
// clusters.
func Cluster(d survival.Data) (*Clusters, error) {
	if err := d.Check(); err != nil {
		return nil, err
	}
	if d.Cluster == nil && len(d.Exit) > 0 {
		return nil, errors.New("the rows have no clusters")
	}
	keys := make([]uint64, len(d.Cluster))
	for i, c := range d.Cluster {
		keys[i] = uint64(c)<<32 | uint64(i)
	}
	if !slices.IsSorted(keys) {
		slices.Sort(keys)
	}
	c := &Clusters{d: d}
	for from := 0; from < len(keys); {
		to := from + 1
		for to < len(keys) && keys[to]>>32 == keys[from]>>32 {
			to++
		}
		if to-from > 1 {
			for _, key := range keys[from:to] {
				c.shared = append(c.shared, int32(uint32(key)))
			}
		}
		from = to
	}
	return c, nil
}

// sums is what a variance needs of some rows: Σ d, Σ d t and Σ t², which gives Σ (d − r t)² for any r.
type sums struct{ d, dt, tt numeric.Sum }

func (s *sums) add(d, t float64) {
	s.d.Add(float64(d * d))
	s.dt.Add(float64(d * t))
	s.tt.Add(float64(t * t))
}

// at returns Σ (d − r t)².
func (s *sums) at(r float64) float64 {
	return max(0, s.d.Value()-float64(2*r*s.dt.Value())+float64(r*r*s.tt.Value()))
}

// part is what one cluster has in one group.
type part struct {
	of, group int32 // of: place of the cluster
	d, t      float64
}

// cluster is what one cluster of several rows has in all groups, and its parts, from first on.
type cluster struct {
	d, t  float64
	first int32
	parts int
}

// spreadGroup is one group of a Spread.
type spreadGroup struct {
	alone sums // of rows that are clusters of their own
	apart sums // of the others, row by row
	rows  int
	own   int // rows that are clusters of their own
}

// Spread is the events and exposures of groups over a stretch of follow-up, with how both spread over
// clusters.
type Spread struct {
	Tallies []Tally
	groups  []spreadGroup
	// Of clusters of several rows:
	clusters []cluster
	parts    []part
	byGroup  [][]int32 // places of the parts of each group
	shared   sums      // of the clusters, each as if it were a row
}

// Spread returns the events of one cause (0: any) and the exposure after from and up to to; what
// happens at 0 belongs to the stretch that begins there. Exposure is in units of so many of the
// times: 365.25 turns days into years. Groups are those of the data, or others given instead, one
// for each row; nil and 1 stand for one group of all.
func (c *Clusters) Spread(cause int, from, to, unit float64, group []int32, groups int) *Spread {
	s := &Spread{Tallies: make([]Tally, groups), groups: make([]spreadGroup, groups), byGroup: make([][]int32, groups)}
	exposure := make([]numeric.Sum, groups)
	shared := make([]bool, len(c.d.Exit))
	for _, row := range c.shared {
		shared[row] = true
	}
	take := func(row int32) (g int32, d, t float64, in bool) {
		if group != nil {
			g = group[row]
		}
		d, t, in = c.within(row, cause, from, to)
		return g, d, t / unit, in
	}
	for row := range c.d.Exit {
		g, d, t, in := take(int32(row))
		if !in {
			continue
		}
		x := &s.groups[g]
		x.rows++
		s.Tallies[g].Events += int64(d)
		exposure[g].Add(t)
		if shared[row] {
			x.apart.add(d, t)
		} else {
			x.alone.add(d, t)
			x.own++
		}
	}
	for next := 0; next < len(c.shared); {
		number := c.d.Cluster[c.shared[next]]
		one := cluster{first: int32(len(s.parts))}
		for ; next < len(c.shared) && c.d.Cluster[c.shared[next]] == number; next++ {
			if g, d, t, in := take(c.shared[next]); in {
				one.d, one.t = one.d+d, one.t+t
				s.addPart(int(one.first), part{int32(len(s.clusters)), g, d, t})
			}
		}
		if one.parts = len(s.parts) - int(one.first); one.parts > 0 {
			s.clusters = append(s.clusters, one)
			s.shared.add(one.d, one.t)
		}
	}
	for i, p := range s.parts {
		s.byGroup[p.group] = append(s.byGroup[p.group], int32(i))
	}
	for g := range exposure {
		s.Tallies[g].Exposure = exposure[g].Value()
	}
	return s
}

// addPart adds a row to the parts of its cluster, which begin at first.
func (s *Spread) addPart(first int, row part) {
	for i := first; i < len(s.parts); i++ {
		if s.parts[i].group == row.group {
			s.parts[i].d += row.d
			s.parts[i].t += row.t
			return
		}
	}
	s.parts = append(s.parts, row)
}

// within returns what a row adds to a stretch, and whether it was under observation in it.
func (c *Clusters) within(row int32, cause int, from, to float64) (d, t float64, in bool) {
	entry, exit := 0.0, float64(c.d.Exit[row])
	if c.d.Entry != nil {
		entry = float64(c.d.Entry[row])
	}
	if entry >= to || exit < from || exit == from && from > 0 {
		return 0, 0, false
	}
	seen := c.d.Cause[row]
	if exit <= to && seen != 0 && (cause == 0 || int(seen) == cause) {
		d = 1
	}
	return d, min(exit, to) - max(entry, from), true
}
