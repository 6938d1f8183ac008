package survival

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
// all, and a and b change only when one of its rows comes or goes. Those who want several curves
// of the same rows use LayOut and RobustFrom.
//
// Sources: Efron, The Jackknife, the Bootstrap and Other Resampling Plans (1982), chapter 6;
// Williams, Lifetime Data Anal. 1 (1995) 171–186; Ying & Wei, J. Multivar. Anal. 50 (1994) 17–29.
func (k *Curve) Robust(d Data) (*Curve, error) {
	l, err := LayOut(d)
	if err != nil {
		return nil, err
	}
	return k.robustIn(l)
}

// RobustReal is Robust for a curve counted by CountReal.
func (k *Curve) RobustReal(d RealData) (*Curve, error) {
	l, err := LayOutReal(d)
	if err != nil {
		return nil, err
	}
	return k.robustIn(l)
}

func (k *Curve) robustIn(l *Layout) (*Curve, error) {
	rows, err := l.Find(k.Group)
	if err != nil {
		return nil, err
	}
	return k.RobustFrom(rows)
}

// RobustFrom is Robust with the rows of the group from a layout that serves other curves too. The
// error is for rows other than those that were counted. Where all rows are in one cluster there is no
// variance, and the limits of every estimate are OneCluster.
func (k *Curve) RobustFrom(rows *Rows) (*Curve, error) {
	if err := rows.Are(k.counts, k.Group); err != nil {
		return nil, err
	}
	out := *k
	out.Form, out.rows = Robust, rows
	if out.lacks = rows.Lack(); out.lacks == Estimated {
		out.Variance = out.spread()
	} else {
		out.Variance = nil
	}
	return &out, nil
}

// spread works out the variance of log S; it stays as it is once S has reached 0.
func (k *Curve) spread() []float64 {
	moves, hazard, alive := k.moves()
	cross := k.rows.Cross(moves, k.Cause)
	variance := make([]float64, len(k.Time))
	for row := range k.Time[:alive] {
		variance[row] = cross[row].Of(Move{1, hazard[row]})
	}
	for row := max(alive, 1); row < len(variance); row++ {
		variance[row] = variance[row-1]
	}
	return variance
}

// moves returns how a and b of a cluster change, A after each row of the curve, and how many rows
// it takes until S is 0.
func (k *Curve) moves() (m Moves, hazard []float64, alive int) {
	m, hazard, alive = NewMoves(len(k.Time)), make([]float64, len(k.Time)), len(k.Time)
	sum := 0.0
	for row := range k.Time {
		m.Joining[row] = Move{sum, -1}
		n, d := k.mass(row)
		perEvent := 0.0
		if row < alive && k.Survival[row] > 0 && n > d {
			perEvent = 1 / (n - d)
			if d > 0 {
				sum += d / float64(n*(n-d))
			}
		} else if row < alive && k.Survival[row] == 0 {
			alive = row
		}
		hazard[row] = sum
		m.Leaving[Censored][row] = Move{-sum, 1}
		m.Leaving[OtherEvent][row] = Move{-sum, 1}
		m.Leaving[OwnEvent][row] = Move{perEvent - sum, 1}
	}
	return m, hazard, alive
}

// mass returns what is at risk and what has the event at a row of the curve.
func (k *Curve) mass(row int) (n, d float64) {
	if k.WeightAtRisk != nil {
		return k.WeightAtRisk[row], k.WeightEvents[row]
	}
	return float64(k.AtRisk[row]), float64(k.Events[row])
}
