package survival

import (
	"cmp"
	"slices"
)

// Layout is the rows of data in the order that robust variances need. One layout serves the curves
// of all groups and of all of them together, of every cause, and the incidences of package
// competing:
//
//	layout, err := survival.LayOut(data)
//	first, err := counts.ProductLimit(0, 1).RobustFrom(layout.Group(0))
//
// A row that is a cluster of its own, of weight 1 and there from the very start, can be told from
// another only by when and why it left, which is counted. Only the others are laid out one by one.
// It is safe for use by several goroutines at once, and refers to the columns it was made from.
type Layout struct {
	d      Data      // Exit and Entry are places in times
	times  []float64 // nil: they are the times
	ticks  int       // one more than the last exit
	counts *Counts   // of people, whatever their weights
	// What happens to the rows that are not counted: a row leaves, or ^row joins late. By cluster,
	// then time; byGroup has the same by group before that, group g from start[g] to start[g+1].
	byCluster, byGroup []int32
	start              []int32
	clusters           int
}

// LayOut lays out rows. The error is that of Count.
//
// The cost is linear in the rows: a count of them and a sort of their clusters by digits.
func LayOut(d Data) (*Layout, error) {
	d, err := d.normal()
	if err != nil {
		return nil, err
	}
	last, err := checkRows(d)
	if err != nil {
		return nil, err
	}
	return layOut(d, last, nil), nil
}

// LayOutReal is LayOut for rows whose times are real numbers. The error is that of CountReal.
func LayOutReal(d RealData) (*Layout, error) {
	ranked, last, times, err := ranked(d)
	if err != nil {
		return nil, err
	}
	return layOut(ranked, last, times), nil
}

// layOut lays out rows known to be good.
func layOut(d Data, last int32, times []float64) *Layout {
	people := d
	people.Weight = nil
	l := &Layout{d: d, times: times, ticks: int(last) + 1}
	l.orderByCluster()
	l.orderByGroup()
	l.counts = countTicks(people, last, times) // after the sort, whose memory is free again
	return l
}

// Clusters returns the number of clusters.
func (l *Layout) Clusters() int { return l.clusters }

// orderByCluster picks the rows that are to be laid out one by one.
func (l *Layout) orderByCluster() {
	if l.d.Cluster == nil && l.d.Weight == nil && l.d.Entry == nil {
		l.clusters = len(l.d.Exit)
		return
	}
	keys := l.clusterKeys()
	if !slices.IsSorted(keys) {
		keys = sortDigits(keys, rowBits, 64)
	}
	for from := 0; from < len(keys); {
		to := from + 1
		for to < len(keys) && keys[to]>>rowBits == keys[from]>>rowBits {
			to++
		}
		l.takeCluster(keys[from:to])
		l.clusters++
		from = to
	}
}

// rowBits is the width of the number of a row.
const rowBits = 32

// clusterKeys packs the cluster of each row before its number.
func (l *Layout) clusterKeys() []uint64 {
	keys := make([]uint64, len(l.d.Exit))
	for i := range keys {
		keys[i] = uint64(l.cluster(int32(i)))<<rowBits | uint64(i)
	}
	return keys
}

// cluster returns the cluster of a row; without clusters, a number that no other row has.
func (l *Layout) cluster(row int32) int32 {
	if l.d.Cluster == nil {
		return row
	}
	return l.d.Cluster[row]
}

// takeCluster adds what happens to the rows of a cluster, by time.
func (l *Layout) takeCluster(keys []uint64) {
	from := len(l.byCluster)
	for _, key := range keys {
		row := int32(uint32(key))
		late := l.isLate(row)
		if len(keys) == 1 && l.d.Weight == nil && !late {
			return
		}
		l.byCluster = append(l.byCluster, row)
		if late {
			l.byCluster = append(l.byCluster, ^row)
		}
	}
	if happenings := l.byCluster[from:]; len(happenings) > 1 {
		slices.SortFunc(happenings, l.inTime)
	}
}

func (l *Layout) isLate(row int32) bool { return l.d.Entry != nil && l.d.Entry[row] > 0 }

// inTime orders happenings: who leaves at a time does so before those come who entered at it,
// since these are at risk only after it.
func (l *Layout) inTime(a, b int32) int {
	if byTime := cmp.Compare(l.moment(a), l.moment(b)); byTime != 0 {
		return byTime
	}
	return cmp.Compare(a, b)
}

func (l *Layout) moment(happening int32) int64 {
	if happening < 0 {
		return int64(l.d.Entry[^happening])<<1 | 1
	}
	return int64(l.d.Exit[happening]) << 1
}

// orderByGroup sorts the happenings by group, keeping their order within a group.
func (l *Layout) orderByGroup() {
	l.start = make([]int32, l.d.Groups+1)
	if l.d.Group == nil {
		l.byGroup, l.start[l.d.Groups] = l.byCluster, int32(len(l.byCluster))
		for g := 1; g < l.d.Groups; g++ {
			l.start[g] = l.start[l.d.Groups]
		}
		return
	}
	for _, h := range l.byCluster {
		l.start[l.d.Group[rowOf(h)]+1]++
	}
	for g := range l.d.Groups {
		l.start[g+1] += l.start[g]
	}
	next := slices.Clone(l.start)
	l.byGroup = make([]int32, len(l.byCluster))
	for _, h := range l.byCluster {
		g := l.d.Group[rowOf(h)]
		l.byGroup[next[g]] = h
		next[g]++
	}
}

// rowOf returns the row of a happening.
func rowOf(happening int32) int32 {
	if happening < 0 {
		return ^happening
	}
	return happening
}
