package monitor

import (
	"math"

	"deltoid/stats/dist"
)

// AllOthers stands for all groups but the one that is compared with them.
const AllOthers = -1

// design is a design effect, or why there is none.
type design struct {
	effect float64
	status Status
}

// side is one of two rates that are compared: that of a group, or of all groups but one.
type side struct {
	Tally
	group, than    int     // a group; or AllOthers and the one that is not in; or AllOthers twice, for all
	rows, clusters float64 // Σ (d − r t)² over rows, and over clusters after summing
	alike          float64 // the design effect if the rows of a cluster are wholly alike
	one            bool    // several rows, all in one cluster
}

// has says whether a group belongs to the side.
func (x *side) has(group int) bool {
	return group == x.group || x.group == AllOthers && group != x.than
}

func (s *Spread) side(group, than int) *side {
	x := &side{group: group, than: than, alike: 1}
	rows, clusters := 0, 0
	squares, wholes := 0.0, 0.0
	for g := range s.groups {
		if x.has(g) {
			one := &s.groups[g]
			x.Tally = x.Plus(s.Tallies[g])
			rows, clusters = rows+one.rows, clusters+one.own
			squares += one.alone.tt.Value() + one.apart.tt.Value()
			wholes += one.alone.tt.Value()
		}
	}
	r := x.rate()
	for g := range s.groups {
		if x.has(g) {
			alone := s.groups[g].alone.at(r)
			x.rows += alone + s.groups[g].apart.at(r)
			x.clusters += alone
		}
	}
	shared, off, whole := s.sharedBy(x, r)
	x.clusters += off
	if squares > 0 {
		x.alike = (wholes + whole) / squares
	}
	x.one = rows > 1 && clusters+shared == 1
	return x
}

// sharedBy goes through the clusters of several rows that have some on a side: how many they are, Σ (d − r t)²
// and Σ t² of what they have there. What lies outside a group is what all clusters have, put right where
// the group has a part in them.
func (s *Spread) sharedBy(x *side, r float64) (n int, off, whole float64) {
	add := func(d, t, times float64) {
		off += float64(times * square(d-float64(r*t)))
		whole += float64(times * t * t)
	}
	if x.group != AllOthers {
		for _, at := range s.byGroup[x.group] {
			add(s.parts[at].d, s.parts[at].t, 1)
		}
		return len(s.byGroup[x.group]), off, whole
	}
	n, off, whole = len(s.clusters), s.shared.at(r), s.shared.tt.Value()
	if x.than == AllOthers {
		return n, off, whole
	}
	for _, at := range s.byGroup[x.than] {
		p := &s.parts[at]
		c := &s.clusters[p.of]
		add(c.d, c.t, -1)
		add(c.d-p.d, c.t-p.t, 1)
		if c.parts == 1 {
			n--
		}
	}
	return n, max(0, off), max(0, whole)
}

func (x *side) rate() float64 {
	if x.Exposure == 0 {
		return 0
	}
	return float64(x.Events) / x.Exposure
}

func square(x float64) float64 { return float64(x * x) }

// dust is the share of the events below which a sum of squares is rounding.
const dust = 1e-12

// design returns the design effect of a rate.
func (x *side) design() design {
	switch {
	case x.Events == 0 || !(x.rows > dust*float64(x.Events)):
		return design{effect: x.alike} // nothing to see it by
	case x.one:
		return design{effect: 1, status: OneCluster}
	}
	return design{effect: max(x.clusters/x.rows, dust)}
}

// Rate is Tally.Rate for a group, with the design effect of its clusters. Where all rows are in one
// cluster Limits is OneCluster.
func (s *Spread) Rate(group int, per, level float64, form Form) (Rate, error) {
	return s.side(group, group).rateOf(per, level, form)
}

func (x *side) rateOf(per, level float64, form Form) (Rate, error) {
	return x.Tally.rate(per, level, form, x.design())
}

// covariance returns Σ over clusters of the product of the residuals of a group and of what it is compared
// with.
func (s *Spread) covariance(a, b *side) float64 {
	if a.group == AllOthers {
		a, b = b, a
	}
	sum, r1, r2 := 0.0, a.rate(), b.rate()
	for _, at := range s.byGroup[a.group] {
		p := &s.parts[at]
		c := &s.clusters[p.of]
		d, t := c.d-p.d, c.t-p.t
		if b.group != AllOthers {
			d, t = 0, 0
			for _, other := range s.parts[c.first : int(c.first)+c.parts] {
				if int(other.group) == b.group {
					d, t = other.d, other.t
				}
			}
		}
		sum += float64((p.d - float64(r1*p.t)) * (d - float64(r2*t)))
	}
	return sum
}

