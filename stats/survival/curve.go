package survival

import (
	"math"
	"sort"

	"deltoid/stats/numeric"
)

// Curve is a product-limit estimate: the probability of still being free of the event after
// each time. All slices have one element for each distinct time at which anybody left the
// group, ascending.
type Curve struct {
	Group, Cause int
	N            int64 // rows in the group
	Total        int64 // events of the cause in the group

	Time     []float64
	AtRisk   []int64 // entry < Time ≤ exit
	Events   []int64 // of the cause
	Censored []int64 // everyone else who left
	// Survival is S(t) just after Time.
	Survival []float64
	// Variance is the variance of log S just after Time, by Form; it stops changing once S = 0.
	// It is nil where there is none: a weighted curve has one only from Robust.
	Variance []float64
	Form     Form
	// WeightAtRisk and WeightEvents are the sums of weights that S is made of, beside the people
	// in AtRisk and Events. Nil where every row counts for 1.
	WeightAtRisk, WeightEvents []float64

	counts *Counts
	rows   *Rows  // that a robust variance came from; nil elsewhere
	lacks  Status // why there is no variance, or Estimated
}

// Form names an estimate of the variance of a curve.
type Form uint8

const (
	// Greenwood is Σ d/(n(n−d)), for rows that are independent and count for 1 each.
	Greenwood Form = iota
	// Robust is the infinitesimal jackknife, summed over clusters; see Curve.Robust.
	Robust
	// NoForm stands for no variance.
	NoForm
)

// String returns the name of the form as a footnote gives it.
func (f Form) String() string {
	switch f {
	case Greenwood:
		return "Greenwood variance"
	case Robust:
		return "robust variance"
	}
	return "no variance"
}

// ProductLimit returns the product-limit estimate for events of one cause, every other cause
// being censored; cause 0 stands for an event of any cause.
//
//	S(t) = Π (1 − d/n)   over times ≤ t with d events among n at risk
//	Var log S(t) = Σ d/(n(n−d))
//
// With other causes present, 1 − S answers what would happen if they were taken away; what does
// happen is the cumulative incidence of package competing.
//
// Sources: Kaplan & Meier, J. Am. Stat. Assoc. 53 (1958) 457–481; Greenwood, Reports on Public
// Health and Medical Subjects 33 (1926).
//
// It panics if there is no such group or cause, which is a mistake in the program.
func (c *Counts) ProductLimit(group, cause int) *Curve {
	if err := c.checkCause(cause); err != nil {
		panic(err)
	}
	table := c.LifeTable(group)
	k := &Curve{
		Group: group, Cause: cause, N: c.N(group), Total: c.Events(group, cause),
		Time: table.Time, AtRisk: table.AtRisk, counts: c,
	}
	k.Events, k.Censored = table.split(cause)
	if table.Weighted() {
		k.weigh(table)
	} else {
		k.estimate()
	}
	return k
}

func (k *Curve) estimate() {
	k.Survival = make([]float64, len(k.Time))
	k.Variance = make([]float64, len(k.Time))
	s := numeric.One()
	var green numeric.Sum
	for i, events := range k.Events {
		if events > 0 {
			n, d := float64(k.AtRisk[i]), float64(events)
			s.Times(n-d, n)
			if s.Value() > 0 {
				green.Add(d / float64(n*(n-d)))
			}
		}
		k.Survival[i], k.Variance[i] = s.Value(), green.Value()
	}
}

// weigh is estimate for weighted counts, which leave the variance to Robust. Whether all at risk
// had the event is asked of the people, because sums of weights are rounded.
func (k *Curve) weigh(table *LifeTable) {
	k.Form, k.lacks = NoForm, NoVariance
	k.WeightAtRisk, k.WeightEvents = table.WeightAtRisk, make([]float64, len(k.Time))
	k.Survival = make([]float64, len(k.Time))
	s := numeric.One()
	for i := range k.Time {
		n, d := table.Mass(i), table.MassEvents(i, k.Cause)
		k.WeightEvents[i] = d
		switch {
		case !(n > 0):
		case k.Events[i] == k.AtRisk[i]:
			s.Times(0, 1)
		case d > 0:
			s.Times(max(0, n-d), n)
		}
		k.Survival[i] = s.Value()
	}
}

// At returns the estimate at time t with the usual interval: 95 %, complementary log-log.
// The curve is a step function that takes its new value at the time of the event.
func (k *Curve) At(t float64) Point { return k.point(t, 0.95, LogLog) }

// Interval returns the estimate at time t with an interval of the given level on the given
// scale. The error is that of CheckLevel.
func (k *Curve) Interval(t, level float64, scale Scale) (Point, error) {
	if err := CheckLevel(level, scale); err != nil {
		return Point{}, err
	}
	return k.point(t, level, scale), nil
}

func (k *Curve) point(t, level float64, scale Scale) Point {
	p := Point{T: t, Value: 1, Level: level, Scale: scale, AtRisk: k.counts.AtRisk(k.Group, t)}
	if i := k.step(t); i >= 0 {
		p.Value, p.SE = k.Survival[i], k.se(i)
		for _, d := range k.Events[:i+1] {
			p.Events += d
		}
	}
	return p.Judge(FollowUp{N: k.N, Events: k.Total, Last: k.counts.LastTime(k.Group), Over: p.Value == 0, Variance: k.lacks,
		NoWeight: k.counts.Weightless(k.Group, t)})
}

// se returns the standard error of Survival[i], 0 where there is no variance.
func (k *Curve) se(i int) float64 {
	if k.Variance == nil {
		return 0
	}
	return float64(k.Survival[i] * math.Sqrt(k.Variance[i]))
}

// step returns the index of the last time at or before t, or −1.
func (k *Curve) step(t float64) int {
	return sort.Search(len(k.Time), func(i int) bool { return k.Time[i] > t }) - 1
}
