package competing

import (
	"sort"

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
// being the same for all. Those who want several curves of the same rows use survival.LayOut and
// RobustFrom.
//
// Source: Efron, The Jackknife, the Bootstrap and Other Resampling Plans (1982), chapter 6,
// applied to the estimate of Aalen & Johansen.
func (k *Curve) Robust(d survival.Data) (*Curve, error) {
	l, err := survival.LayOut(d)
	if err != nil {
		return nil, err
	}
	return k.robustIn(l)
}

// RobustReal is Robust for a curve counted by survival.CountReal.
func (k *Curve) RobustReal(d survival.RealData) (*Curve, error) {
	l, err := survival.LayOutReal(d)
	if err != nil {
		return nil, err
	}
	return k.robustIn(l)
}

func (k *Curve) robustIn(l *survival.Layout) (*Curve, error) {
	rows, err := l.Find(k.Group)
	if err != nil {
		return nil, err
	}
	return k.RobustFrom(rows)
}

// RobustFrom is Robust with the rows of the group from a layout that serves other curves too. The
// error is for rows other than those that were counted. Where all rows are in one cluster there is no
// variance, and the limits of every estimate are survival.OneCluster.
func (k *Curve) RobustFrom(rows *survival.Rows) (*Curve, error) {
	if err := rows.Are(k.counts, k.Group); err != nil {
		return nil, err
	}
	out := *k
	out.form, out.rows = Jackknife, rows
	if out.followUp.Variance = rows.Lack(); out.followUp.Variance != survival.Estimated {
		out.Jackknife = nil
		return &out, nil
	}
	moves, r := k.moves()
	out.Jackknife = make([]float64, len(k.Time))
	for row, cross := range rows.Cross(moves, k.Cause) {
		out.Jackknife[row] = cross.Of(survival.Move{1, k.Incidence[row], r[row]})
	}
	return &out, nil
}

// Influence returns by how much clusters move the incidence at time t, for the covariance of the
// incidences of two groups that share some; nil for a curve that is not made by Robust.
func (k *Curve) Influence(t float64) *survival.Influence {
	if k.rows == nil {
		return nil
	}
	moves, r := k.moves()
	row, v := sort.Search(len(k.Time), func(i int) bool { return k.Time[i] > t })-1, survival.Move{}
	if row >= 0 {
		v = survival.Move{1, k.Incidence[row], r[row]}
	}
	return k.rows.Influence(moves, k.Cause, row, v)
}

// influence is what all rows at risk share at a time, as sums over the times so far.
type influence struct {
	p  float64 // Σ S(s−) d_k/n²
	a  float64 // Σ d/(n(n−d))
	fa float64 // Σ F(s) d/(n(n−d))
}

// moves returns how a, b and m of a cluster change, and R = F a − fa − p after each row, the sum of
// a row of weight 1 at risk from the start.
func (k *Curve) moves() (survival.Moves, []float64) {
	table := k.counts.LifeTable(k.Group)
	m, r := survival.NewMoves(len(k.Time)), make([]float64, len(k.Time))
	var x influence
	s := numeric.One()
	for row, f := range k.Incidence {
		m.Joining[row] = survival.Move{x.p + x.fa, -x.a, 1}
		at := stepAt(table, row)
		at.before = s.Value()
		// Once all at risk have an event no F can grow any more, and the infinite 1/(n−d) would only
		// ever meet F(t) − F(s) = 0.
		perEvent, own := 0.0, 0.0
		if at.atRisk > 0 {
			own = at.before / at.atRisk
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
		r[row] = float64(f*x.a) - x.fa - x.p
		// What a row added while at risk no longer moves when it leaves, and its event comes on top.
		stays := survival.Move{-(x.p + x.fa), x.a, -1}
		event := survival.Move{stays[0] + float64(f*perEvent), stays[1] - perEvent, -1}
		m.Leaving[survival.Censored][row], m.Leaving[survival.OtherEvent][row] = stays, event
		m.Leaving[survival.OwnEvent][row] = survival.Move{event[0] + own, event[1], -1}
	}
	return m, r
}