// designOf returns the design effect of the ratio of two rates: the variance of its logarithm over
// clusters, over that over rows. Clusters with rows on both sides make it smaller.
func (s *Spread) designOf(a, b *side) design {
	switch {
	case a.Events == 0:
		return a.design()
	case b.Events == 0:
		return b.design()
	case a.one || b.one:
		return design{effect: 1, status: OneCluster}
	}
	d1, d2 := float64(a.Events), float64(b.Events)
	rows := a.rows/d1/d1 + b.rows/d2/d2
	if !(rows > dust*(1/d1+1/d2)) {
		return design{effect: max(a.alike, b.alike)}
	}
	clusters := a.clusters/d1/d1 + b.clusters/d2/d2 - 2*s.covariance(a, b)/d1/d2
	if !(clusters > dust*rows) {
		return design{effect: 1, status: NotComparable}
	}
	return design{effect: clusters / rows}
}

// Ratio is the function Ratio for two groups, or for a group and AllOthers, with the design effect of
// their clusters, which allows for clusters that have rows in both. Limits is NotComparable where all
// that moves one rate moves the other too.
func (s *Spread) Ratio(first, second int, level float64, form Form) (RateRatio, error) {
	a, b := s.side(first, second), s.side(second, first)
	return ratioOf(a.Tally, b.Tally, level, form, s.designOf(a, b))
}

// Difference is the function Difference for two groups, or for a group and AllOthers. The intervals of
// both rates have their own design effects; clusters with rows in both give them a correlation.
//
// Source: Zou & Donner, Stat. Med. 27 (2008) 1693–1702, for rates with a correlation.
func (s *Spread) Difference(first, second int, per, level float64, form Form) (RateDifference, error) {
	a, b := s.side(first, second), s.side(second, first)
	r1, err := a.rateOf(per, level, form)
	if err != nil {
		return RateDifference{}, err
	}
	r2, err := b.rateOf(per, level, form)
	if err != nil {
		return RateDifference{}, err
	}
	correlation := 0.0
	if both := math.Sqrt(float64(a.clusters * b.clusters)); both > 0 {
		correlation = min(1, max(-1, s.covariance(a, b)/both))
	}
	return differenceOf(r1, r2, correlation), nil
}

// Homogeneity is the function Homogeneity with its statistic divided by the mean design effect of the
// groups, each weighted by the share of the exposure outside it. A group's is that of its events less
// its share of all events.
//
// Source: Rao & Scott, J. Am. Stat. Assoc. 76 (1981) 221–230, for the first-order correction.
func (s *Spread) Homogeneity() (Test, error) {
	t, err := Homogeneity(s.Tallies)
	if err != nil || t.Status != Estimated {
		return t, err
	}
	whole := s.side(AllOthers, AllOthers)
	if whole.one {
		t.ChiSquare, t.DF, t.P, t.Status = 0, 0, 0, OneCluster
		return t, nil
	}
	effect := 0.0
	for g := range s.groups {
		share := s.Tallies[g].Exposure / whole.Exposure
		if share > 0 {
			effect += float64((1 - share) * s.shareEffect(g, whole, share))
		}
	}
	effect /= float64(t.DF)
	if !(effect > dust) {
		t.ChiSquare, t.DF, t.P, t.Status = 0, 0, 0, NotComparable
		return t, nil
	}
	t.Effect = effect
	t.ChiSquare /= effect
	t.P = dist.ChiSquareUpper(t.ChiSquare, t.DF)
	return t, nil
}

// shareEffect is the design effect of the events of a group less its share of all: of the sum over rows
// of (1 in the group, otherwise 0, less the share) times the residual under one rate for all.
func (s *Spread) shareEffect(group int, whole *side, share float64) float64 {
	r := whole.rate()
	rows, clusters := 0.0, 0.0
	for g := range s.groups {
		w := square(share)
		if g == group {
			w = square(1 - share)
		}
		alone := float64(w * s.groups[g].alone.at(r))
		clusters += alone
		rows += alone + float64(w*s.groups[g].apart.at(r))
	}
	clusters += float64(square(share) * s.shared.at(r))
	for _, at := range s.byGroup[group] {
		p := &s.parts[at]
		c := &s.clusters[p.of]
		all := c.d - float64(r*c.t)
		clusters += square(p.d-float64(r*p.t)-float64(share*all)) - square(share*all)
	}
	if rows == 0 {
		return 1
	}
	return max(0, clusters) / rows
}
