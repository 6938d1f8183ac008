package competing

import (
	"deltoid/stats/numeric"
	"deltoid/stats/survival"
)

// step is what all causes share at one time.
type step struct {
	row           int
	atRisk        float64 // n
	events        float64 // d, of all causes
	before, after float64 // S just before and just after
	all           bool    // all people at risk have an event
}

// stepAt reads a row of the table; before and after are left to the caller. Whether all at risk
// have an event is asked of the people, because sums of weights are rounded.
func stepAt(table *survival.LifeTable, row int) step {
	at := step{row: row, atRisk: table.Mass(row), events: table.MassEvents(row, 0)}
	people := int64(0)
	for _, n := range table.Left[row*(table.Causes+1)+1 : (row+1)*(table.Causes+1)] {
		people += n
	}
	at.all = people == table.AtRisk[row] && at.atRisk > 0
	return at
}

// scan carries the sums of one cause along the times. Both variances are sums over earlier times
// s of terms that hold F(t) − F(s), which changes with t. Instead of summing anew at each t, the
// sums are moved: when F grows by j, Σ w (F(t)−F(s))² grows by 2jΣ w (F(t)−F(s)) + j²Σ w. That
// makes the scan linear in the times, and adds small positive numbers where expanding the square
// would subtract large ones.
type scan struct {
	curve     *Curve
	incidence numeric.Sum
	delta     deltaSums
	aalen     aalenSums
}

func (s *scan) take(at step, table *survival.LifeTable) {
	k := s.curve
	if at.events > 0 && at.atRisk > 0 {
		own := table.MassLeft(at.row, k.Cause)
		jump := at.before * (own / at.atRisk)
		s.incidence.Add(jump)
		s.delta.take(at, own, jump)
		s.aalen.take(at, own, jump)
	}
	k.Events[at.row] = table.Left[at.row*(table.Causes+1)+k.Cause]
	k.Incidence[at.row] = s.incidence.Value()
	k.Delta[at.row] = s.delta.variance()
	k.Aalen[at.row] = s.aalen.variance()
}

// deltaSums is the delta-method variance, with own = d_k and e = F(t) − F(s):
//
//	Σ e² d/(n(n−d)) + Σ S(s−)² d_k(n−d_k)/n³ − 2 Σ e S(s−) d_k/n²
type deltaSums struct {
	a0, a1, a2 float64 // Σ a, Σ a e, Σ a e² with a = d/(n(n−d))
	own        float64 // the second sum
	c0, c1     float64 // Σ c, Σ c e with c = S(s−) d_k/n²
}

func (v *deltaSums) take(at step, own, jump float64) {
	n := at.atRisk
	v.a2 += float64(2*jump*v.a1) + float64(jump*jump*v.a0)
	v.a1 += float64(jump * v.a0)
	v.c1 += float64(jump * v.c0)
	// Once S is 0 no F can grow any more, and the infinite a would only ever meet e = 0.
	if at.after > 0 {
		v.a0 += at.events / float64(n*(n-at.events))
	}
	share := own / n
	v.own += float64(at.before * at.before * share * ((n - own) / n) / n)
	v.c0 += float64(at.before * share / n)
}

func (v *deltaSums) variance() float64 { return max(0, v.a2+v.own-float64(2*v.c1)) }

// aalenSums is the counting-process variance
//
//	Σ S(s−)² g² d′(s)/n²
//
// over own events, where g = 1 − (F(t)−F(s))/S(s), and over events of other causes, where
// g = −(F(t)−F(s))/S(s); d′ = d (n−d)/(n−1) corrects for ties. Both g move alike as F grows.
type aalenSums struct {
	g0, g1, g2 float64 // Σ w/S², Σ w g/S, Σ w g² with w = S(s−)² d′/n²
}

func (v *aalenSums) take(at step, own, jump float64) {
	v.g2 += float64(jump*jump*v.g0) - float64(2*jump*v.g1)
	v.g1 -= float64(jump * v.g0)
	inverse := 0.0
	if at.after > 0 {
		inverse = 1 / at.after
	}
	w := at.weight(own)
	v.g2 += w
	v.g1 += float64(w * inverse)
	v.g0 += float64((w + at.weight(at.events-own)) * inverse * inverse)
}

// weight returns S(s−)² d′/n² for d events of one kind.
func (at step) weight(d float64) float64 {
	n := at.atRisk
	if d > 1 {
		d *= (n - d) / (n - 1)
	}
	return float64(at.before * at.before * d / n / n)
}

func (v *aalenSums) variance() float64 { return max(0, v.g2) }
