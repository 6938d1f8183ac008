package survival

import (
	"fmt"
	"sort"

	"deltoid/stats/numeric"
)

// Robust returns the curve with the infinitesimal-jackknife variance, summed over clusters. It
// holds when rows have weights, and when the rows of one cluster (the eyes, hips or shoulders of
// one person) are not independent. The rows must be those the curve was counted from.
//
//	Var log S(t) = Σ over clusters (Σ over their rows w u(t))²
//	u(t) = 1{event by t}/(n−d) − Σ d/(n(n−d)) over event times at which the row is at risk, ≤ t
//
// n and d being sums of weights. With rows that all count for 1, each a cluster of its own, and
// nobody entering late, it equals Greenwood's. No small-sample factor is applied, so that giving
// every row k times, in one cluster with its copies, leaves it as it is.
//
// The work is linear in the rows: at any time the sum of a cluster is a + b·A(t) with one A for
// all, and a and b change only when one of its rows comes or goes.
//
// Sources: Efron, The Jackknife, the Bootstrap and Other Resampling Plans (1982), chapter 6;
// Williams, Lifetime Data Anal. 1 (1995) 171–186; Ying & Wei, J. Multivar. Anal. 50 (1994) 17–29.
func (k *Curve) Robust(d Data) (*Curve, error) {
	d, err := d.normal()
	if err != nil {
		return nil, err
	}
	if _, err := checkRows(d); err != nil {
		return nil, err
	}
	return k.robust(d, func(i int) float64 { return float64(d.Exit[i]) }, func(i int) float64 { return float64(d.Entry[i]) })
}

// RobustReal is Robust for a curve counted by CountReal.
func (k *Curve) RobustReal(d RealData) (*Curve, error) {
	if _, err := CountReal(d); err != nil {
		return nil, err
	}
	ranked := Data{Cause: d.Cause, Group: d.Group, Weight: d.Weight, Cluster: d.Cluster, Groups: max(1, d.Groups), Causes: max(1, d.Causes)}
	if d.Entry != nil {
		ranked.Entry = []int32{}
	}
	return k.robust(ranked, func(i int) float64 { return d.Exit[i] }, func(i int) float64 { return d.Entry[i] })
}

// member is a row of the curve's group.
type member struct {
	leaves, joins int32 // rows of the curve: the one it leaves at, the first it is at risk at
	cluster       int32
	event         bool
	weight        float64
}

func (k *Curve) robust(d Data, exit, entry func(i int) float64) (*Curve, error) {
	members := make([]member, 0, k.N)
	clusters := newNumbering(d.Cluster)
	for i, cause := range d.Cause {
		if d.Group != nil && int(d.Group[i]) != k.Group {
			continue
		}
		m := member{leaves: k.row(exit(i)), event: isEvent(cause, k.Cause), weight: 1, cluster: clusters.of(i)}
		if int(m.leaves) == len(k.Time) || k.Time[m.leaves] != exit(i) {
			return nil, fmt.Errorf("row %d ends at %v, which is not a time of the curve: the rows are not those it was counted from", i, exit(i))
		}
		if d.Entry != nil && entry(i) > 0 {
			m.joins = k.row(entry(i))
			if k.Time[m.joins] == entry(i) {
				m.joins++
			}
		}
		if d.Weight != nil {
			m.weight = d.Weight[i]
		}
		members = append(members, m)
	}
	if int64(len(members)) != k.N {
		return nil, fmt.Errorf("the group has %d rows here and %d in the counts: the rows are not those the curve was counted from", len(members), k.N)
	}
	out := *k
	out.Form = Robust
	out.Variance = k.sweep(members, clusters.size)
	return &out, nil
}

// row returns the first row of the curve at or after a time.
func (k *Curve) row(t float64) int32 { return int32(sort.SearchFloat64s(k.Time, t)) }

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

// sweep goes through the rows of the curve with the sum a + b·A of every cluster at hand.
func (k *Curve) sweep(members []member, clusters int) []float64 {
	leaving := bucket(members, len(k.Time), func(m member) int32 { return m.leaves })
	joining := bucket(members, len(k.Time), func(m member) int32 { return m.joins })
	sums := &clusterSums{a: make([]float64, clusters), b: make([]float64, clusters)}
	out := make([]float64, len(k.Time))
	hazard, variance := 0.0, 0.0 // A, and the answer as it stands
	for row := range k.Time {
		for _, i := range joining[row] {
			m := members[i]
			sums.move(m.cluster, float64(m.weight*hazard), -m.weight)
		}
		n, d := k.mass(row)
		alive := k.Survival[row] > 0 && n > d
		if d > 0 && alive {
			hazard += d / float64(n*(n-d))
		}
		for _, i := range leaving[row] {
			m := members[i]
			frozen := -float64(m.weight * hazard)
			if m.event && alive {
				frozen += m.weight / (n - d)
			}
			sums.move(m.cluster, frozen, m.weight)
		}
		if alive {
			variance = sums.at(hazard)
		}
		out[row] = variance
	}
	return out
}

// mass returns what is at risk and what has the event at a row of the curve.
func (k *Curve) mass(row int) (n, d float64) {
	if k.WeightAtRisk != nil {
		return k.WeightAtRisk[row], k.WeightEvents[row]
	}
	return float64(k.AtRisk[row]), float64(k.Events[row])
}

// bucket lists the members by a row of the curve, in the order of the members.
func bucket(members []member, rows int, of func(member) int32) [][]int32 {
	first := make([]int32, rows+1)
	for _, m := range members {
		first[of(m)+1]++
	}
	for row := range rows {
		first[row+1] += first[row]
	}
	all, next := make([]int32, len(members)), append([]int32(nil), first...)
	for i, m := range members {
		all[next[of(m)]] = int32(i)
		next[of(m)]++
	}
	out := make([][]int32, rows)
	for row := range out {
		out[row] = all[first[row]:first[row+1]]
	}
	return out
}

// clusterSums keeps a and b of every cluster, and the sums of a², ab and b² over clusters.
type clusterSums struct {
	a, b       []float64
	aa, ab, bb numeric.Sum
}

func (s *clusterSums) move(cluster int32, da, db float64) {
	a, b := s.a[cluster], s.b[cluster]
	s.aa.Add(float64(da * (float64(2*a) + da)))
	s.ab.Add(float64(a*db) + float64(b*da) + float64(da*db))
	s.bb.Add(float64(db * (float64(2*b) + db)))
	s.a[cluster], s.b[cluster] = a+da, b+db
}

// at returns Σ (a + b·A)².
func (s *clusterSums) at(hazard float64) float64 {
	sum := s.aa.Value() + float64(2*hazard*s.ab.Value()) + float64(hazard*hazard*s.bb.Value())
	return max(0, sum)
}
