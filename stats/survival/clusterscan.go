package survival

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// clusterScan works out the covariance of the scores of ClusteredLogRank. With
//
//	r(s) = w(s) Σ (dN_i(s) − Y_i(s) d/n)   over the rows of a cluster, at time s
//	z_j  = Σ r_i(s)                        over its rows in group j, and over time
//
// its sum for group j is z_j + y_j, y_j = −Σ r(s) n_j(s)/n(s) over time, so that V is the sum over
// clusters of z zᵀ + (z + y/2) yᵀ + y (z + y/2)ᵀ. Summed over clusters first, the second is
//
//	Σ over s of L(s) (n_j(s)/n(s))ᵀ,  L(s) = h(s) U(s) − w(s) E(s)
//
// with h = w d/n, U the sum of z + y/2 over the rows at risk at s and E that over the rows with the
// event: one product of two tables of times and groups, whatever the number of rows. All rows sum
// to 0 over the groups, so the diagonal comes from the rest; nothing is lost there where nearly
// everybody is in one group.
//
// Rows that are clusters of their own, of weight 1 and there from the start, add to U by time and
// group as they were counted. Only the others are gone through one by one.
type clusterScan struct {
	cause, k int
	clusters int
	strata   []clusterStratum
	// By place, of all strata: Σ w d/n over the event times gone by, and the weight of the event time
	// to come.
	hazard, timeWeight []float64
	apart              []clusterRow // by cluster
	weight             []float64    // beside apart; nil: 1
}

// clusterStratum is one stratum. Place base+i of the tables stands for i event times gone by.
type clusterStratum struct {
	counts *Counts
	apart  []tally // of the rows that are gone through one by one
	times  *eventTimes
	along  []walker // at the start
	base   int
	// The rows that are counted, by the place at which they leave, with and without the event.
	events, others []float64
}

// clusterRow is a row that is gone through by itself. It is at risk at the event times between two
// places.
type clusterRow struct {
	from, to int32
	group    int32
	begins   bool // the first of its cluster
	event    bool
	late     bool
}

func newClusterScan(cause int, counts []*Counts, times []*eventTimes, l *Layout, stratum []int32) *clusterScan {
	s := &clusterScan{cause: cause, k: l.d.Groups, clusters: l.clusters, strata: make([]clusterStratum, len(counts))}
	for i, c := range counts {
		e := times[i]
		s.strata[i] = clusterStratum{counts: c, times: e, along: e.walkers(c, cause), base: len(s.hazard)}
		hazard := 0.0
		for t, n := range e.n {
			s.hazard, s.timeWeight = append(s.hazard, hazard), append(s.timeWeight, e.weight[t])
			hazard += float64(e.weight[t] * e.d[t] / n)
		}
		s.hazard, s.timeWeight = append(s.hazard, hazard), append(s.timeWeight, 0)
	}
	s.takeApart(l, stratum)
	return s
}

// takeApart lays out the rows that are gone through one by one, and counts them.
func (s *clusterScan) takeApart(l *Layout, stratum []int32) {
	places := make([]placing, len(s.strata))
	for i := range places {
		places[i] = l.places(s.strata[i].times.time, len(l.byCluster)/len(s.strata))
	}
	rows := 0
	for _, row := range l.byCluster {
		if row >= 0 {
			rows++
		}
	}
	d := Data{Groups: s.k * len(s.strata), Causes: l.d.Causes,
		Exit: make([]int32, 0, rows), Cause: make([]uint8, 0, rows), Group: make([]int32, 0, rows)}
	s.apart = make([]clusterRow, 0, rows)
	cluster := int32(-1)
	for _, row := range l.byCluster {
		if row < 0 {
			continue
		}
		in, group := int32(0), int32(0)
		if stratum != nil {
			in = stratum[row]
		}
		if l.d.Group != nil {
			group = l.d.Group[row]
		}
		x := s.row(l, row, in, group, places[in])
		x.begins = l.cluster(row) != cluster
		cluster = l.cluster(row)
		s.apart = append(s.apart, x)
		if l.d.Weight != nil {
			s.weight = append(s.weight, l.d.Weight[row])
		}
		d.Exit, d.Cause, d.Group = append(d.Exit, l.d.Exit[row]), append(d.Cause, l.d.Cause[row]), append(d.Group, in*int32(s.k)+group)
	}
	apart := countTicks(d, int32(l.ticks-1), nil)
	for i := range s.strata {
		s.strata[i].apart = apart.groups[i*s.k : (i+1)*s.k]
		s.strata[i].countAlone(s.cause)
	}
}

func (s *clusterStratum) countAlone(cause int) {
	places := len(s.times.time) + 1
	s.events, s.others = make([]float64, places), make([]float64, places)
	for g := range s.counts.groups {
		s.eachAlone(g, cause, func(to int, event bool, count float64) {
			if event {
				s.events[to] += count
			} else {
				s.others[to] += count
			}
		})
	}
}

