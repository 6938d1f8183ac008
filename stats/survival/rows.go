package survival

import (
	"fmt"
	"sort"
)

// Rows is the rows of one group (or of all) laid beside the rows of its life table, for estimates
// that need to know which row belongs to which cluster, and with which weight.
type Rows struct {
	counts   *Counts // of one group
	weighs   bool
	times    int
	causes   int
	clusters int // with any weight
	// alone is the rows that are counted, by time and cause, causes+1 numbers a time.
	alone []int64
	// The others by cluster, then time: at which row of the life table what happens to them.
	ids    []int32 // numbers of the clusters
	at     []int32
	what   []happening
	weight []float64 // nil: 1
}

// happening is a cause of leaving with flags.
type happening uint16

const (
	joins     happening = 1 << 8  // comes under observation; elsewhere a row leaves
	fromStart happening = 1 << 9  // the row that leaves was there from the very start
	begins    happening = 1 << 10 // the first of its cluster
)

// Group returns the rows of a group.
func (l *Layout) Group(group int) *Rows {
	return l.rows(l.counts.Select(group), l.byGroup[l.start[group]:l.start[group+1]])
}

// Find is Group with an error for a group that is not there.
func (l *Layout) Find(group int) (*Rows, error) {
	if group >= l.d.Groups {
		return nil, fmt.Errorf("group %d of rows in %d groups: these are not the rows that were counted", group, l.d.Groups)
	}
	return l.Group(group), nil
}

// Pooled returns the rows of all groups, as those of one.
func (l *Layout) Pooled() *Rows {
	return l.rows(l.counts.Pooled(), l.byCluster)
}

func (l *Layout) rows(counts *Counts, order []int32) *Rows {
	table := counts.LifeTable(0)
	r := &Rows{
		counts: counts, weighs: l.d.Weight != nil, times: len(table.Time), causes: table.Causes, alone: table.Left,
		at: make([]int32, len(order)), what: make([]happening, len(order)),
	}
	if r.weighs {
		r.weight = make([]float64, len(order))
	}
	places := l.places(table.Time, len(order))
	cluster, counted := int32(-1), false
	for i, h := range order {
		row := rowOf(h)
		if h < 0 {
			r.at[i], r.what[i] = places.after(l.d.Entry[row]), joins
		} else {
			r.leave(i, places.first(l.d.Exit[row]), l.d.Cause[row], l.isLate(row))
		}
		if c := l.cluster(row); c != cluster {
			cluster, counted = c, false
			r.ids = append(r.ids, c)
			r.what[i] |= begins
		}
		if r.weighs {
			r.weight[i] = l.d.Weight[row]
		}
		if !counted && (!r.weighs || r.weight[i] > 0) {
			r.clusters, counted = r.clusters+1, true
		}
	}
	for _, n := range r.alone {
		r.clusters += int(n)
	}
	return r
}

func (r *Rows) leave(i int, at int32, cause uint8, late bool) {
	r.at[i], r.what[i] = at, happening(cause)
	if !late {
		r.what[i] |= fromStart
	}
	r.alone[int(at)*(r.causes+1)+int(cause)]--
}

// Clusters returns the number of clusters, leaving out those without weight.
func (r *Rows) Clusters() int { return r.clusters }

// Lack says why no variance between clusters can be had from the rows, or Estimated. The sum of what
// all rows do to an estimate is 0: of one cluster nothing would be left but rounding.
func (r *Rows) Lack() Status {
	if r.clusters == 1 {
		return OneCluster
	}
	return Estimated
}

// Are checks that these rows are those that a group of some counts was counted from: the error
// says where they differ.
func (r *Rows) Are(c *Counts, group int) error {
	mine, theirs := &r.counts.groups[0], &c.groups[group]
	if mine.n != theirs.n {
		return fmt.Errorf("%d rows here and %d in the counts: these are not the rows that were counted", mine.n, theirs.n)
	}
	if r.weighs != c.Weighted(group) {
		return fmt.Errorf("rows with and without weights: these are not the rows that were counted")
	}
	for _, side := range []struct {
		what         string
		mine, theirs *cells
	}{{"leave", &mine.left, &theirs.left}, {"enter", &mine.entered, &theirs.entered}} {
		if !side.mine.equal(side.theirs) {
			return fmt.Errorf("the times or causes at which rows %s differ from the counts: these are not the rows that were counted", side.what)
		}
	}
	return nil
}

// placing finds places in the times of a life table.
type placing struct {
	layout *Layout
	times  []float64
	table  []int32 // first place at or after each tick; nil where that would be larger than what is asked of it
}

// places prepares for so many questions.
func (l *Layout) places(times []float64, questions int) placing {
	p := placing{layout: l, times: times}
	if l.ticks > 4*questions+1024 {
		return p
	}
	p.table = make([]int32, l.ticks+1)
	at := 0
	for tick := range l.ticks {
		for at < len(times) && times[at] < l.time(int32(tick)) {
			at++
		}
		p.table[tick] = int32(at)
	}
	p.table[l.ticks] = int32(len(times))
	return p
}

// time returns the time of a tick.
func (l *Layout) time(tick int32) float64 {
	if l.times == nil {
		return float64(tick)
	}
	return l.times[tick]
}

// first returns the first place at or after a tick.
func (p placing) first(tick int32) int32 {
	if p.table != nil {
		return p.table[tick]
	}
	return int32(sort.SearchFloat64s(p.times, p.layout.time(tick)))
}

// after returns the first place after a tick that is not the last.
func (p placing) after(tick int32) int32 { return p.first(tick + 1) }
