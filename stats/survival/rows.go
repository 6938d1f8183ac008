package survival

import (
	"fmt"
	"sort"
)

// Rows is the rows of one group laid beside the rows of its life table, for estimates that need
// to know who is who: which row is in which cluster, with which weight.
type Rows struct {
	// Clusters is the number of clusters; Row.Cluster is below it.
	Clusters int
	joining  [][]Row
	leaving  [][]Row
}

// Row is one row of the data.
type Row struct {
	Cluster int32
	Cause   uint8
	Weight  float64 // 1 without weights
}

// Joining returns the rows that are at risk at a row of the life table and were not before it.
func (r *Rows) Joining(row int) []Row { return r.joining[row] }

// Leaving returns the rows that leave at a row of the life table.
func (r *Rows) Leaving(row int) []Row { return r.leaving[row] }

// Rows lays out the rows of a group, which must be those that were counted: the error says so if
// they are not, or is that of Count.
func (c *Counts) Rows(group int, d Data) (*Rows, error) {
	d, err := d.normal()
	if err != nil {
		return nil, err
	}
	if _, err := checkRows(d); err != nil {
		return nil, err
	}
	l := layout{d: d, times: c.LifeTable(group).Time, exit: func(i int) float64 { return float64(d.Exit[i]) }}
	if d.Entry != nil {
		l.entry = func(i int) float64 { return float64(d.Entry[i]) }
	}
	return l.rows(group, c.N(group))
}

// RowsReal is Rows for counts made by CountReal.
func (c *Counts) RowsReal(group int, d RealData) (*Rows, error) {
	if _, err := CountReal(d); err != nil {
		return nil, err
	}
	l := layout{
		d:     Data{Cause: d.Cause, Group: d.Group, Weight: d.Weight, Cluster: d.Cluster},
		times: c.LifeTable(group).Time,
		exit:  func(i int) float64 { return d.Exit[i] },
	}
	if d.Entry != nil {
		l.entry = func(i int) float64 { return d.Entry[i] }
	}
	return l.rows(group, c.N(group))
}

// layout puts rows of data known to be good beside times.
type layout struct {
	d           Data
	times       []float64
	exit, entry func(row int) float64 // nil entry: all from the very start
}

func (l layout) rows(group int, n int64) (*Rows, error) {
	members, err := l.members(group, n)
	if err != nil {
		return nil, err
	}
	number := newNumbering(l.d.Cluster)
	all := make([]Row, len(members))
	leaves, joins := make([]int32, len(members)), make([]int32, len(members))
	for at, i := range members {
		all[at] = Row{Cluster: number.of(int(i)), Cause: l.d.Cause[i], Weight: 1}
		if l.d.Weight != nil {
			all[at].Weight = l.d.Weight[i]
		}
		leaves[at] = l.place(l.exit(int(i)))
		if l.entry != nil && l.entry(int(i)) > 0 {
			joins[at] = l.after(l.entry(int(i)))
		}
	}
	return &Rows{Clusters: number.size, joining: bucket(all, joins, len(l.times)), leaving: bucket(all, leaves, len(l.times))}, nil
}

// members returns the rows of the group.
func (l layout) members(group int, n int64) ([]int32, error) {
	out := make([]int32, 0, n)
	for i := range l.d.Cause {
		if l.d.Group != nil && int(l.d.Group[i]) != group {
			continue
		}
		if at := l.place(l.exit(i)); int(at) == len(l.times) || l.times[at] != l.exit(i) {
			return nil, fmt.Errorf("row %d ends at %v, when nobody left by the counts: these are not the rows that were counted", i, l.exit(i))
		}
		out = append(out, int32(i))
	}
	if int64(len(out)) != n {
		return nil, fmt.Errorf("the group has %d rows here and %d in the counts: these are not the rows that were counted", len(out), n)
	}
	return out, nil
}

// place returns the first time at or after t.
func (l layout) place(t float64) int32 { return int32(sort.SearchFloat64s(l.times, t)) }

// after returns the first time after t. Every entry has one, since it comes before its exit.
func (l layout) after(t float64) int32 {
	at := l.place(t)
	if l.times[at] == t {
		at++
	}
	return at
}

// bucket sorts rows by place, keeping their order within a place.
func bucket(rows []Row, place []int32, places int) [][]Row {
	next := make([]int32, places+1)
	for _, p := range place {
		next[p+1]++
	}
	for p := range places {
		next[p+1] += next[p]
	}
	out := make([][]Row, places)
	all := make([]Row, len(rows))
	for p := range out {
		out[p] = all[next[p]:next[p+1]]
	}
	for i, p := range place {
		all[next[p]] = rows[i]
		next[p]++
	}
	return out
}

// numbering gives the clusters of the rows it is asked about numbers from 0 upwards, in the order
// in which they come.
type numbering struct {
	cluster []int32
	size    int
	dense   []int32 // one more than the number of a cluster, 0 for none yet
	sparse  map[int32]int32
}

func newNumbering(cluster []int32) *numbering {
	n := &numbering{cluster: cluster}
	top := int32(-1)
	for _, c := range cluster {
		top = max(top, c)
	}
	if int64(top) < 4*int64(len(cluster)) {
		n.dense = make([]int32, top+1)
	} else {
		n.sparse = map[int32]int32{}
	}
	return n
}

// of returns the number of the cluster of row i.
func (n *numbering) of(i int) int32 {
	if n.cluster == nil {
		n.size++
		return int32(n.size - 1)
	}
	c := n.cluster[i]
	if n.dense == nil {
		if _, seen := n.sparse[c]; !seen {
			n.sparse[c] = int32(n.size)
			n.size++
		}
		return n.sparse[c]
	}
	if n.dense[c] == 0 {
		n.size++
		n.dense[c] = int32(n.size)
	}
	return n.dense[c] - 1
}
