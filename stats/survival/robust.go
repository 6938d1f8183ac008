package survival

import "deltoid/stats/numeric"

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
	rows, err := k.counts.Rows(k.Group, d)
	if err != nil {
		return nil, err
	}
	return k.robust(rows), nil
}

// RobustReal is Robust for a curve counted by CountReal.
func (k *Curve) RobustReal(d RealData) (*Curve, error) {
	rows, err := k.counts.RowsReal(k.Group, d)
	if err != nil {
		return nil, err
	}
	return k.robust(rows), nil
}

func (k *Curve) robust(rows *Rows) *Curve {
	out := *k
	out.Form = Robust
	out.Variance = k.sweep(rows)
	out.rows = rows
	return &out
}

// sweep goes through the rows of the curve with the sum a + b·A of every cluster at hand.
func (k *Curve) sweep(rows *Rows) []float64 {
	sums := &clusterSums{a: make([]float64, rows.Clusters), b: make([]float64, rows.Clusters)}
	out := make([]float64, len(k.Time))
	hazard, variance := 0.0, 0.0 // A, and the answer as it stands
	for row := range k.Time {
		for _, m := range rows.Joining(row) {
			sums.move(m.Cluster, float64(m.Weight*hazard), -m.Weight)
		}
		n, d := k.mass(row)
		alive := k.Survival[row] > 0 && n > d
		if d > 0 && alive {
			hazard += d / float64(n*(n-d))
		}
		for _, m := range rows.Leaving(row) {
			frozen := -float64(m.Weight * hazard)
			if alive && isEvent(m.Cause, k.Cause) {
				frozen += m.Weight / (n - d)
			}
			sums.move(m.Cluster, frozen, m.Weight)
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