// eachAlone goes through the rows of a group that are counted: to which place, with the event or
// not, how many.
func (s *clusterStratum) eachAlone(g, cause int, take func(to int, event bool, count float64)) {
	apart, gone, to := &s.apart[g].left, 0, 0
	left := &s.counts.groups[g].left
	for i, count := range left.count {
		if gone < apart.len() && apart.compare(gone, left, i) == 0 {
			count -= apart.count[gone]
			gone++
		}
		for time := left.time(i); to < len(s.times.time) && s.times.time[to] <= time; {
			to++
		}
		if count > 0 {
			take(to, isEvent(left.causeOf(i), cause), float64(count))
		}
	}
}

func (s *clusterScan) row(l *Layout, row, in, group int32, places placing) clusterRow {
	base := int32(s.strata[in].base)
	x := clusterRow{from: base, to: base + places.after(l.d.Exit[row]), group: group, late: l.isLate(row)}
	x.event = isEvent(l.d.Cause[row], s.cause) && (l.d.Weight == nil || l.d.Weight[row] > 0) // without weight, it has no event time of its own
	if x.late {
		x.from = base + places.after(l.d.Entry[row])
	}
	return x
}

// own is what row i of those apart adds to z: its weight times ∫ w (dN − Y d/n).
func (s *clusterScan) own(i int) float64 {
	x := &s.apart[i]
	return float64(s.weightOf(i) * s.between(int(x.from), int(x.to), x.event))
}

// between is ∫ w (dN − Y d/n) of a row at risk between two places.
func (s *clusterScan) between(from, to int, event bool) float64 {
	sum := s.hazard[from] - s.hazard[to]
	if event {
		sum += s.timeWeight[to-1]
	}
	return sum
}

func (s *clusterScan) weightOf(i int) float64 {
	if s.weight == nil {
		return 1
	}
	return s.weight[i]
}

// covariance returns V; groups that cannot be compared have none.
func (s *clusterScan) covariance(comparable []bool) []float64 {
	half := make([]float64, s.k*s.k) // Σ L (n/n)ᵀ, rows by the group of L
	width, workers := s.blockWidth()
	var next atomic.Int64
	var wait sync.WaitGroup
	for range workers {
		wait.Go(func() {
			b := newClusterBlock(s, width)
			for first := int(next.Add(1)-1) * width; first < s.k; first = int(next.Add(1)-1) * width {
				b.run(first, min(first+width, s.k), half)
			}
		})
	}
	wait.Wait()
	v := s.shared()
	for j := range s.k {
		for l := range j {
			x := 0.0
			if comparable[j] && comparable[l] {
				x = v[j*s.k+l] + half[j*s.k+l] + half[l*s.k+j]
			}
			v[j*s.k+l], v[l*s.k+j] = x, x
		}
	}
	for j := range s.k {
		v[j*s.k+j] = -total64(v[j*s.k : (j+1)*s.k])
	}
	return v
}

func total64(x []float64) (sum float64) {
	for _, y := range x {
		sum += y
	}
	return sum
}

// blockWidth returns how many groups are worked on at once, and by how many goroutines: as many as
// tables of 4 bytes a row, or 8 MiB, have room for. No result depends on it.
func (s *clusterScan) blockWidth() (width, workers int) {
	var rows int64
	for i := range s.strata {
		for g := range s.k {
			rows += s.strata[i].counts.N(g)
		}
	}
	workers = max(1, min(runtime.GOMAXPROCS(0), s.k/groupsPerWorker))
	room := int(max(4*rows, 8<<20)) / (clusterTables * 8 * len(s.hazard) * workers)
	share := (s.k + workers - 1) / workers
	return max(4, min(room, share+3)&^3), workers
}

// shared returns the lower half of Σ z zᵀ over clusters, off the diagonal.
func (s *clusterScan) shared() []float64 {
	v, z := make([]float64, s.k*s.k), make([]float64, s.k)
	seen, touched := make([]bool, s.k), []int32{}
	for from := 0; from < len(s.apart); {
		to := s.clusterEnd(from)
		for i := from; i < to; i++ {
			group := s.apart[i].group
			if !seen[group] {
				seen[group], touched = true, append(touched, group)
			}
			z[group] += s.own(i)
		}
		for i, j := range touched {
			for _, l := range touched[:i] {
				v[int(max(j, l))*s.k+int(min(j, l))] += float64(z[j] * z[l])
			}
		}
		for _, j := range touched {
			z[j], seen[j] = 0, false
		}
		touched, from = touched[:0], to
	}
	return v
}

// clusterEnd returns where the cluster that begins at a row ends.
func (s *clusterScan) clusterEnd(from int) int {
	to := from + 1
	for to < len(s.apart) && !s.apart[to].begins {
		to++
	}
	return to
}
