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

// side is a group, or several taken together, as one of two that are compared.
type side struct {
	Tally
	of             func(group int32) bool
	rows, clusters float64 // Σ (d − r t)² over rows, and over clusters after summing
	alike          float64 // the design effect if the rows of a cluster are wholly alike
	one            bool    // several rows, all in one cluster
}

// group returns one group, or for AllOthers all but it.
func (s *Spread) group(group, than int) *side {
	if group == AllOthers {
		return s.side(func(g int32) bool { return int(g) != than })
	}
	return s.side(func(g int32) bool { return int(g) == group })
}

func (s *Spread) side(of func(group int32) bool) *side {
	x := &side{of: of, alike: 1}
	rows, clusters := 0, 0
	squares, wholes := 0.0, 0.0
	for g := range s.groups {
		if of(int32(g)) {
			one := &s.groups[g]
			x.Tally = x.Plus(s.Tallies[g])
			rows, clusters = rows+one.rows, clusters+one.own
			squares += one.alone.tt.Value() + one.apart.tt.Value()
			wholes += one.alone.tt.Value()
		}
	}
	r := x.rate()
	for g := range s.groups {
		if of(int32(g)) {
			alone := s.groups[g].alone.at(r)
			x.rows += alone + s.groups[g].apart.at(r)
			x.clusters += alone
		}
	}
	s.eachCluster(x, x, func(d, t, _, _ float64) {
		clusters++
		x.clusters += square(d - float64(r*t))
		wholes += float64(t * t)
	})
	if squares > 0 {
		x.alike = wholes / squares
	}
	x.one = rows > 1 && clusters == 1
	return x
}

func (x *side) rate() float64 {
	if x.Exposure == 0 {
		return 0
	}
	return float64(x.Events) / x.Exposure
}

func square(x float64) float64 { return float64(x * x) }

// eachCluster goes through the clusters of several rows that have some on either side, with the sums on
// both.
func (s *Spread) eachCluster(a, b *side, do func(d1, t1, d2, t2 float64)) {
	for from := 0; from < len(s.parts); {
		var d1, t1, d2, t2 float64
		in, to := false, from
		for ; to < len(s.parts) && s.parts[to].cluster == s.parts[from].cluster; to++ {
			p := &s.parts[to]
			if a.of(p.group) {
				d1, t1, in = d1+p.d, t1+p.t, true
			}
			if b.of(p.group) {
				d2, t2, in = d2+p.d, t2+p.t, true
			}
		}
		if in {
			do(d1, t1, d2, t2)
		}
		from = to
	}
}

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
	x := s.group(group, group)
	return x.rateOf(per, level, form)
}

func (x *side) rateOf(per, level float64, form Form) (Rate, error) {
	return x.Tally.rate(per, level, form, x.design())
}

// covariance returns Σ over clusters of the product of the residuals on either side.
func (s *Spread) covariance(a, b *side) float64 {
	sum, r1, r2 := 0.0, a.rate(), b.rate()
	s.eachCluster(a, b, func(d1, t1, d2, t2 float64) {
		sum += float64((d1 - float64(r1*t1)) * (d2 - float64(r2*t2)))
	})
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
	a, b := s.group(first, second), s.group(second, first)
	return ratioOf(a.Tally, b.Tally, level, form, s.designOf(a, b))
}

// Difference is the function Difference for two groups, or for a group and AllOthers. The intervals of
// both rates have their own design effects; clusters with rows in both give them a correlation.
//
// Source: Zou & Donner, Stat. Med. 27 (2008) 1693–1702, for rates with a correlation.
func (s *Spread) Difference(first, second int, per, level float64, form Form) (RateDifference, error) {
	a, b := s.group(first, second), s.group(second, first)
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
	whole := s.side(func(int32) bool { return true })
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
	own := s.group(group, group)
	s.eachCluster(own, whole, func(d1, t1, d2, t2 float64) {
		clusters += square((d1 - float64(r*t1)) - float64(share*(d2-float64(r*t2))))
	})
	if rows == 0 {
		return 1
	}
	return clusters / rows
}
