package competing

import (
	"deltoid/stats/numeric"
	"deltoid/stats/survival"
)

// Robust returns the curve with the infinitesimal-jackknife variance, summed over clusters. It
// holds when rows have weights, and when the rows of one cluster (the eyes, hips or shoulders of
// one person) are not independent. The rows must be those the curve was counted from.
//
//	Var F(t) = Σ over clusters (Σ over their rows w u(t))²
//	u(t) = Σ S(s−) (dN_k − Y d_k/n)/n − Σ (F(t) − F(s)) (dN − Y d/n)/(n−d)
//
// over times s ≤ t, dN_k and dN being the row's event of the cause and of any cause at s, and Y
// whether it is at risk there. With rows of weight 1, each a cluster of its own, and nobody
// entering late, it equals the delta-method variance. There is no small-sample factor.
//
// The work is linear in the rows: at any time the sum of a cluster is a + b·F(t) + m·R(t), F and R
// being the same for all.
//
// Source: Efron, The Jackknife, the Bootstrap and Other Resampling Plans (1982), chapter 6,
// applied to the estimate of Aalen & Johansen.
func (k *Curve) Robust(d survival.Data) (*Curve, error) {
	rows, err := k.counts.Rows(k.Group, d)
	if err != nil {
		return nil, err
	}
	return k.robust(rows), nil
}

// RobustReal is Robust for a curve counted by survival.CountReal.
func (k *Curve) RobustReal(d survival.RealData) (*Curve, error) {
	rows, err := k.counts.RowsReal(k.Group, d)
	if err != nil {
		return nil, err
	}
	return k.robust(rows), nil
}

func (k *Curve) robust(rows *survival.Rows) *Curve {
	out := *k
	out.form = Jackknife
	out.followUp.NoVariance = false
	out.Jackknife = k.sweep(rows)
	return &out
}

// influence is what all rows at risk share at a time, as sums over the times so far.
type influence struct {
	p  float64 // Σ S(s−) d_k/n²
	a  float64 // Σ d/(n(n−d))
	fa float64 // Σ F(s) d/(n(n−d))
	r  float64 // F a − fa − p, the sum of a row of weight 1 at risk from the start
}

func (k *Curve) sweep(rows *survival.Rows) []float64 {
	table := k.counts.LifeTable(k.Group)
	sums := newClusterSums(rows.Clusters)
	out := make([]float64, len(k.Time))
	var x influence
	s := numeric.One()
	for row := range k.Time {
		for _, m := range rows.Joining(row) {
			sums.move(m.Cluster, [3]float64{float64(m.Weight * (x.p + x.fa)), -float64(m.Weight * x.a), m.Weight})
		}
		at := stepAt(table, row)
		at.before = s.Value()
		f := k.Incidence[row]
		// Once all at risk have an event no F can grow any more, and the infinite 1/(n−d) would only
		// ever meet F(t) − F(s) = 0.
		perEvent := 0.0
		if at.atRisk > 0 {
			x.p += float64(at.before * (table.MassLeft(row, k.Cause) / at.atRisk) / at.atRisk)
			if !at.all && at.atRisk > at.events {
				perEvent = 1 / (at.atRisk - at.events)
				s.Times(at.atRisk-at.events, at.atRisk)
			} else {
				s.Times(0, 1)
			}
			hazard := float64(at.events / at.atRisk * perEvent)
			x.a += hazard
			x.fa += float64(f * hazard)
		}
		x.r = float64(f*x.a) - x.fa - x.p
		for _, m := range rows.Leaving(row) {
			sums.move(m.Cluster, k.leaving(m, at, x, f, perEvent))
		}
		out[row] = sums.at(f, x.r)
	}
	return out
}

// leaving is how the sum of a cluster changes when one of its rows leaves: what it added while at
// risk no longer moves, and its event comes on top.
func (k *Curve) leaving(m survival.Row, at step, x influence, f, perEvent float64) [3]float64 {
	constant, slope := -(x.p + x.fa), x.a
	if m.Cause != 0 {
		constant += float64(f * perEvent)
		slope -= perEvent
	}
	if int(m.Cause) == k.Cause && at.atRisk > 0 {
		constant += at.before / at.atRisk
	}
	return [3]float64{float64(m.Weight * constant), float64(m.Weight * slope), -m.Weight}
}

// clusterSums keeps the sum of every cluster as three numbers, and the sums over clusters of
// their products.
type clusterSums struct {
	sum   [][3]float64
	cross [3][3]numeric.Sum // upper half
}

func newClusterSums(clusters int) *clusterSums {
	return &clusterSums{sum: make([][3]float64, clusters)}
}

func (c *clusterSums) move(cluster int32, by [3]float64) {
	x := c.sum[cluster]
	for i := range 3 {
		for j := i; j < 3; j++ {
			c.cross[i][j].Add(float64(x[i]*by[j]) + float64(by[i]*x[j]) + float64(by[i]*by[j]))
		}
		c.sum[cluster][i] = x[i] + by[i]
	}
}

// at returns Σ (a + b·f + m·r)².
func (c *clusterSums) at(f, r float64) float64 {
	v := [3]float64{1, f, r}
	var total numeric.Sum
	for i := range 3 {
		for j := i; j < 3; j++ {
			x := float64(v[i] * v[j] * c.cross[i][j].Value())
			if i != j {
				x *= 2
			}
			total.Add(x)
		}
	}
	return max(0, total.Value())
}
