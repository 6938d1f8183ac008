package survival

// Influence is by how much each cluster of rows moves an estimate of one group: the numbers whose
// squares a robust variance adds up. Two groups that share clusters, such as patients with a shoulder
// in each, have estimates that are not independent, and
//
//	Cov = Σ over clusters in both of the product of their influences
//
// It holds only clusters of several rows, wherever those are: a row that is a cluster of its own is
// in one group only.
type Influence struct {
	cluster []int32 // rising
	by      []float64
}

// With returns the covariance of the two estimates that the influences belong to. They must come from
// one layout. A nil Influence, which estimates without a robust variance have, shares nothing.
func (x *Influence) With(other *Influence) float64 {
	if x == nil || other == nil {
		return 0
	}
	sum, j := 0.0, 0
	for i, c := range x.cluster {
		for j < len(other.cluster) && other.cluster[j] < c {
			j++
		}
		if j < len(other.cluster) && other.cluster[j] == c {
			sum += float64(x.by[i] * other.by[j])
		}
	}
	return sum
}

// Influence returns the influence of clusters on an estimate that is v times their three numbers
// just after a row of the life table; −1 stands for before the first.
func (r *Rows) Influence(m Moves, cause, row int, v Move) *Influence {
	out := &Influence{cluster: r.ids, by: make([]float64, len(r.ids))}
	if row < 0 {
		return out
	}
	kind, next := kindsOf(cause), 0
	for from := 0; from < len(r.at); next++ {
		here, to := r.atStart(from)
		x := m.Joining[0].scaled(here)
		for i := from; i < to && int(r.at[i]) <= row; i++ {
			x.add(r.change(i, &m, &kind))
		}
		out.by[next] = float64(x[0]*v[0]) + float64(x[1]*v[1]) + float64(x[2]*v[2])
		from = to
	}
	return out
}

// change returns by how much happening i changes the numbers of its cluster.
func (r *Rows) change(i int, m *Moves, kind *[256]Kind) Move {
	at, what := r.at[i], r.what[i]
	by := m.Leaving[kind[uint8(what)]][at]
	if what&joins != 0 {
		by = m.Joining[at]
	}
	if r.weight != nil {
		return by.scaled(r.weight[i])
	}
	return by
}

// Influence returns by how much clusters move S(t); nil for a curve that is not made by Robust.
func (k *Curve) Influence(t float64) *Influence {
	if k.rows == nil {
		return nil
	}
	moves, hazard, alive := k.moves()
	row := min(k.step(t), alive-1)
	v := Move{}
	if row >= 0 {
		v = Move{-k.Survival[row], -float64(k.Survival[row] * hazard[row])}
	}
	return k.rows.Influence(moves, k.Cause, row, v)
}

// MeanInfluence returns by how much clusters move the restricted mean to a horizon; nil for a curve
// that is not made by Robust.
func (k *Curve) MeanInfluence(horizon float64) *Influence {
	if k.rows == nil {
		return nil
	}
	return k.rows.Influence(k.areaMoves(horizon), k.Cause, len(k.Time)-1, Move{-1})
}

// Leaving goes through the rows as they leave: those that are counted, by the row of the life table and
// the cause, 0 being censored, each a cluster of its own; and the others one by one.
func (r *Rows) Leaving(alone func(row, cause int, n int64), apart func(cluster int32, row, cause int, weight float64)) {
	for i, n := range r.alone {
		if n > 0 {
			alone(i/(r.causes+1), i%(r.causes+1), n)
		}
	}
	cluster := -1
	for i, what := range r.what {
		if what&begins != 0 {
			cluster++
		}
		if what&joins != 0 {
			continue
		}
		weight := 1.0
		if r.weight != nil {
			weight = r.weight[i]
		}
		apart(r.ids[cluster], int(r.at[i]), int(uint8(what)), weight)
	}
}
