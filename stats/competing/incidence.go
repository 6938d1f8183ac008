package competing

import (
	"math"
	"sort"

	"deltoid/stats/numeric"
	"deltoid/stats/survival"
)

// Set holds the cumulative incidences of all causes in one group, and the probability of being
// free of all of them. At every time they sum to 1.
type Set struct {
	Group  int
	N      int64
	Time   []float64 // distinct times at which anybody left, ascending
	AtRisk []int64   // entry < Time ≤ exit
	// EventFree is the product-limit estimate for an event of any cause.
	EventFree []float64
	curves    []*Curve
}

// Cause returns the curve of a cause, 1 to the number of causes.
func (s *Set) Cause(cause int) *Curve { return s.curves[cause-1] }

// Causes returns the number of causes.
func (s *Set) Causes() int { return len(s.curves) }

// Curve is the cumulative incidence of one cause: the probability that an event of this cause
// has happened by each time. Slices run beside Time.
type Curve struct {
	Group, Cause int
	N            int64 // rows in the group
	Total        int64 // events of the cause in the group

	Time      []float64
	AtRisk    []int64
	Events    []int64   // of the cause
	Incidence []float64 // just after Time
	// Delta and Aalen are two estimates of the variance of Incidence; see Variance. They are nil
	// for weighted rows.
	Delta, Aalen []float64
	// Jackknife is the variance of Robust, nil elsewhere.
	Jackknife []float64

	rows     *survival.Rows // that Jackknife came from; nil elsewhere
	form     Variance
	counts   *survival.Counts
	followUp survival.FollowUp
	overFrom float64 // time from which nobody can have any event
}

// Variance names an estimate of the variance of a cumulative incidence. Both are in print; they
// agree in large samples and differ by a few per cent at a hundred rows.
type Variance uint8

const (
	// Delta is the delta-method variance, Greenwood's in the case of several causes. It is the
	// one used unless another is asked for: without censoring it is exactly F(1−F)/n, with one
	// cause it is exactly Greenwood's, so that an incidence and 1 − product-limit beside it are
	// measured with one yardstick; and without delayed entry it equals the infinitesimal
	// jackknife.
	//
	// Sources: Dinse & Larson, Biometrika 73 (1986) 379–386; Gaynor et al., J. Am. Stat. Assoc.
	// 88 (1993) 400–409.
	Delta Variance = iota
	// Aalen is the counting-process variance, with the correction for ties of the
	// hypergeometric distribution. It tends to be the larger one in small samples.
	//
	// Source: Aalen, Ann. Stat. 6 (1978) 534–545.
	Aalen
	// Jackknife is the infinitesimal jackknife over clusters, which only Curve.Robust gives.
	Jackknife
)

// String returns the name of the estimate as a footnote gives it.
func (v Variance) String() string {
	switch v {
	case Aalen:
		return "counting-process variance (Aalen)"
	case Jackknife:
		return "robust variance"
	}
	return "delta-method variance (Greenwood type)"
}

// Incidence returns the cumulative incidence of one cause in a group. Those who want several
// causes of one group take them from All, at the cost of one.
func Incidence(c *survival.Counts, group, cause int) *Curve { return All(c, group).Cause(cause) }

// All returns the cumulative incidences of all causes in a group, from one scan of its times:
//
//	F_k(t) = Σ S(s−) d_k(s)/n(s)   over times s ≤ t
//
// where d_k of the n at risk (people, or their weights) have an event of cause k and S is the probability of being free of
// all causes. All events of one time share one set at risk, whatever their causes.
//
// Source: Aalen & Johansen, Scand. J. Stat. 5 (1978) 141–150.
func All(c *survival.Counts, group int) *Set {
	table := c.LifeTable(group)
	set := &Set{Group: group, N: c.N(group), Time: table.Time, AtRisk: table.AtRisk, EventFree: make([]float64, len(table.Time))}
	scans := make([]scan, c.Causes())
	for k := range scans {
		scans[k].curve = newCurve(c, set, k+1)
		set.curves = append(set.curves, scans[k].curve)
	}
	free := numeric.One()
	for row := range table.Time {
		at := stepAt(table, row)
		at.before = free.Value()
		if at.all {
			free.Times(0, 1)
		} else if at.events > 0 && at.atRisk > 0 {
			free.Times(at.atRisk-at.events, at.atRisk)
		}
		at.after = free.Value()
		set.EventFree[row] = at.after
		for k := range scans {
			scans[k].take(at, table)
		}
	}
	set.finish(table.Weighted())
	return set
}

func newCurve(c *survival.Counts, set *Set, cause int) *Curve {
	n := len(set.Time)
	return &Curve{
		Group: set.Group, Cause: cause, N: set.N, Time: set.Time, AtRisk: set.AtRisk, counts: c,
		Events: make([]int64, n), Incidence: make([]float64, n), Delta: make([]float64, n), Aalen: make([]float64, n),
	}
}

// finish tells every curve what decides whether it may be read. Neither variance holds for rows
// that count for different weights.
func (s *Set) finish(weighted bool) {
	over := sort.Search(len(s.EventFree), func(i int) bool { return s.EventFree[i] == 0 })
	from := math.Inf(1)
	if over < len(s.Time) {
		from = s.Time[over]
	}
	for _, k := range s.curves {
		for _, d := range k.Events {
			k.Total += d
		}
		k.overFrom = from
		k.followUp = survival.FollowUp{N: s.N, Events: k.Total, Last: k.counts.LastTime(s.Group)}
		if weighted {
			k.Delta, k.Aalen, k.followUp.Variance = nil, nil, survival.NoVariance
		}
	}
}

// Using returns the same curve with At and Interval resting on the given variance; without that
// variance they have no interval.
func (k *Curve) Using(form Variance) *Curve {
	out := *k
	out.form = form
	switch {
	case out.variance() != nil:
		out.followUp.Variance = survival.Estimated
	case form == Jackknife && k.form == Jackknife: // why there is none stays as it is
	default:
		out.followUp.Variance = survival.NoVariance
	}
	return &out
}

// Variance returns the estimate of the variance that At and Interval rest on.
func (k *Curve) Variance() Variance { return k.form }

// At returns the incidence at time t with the usual interval: 95 %, on the complementary
// log-log scale of the incidence.
func (k *Curve) At(t float64) survival.Point { return k.point(t, 0.95, survival.LogLog) }

// Interval returns the incidence at time t with an interval of the given level on the given
// scale. The error is that of survival.CheckLevel.
func (k *Curve) Interval(t, level float64, scale survival.Scale) (survival.Point, error) {
	if err := survival.CheckLevel(level, scale); err != nil {
		return survival.Point{}, err
	}
	return k.point(t, level, scale), nil
}

func (k *Curve) point(t, level float64, scale survival.Scale) survival.Point {
	p := survival.Point{T: t, Level: level, Scale: scale, AtRisk: k.counts.AtRisk(k.Group, t)}
	if i := sort.Search(len(k.Time), func(i int) bool { return k.Time[i] > t }) - 1; i >= 0 {
		p.Value = k.Incidence[i]
		if v := k.variance(); v != nil {
			p.SE = math.Sqrt(v[i])
		}
		for _, d := range k.Events[:i+1] {
			p.Events += d
		}
	}
	f := k.followUp
	f.Over, f.NoWeight = t >= k.overFrom, k.counts.Weightless(k.Group, t)
	return p.Judge(f)
}

func (k *Curve) variance() []float64 {
	switch k.form {
	case Aalen:
		return k.Aalen
	case Jackknife:
		return k.Jackknife
	}
	return k.Delta
}
