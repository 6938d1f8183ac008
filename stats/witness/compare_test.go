package witness_test

import (
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/monitor"
	"deltoid/stats/survival"
)

// comparison compares, and counts what was compared, so that nothing passes by not being there.
type comparison struct {
	*testing.T
	seed  uint64
	seen  map[string]int
	worst map[string]float64 // largest relative difference
}

// tolerance is that of the stored results: both sides are closed forms. Mid-P limits of the
// reference come from its root finder.
func tolerance(what string) float64 {
	if what == "mid-P limit" {
		return 1e-7
	}
	if strings.HasPrefix(what, "design effect") {
		return 1e-6 // the reference fits by iteration
	}
	return 1e-8
}

// same compares two numbers. A reference that has none (NaN) is no comparison.
func (c *comparison) same(at int, what string, got, want float64) {
	c.Helper()
	if math.IsNaN(want) || math.IsInf(want, 0) {
		return
	}
	c.seen[what]++
	off := math.Abs(got-want) / max(math.Abs(want), 1e-4)
	c.worst[what] = max(c.worst[what], off)
	if !(off <= tolerance(what)) {
		c.Errorf("seed %d, set %d: %s is %v, the reference says %v", c.seed, at, what, got, want)
	}
}

// summary fails where a kind of result was hardly met with.
func (c *comparison) summary() {
	for _, what := range slices.Sorted(maps.Keys(c.seen)) {
		c.Logf("%-44s %6d comparisons, largest relative difference %.1e", what, c.seen[what], c.worst[what])
	}
	for _, what := range []string{"survival", "standard error, Greenwood", "limit, plain", "limit, log", "limit, complementary log-log", "limit, logit",
		"limit, arcsine square root", "quantile", "quantile limit", "restricted mean", "its standard error", "cumulative hazard", "survival, weighted",
		"variance, robust", "incidence", "incidence, weighted", "variance, jackknife", "variance, Aalen", "log-rank", "log-rank, early",
		"log-rank, delayed entry", "log-rank, clustered", "Gray", "Gray, early", "exact limit", "mid-P limit", "time in a stretch", "events in a stretch",
		"rate ratio", "rate ratio limit", "rate ratio p", "covariance of two groups", "covariance of two incidences", "design effect of a rate",
		"design effect of a ratio"} {
		if c.seen[what] < 20 {
			c.Errorf("%s was compared %d times only", what, c.seen[what])
		}
	}
}

func (c *comparison) must(err error) {
	c.Helper()
	if err != nil {
		c.Fatal(err)
	}
}

func (c *comparison) set(at int, s *set, k *known) {
	for g, theirs := range k.Groups {
		if theirs == nil {
			continue
		}
		d := s.only(int32(g))
		counts, err := survival.Count(d)
		c.must(err)
		if theirs.Curve != nil {
			c.curve(at, s, k, g, counts)
		}
		if theirs.Robust != nil {
			c.robust(at, s, theirs.Robust.Survival, theirs.Robust.SE, d, counts)
		}
		if theirs.Incidence != nil {
			c.incidence(at, s, k, g, d, counts)
		}
		if theirs.Rates != nil {
			c.rates(at, s, k, g, counts)
		}
	}
	if k.Tests != nil {
		c.tests(at, s, k)
	}
	if k.Ratio != nil {
		c.ratio(at, s, k)
	}
	if k.Joint != nil {
		c.joint(at, s, k)
	}
	if k.Effects != nil {
		c.effects(at, s, k)
	}
}

// curve compares the product-limit estimate of cause 1 with Greenwood's variance. Convention: an
// event comes before a censoring of its time; at risk at t is entry < t ≤ exit.
func (c *comparison) curve(at int, s *set, k *known, group int, counts *survival.Counts) {
	theirs, ours := k.Groups[group].Curve, counts.ProductLimit(0, 1)
	hazard := ours.Hazard()
	for i, t := range s.times {
		for scale, x := range map[survival.Scale]knownCurve{survival.Plain: theirs.Plain, survival.Log: theirs.Log, survival.LogLog: theirs.Loglog,
			survival.Logit: theirs.Logit, survival.ArcsineRoot: theirs.Arcsine} {
			p, err := ours.Interval(t, 0.95, scale)
			c.must(err)
			if p.Status == survival.Estimated {
				c.same(at, "survival", p.Value, x.Survival[i])
			}
			if p.Limits == survival.Estimated {
				c.same(at, "standard error, Greenwood", p.SE, x.SE[i])
				c.same(at, "limit, "+scale.String(), p.Lower, x.Lower[i])
				c.same(at, "limit, "+scale.String(), p.Upper, x.Upper[i])
			}
		}
		if row, here := slices.BinarySearch(hazard.Time, t); here {
			c.same(at, "cumulative hazard", hazard.Cumulative[row], theirs.Hazard[i])
			c.same(at, "cumulative hazard", math.Sqrt(hazard.Variance[row]), theirs.Hazard_se[i])
		}
	}
	for i, p := range []float64{0.25, 0.5, 0.75} {
		q, err := ours.Quantile(p, 0.95, survival.LogLog)
		c.must(err)
		c.quantile(at, q, theirs.Quantile[i], theirs.Quantile_lower[i], theirs.Quantile_upper[i])
	}
	if m, err := ours.RestrictedMean(s.horizon, 0.95); theirs.Mean != nil && m.Status == survival.Estimated {
		c.must(err)
		c.same(at, "restricted mean", m.Value, theirs.Mean[0])
		if m.Limits == survival.Estimated {
			c.same(at, "its standard error", m.SE, theirs.Mean[1])
		}
	}
}

// quantile compares a quantile: the first time at which the curve is low enough, or the middle of
// a level stretch.
func (c *comparison) quantile(at int, q survival.Quantile, want, lower, upper float64) {
	if q.Status == survival.Estimated {
		c.same(at, "quantile", q.Time, want)
	} else if !math.IsNaN(want) {
		c.Errorf("seed %d, set %d: a quantile is %v, the reference says %v", c.seed, at, q.Status, want)
	}
	if q.LowerStatus == survival.Estimated {
		c.same(at, "quantile limit", q.Lower, lower)
	}
	if q.UpperStatus == survival.Estimated {
		c.same(at, "quantile limit", q.Upper, upper)
	}
}

// joint compares the covariance of the estimates of two groups that share clusters.
func (c *comparison) joint(at int, s *set, k *known) {
	counts, err := survival.Count(s.Data)
	c.must(err)
	layout, err := survival.LayOut(s.Data)
	c.must(err)
	var free [2]*survival.Curve
	var incidence [2]*competing.Curve
	for g := range free {
		free[g], err = counts.ProductLimit(g, 1).RobustFrom(layout.Group(g))
		c.must(err)
		incidence[g], err = competing.Incidence(counts, g, 1).RobustFrom(layout.Group(g))
		c.must(err)
	}
	for i, t := range s.times {
		if a, b := free[0].At(t), free[1].At(t); a.Limits == survival.Estimated && b.Limits == survival.Estimated {
			c.same(at, "covariance of two groups", free[0].Influence(t).With(free[1].Influence(t)), k.Joint.Survival[i])
		}
		if a, b := incidence[0].At(t), incidence[1].At(t); k.Joint.Incidence != nil && a.Limits == survival.Estimated && b.Limits == survival.Estimated {
			c.same(at, "covariance of two incidences", incidence[0].Influence(t).With(incidence[1].Influence(t)), k.Joint.Incidence[i])
		}
	}
}

// effects compares the design effects of rates. The reference knows no one with a time of 0, and fits
// rates by iteration.
func (c *comparison) effects(at int, s *set, k *known) {
	d := survival.Data{Causes: s.Causes, Groups: s.Groups}
	for i, t := range s.Exit {
		if t > 0 {
			d.Exit, d.Cause = append(d.Exit, t), append(d.Cause, s.Cause[i])
			d.Group, d.Cluster = append(d.Group, s.Group[i]), append(d.Cluster, s.Cluster[i])
		}
	}
	clusters, err := monitor.Cluster(d)
	c.must(err)
	spread := clusters.Spread(1, 0, math.Inf(1), 1, d.Group, d.Groups)
	if k.Effects.Rate != nil {
		r, err := spread.Rate(0, 1, 0.95, monitor.Exact)
		c.must(err)
		if r.Limits == monitor.Estimated {
			c.same(at, "design effect of a rate", r.Effect, *k.Effects.Rate)
		}
	}
	if k.Effects.Ratio != nil {
		r, err := spread.Ratio(0, 1, 0.95, monitor.Exact)
		c.must(err)
		if r.Limits == monitor.Estimated {
			c.same(at, "design effect of a ratio", r.Effect, *k.Effects.Ratio)
		}
	}
}

// robust compares the weighted estimate with the infinitesimal jackknife over clusters, without a
// small-sample factor.
func (c *comparison) robust(at int, s *set, want, se numbers, d survival.Data, counts *survival.Counts) {
	curve, err := counts.ProductLimit(0, 1).Robust(d)
	c.must(err)
	for i, t := range s.times {
		p := curve.At(t)
		if p.Status == survival.Estimated {
			c.same(at, "survival, weighted", p.Value, want[i])
		}
		if p.Limits == survival.Estimated {
			c.same(at, "variance, robust", p.SE*p.SE, se[i]*se[i])
		}
	}
}

// incidence compares every cause: with the jackknife over clusters, and with Aalen's variance.
func (c *comparison) incidence(at int, s *set, k *known, group int, d survival.Data, counts *survival.Counts) {
	theirs := k.Groups[group].Incidence
	all := competing.All(counts, 0)
	for cause := 1; cause <= s.Causes; cause++ {
		robust, err := all.Cause(cause).Robust(d)
		c.must(err)
		for i, t := range s.times {
			p := robust.At(t)
			if p.Status == survival.Estimated {
				c.same(at, "incidence, weighted", p.Value, theirs.Jackknife[cause-1].Incidence[i])
			}
			if p.Limits == survival.Estimated {
				c.same(at, "variance, jackknife", p.SE*p.SE, theirs.Jackknife[cause-1].SE[i]*theirs.Jackknife[cause-1].SE[i])
			}
		}
		if theirs.Aalen == nil || theirs.Aalen[cause-1] == nil {
			continue
		}
		aalen := all.Cause(cause).Using(competing.Aalen)
		for i, t := range s.times {
			p := aalen.At(t)
			if p.Status == survival.Estimated {
				c.same(at, "incidence", p.Value, theirs.Aalen[cause-1].Incidence[i])
			}
			if p.Limits == survival.Estimated {
				c.same(at, "variance, Aalen", p.SE*p.SE, theirs.Aalen[cause-1].Variance[i])
			}
		}
	}
}

// tests compares the tests over the whole of follow-up. Convention: the log-rank test has the
// hypergeometric variance; the reference knows delayed entry only in a likelihood whose score test
// is that very test. The clustered one is the score test of the likelihood with Breslow's ties.
func (c *comparison) tests(at int, s *set, k *known) {
	d := s.Data
	d.Weight = nil
	strata, err := survival.CountByStratum(d, s.stratum, s.strata)
	c.must(err)
	early, err := survival.FlemingHarrington(1, 0)
	c.must(err)
	logRank := func(what string, want *float64, w survival.Weighting) {
		if test, err := survival.LogRank(1, w, strata...); want != nil && test.Status == survival.Estimated {
			c.must(err)
			c.same(at, what, test.ChiSquare, *want)
		}
	}
	logRank("log-rank", k.Tests.Logrank, survival.Equal)
	logRank("log-rank, early", k.Tests.Early, early)
	if s.delayed {
		logRank("log-rank, delayed entry", k.Tests.Logrank_exact, survival.Equal)
	}
	test, err := survival.ClusteredLogRank(1, survival.Equal, s.Data, s.stratum, s.strata)
	c.must(err)
	if k.Tests.Clustered != nil && test.Status == survival.Estimated {
		c.same(at, "log-rank, clustered", test.ChiSquare, *k.Tests.Clustered)
	}
	for what, x := range map[string]struct {
		want *float64
		rho  float64
	}{"Gray": {k.Tests.Gray, 0}, "Gray, early": {k.Tests.Gray_early, 1}} {
		if x.want == nil {
			continue
		}
		test, err := competing.Gray(1, x.rho, strata...)
		c.must(err)
		if test.Status == survival.Estimated {
			c.same(at, what, test.ChiSquare, *x.want)
		}
	}
}

// rates compares events, time at risk, whole and by stretch, and the two intervals of a rate.
func (c *comparison) rates(at int, s *set, k *known, group int, counts *survival.Counts) {
	theirs := k.Groups[group].Rates
	tallies, err := monitor.Tallies(counts, 1)
	c.must(err)
	if tallies[0].Events != theirs.Events || tallies[0].Exposure != theirs.Exposure {
		c.Errorf("seed %d, set %d: %+v, the reference says %d in %v", c.seed, at, tallies[0], theirs.Events, theirs.Exposure)
	}
	for form, x := range map[monitor.Form]numbers{monitor.Exact: theirs.Exact, monitor.MidP: theirs.Midp} {
		if x == nil {
			continue
		}
		r, err := tallies[0].Rate(1, 0.95, form)
		c.must(err)
		c.same(at, form.String()+" limit", r.Lower, x[0])
		c.same(at, form.String()+" limit", r.Upper, x[1])
	}
	if theirs.Stretch_time == nil {
		return
	}
	stretches, err := monitor.Stretches(counts, 0, 1, s.cuts...)
	c.must(err)
	day0 := 0 // left out by the reference's table of person-time
	for i := range s.Exit {
		if int(s.Group[i]) == group && s.Exit[i] == 0 && s.Cause[i] == 1 {
			day0++
		}
	}
	for i, x := range stretches {
		c.same(at, "time in a stretch", x.Exposure, theirs.Stretch_time[i])
		c.same(at, "events in a stretch", float64(x.Events-int64(day0)), theirs.Stretch_events[i])
		day0 = 0
	}
}

// ratio compares the first two groups by their rates. Convention: p is twice the smaller tail.
func (c *comparison) ratio(at int, s *set, k *known) {
	d := s.Data
	d.Weight = nil
	counts, err := survival.Count(d)
	c.must(err)
	tallies, err := monitor.Tallies(counts, 1)
	c.must(err)
	r, err := monitor.Ratio(tallies[0], tallies[1], 0.95, monitor.Exact)
	c.must(err)
	if want, ok := k.Ratio.Ratio.(float64); ok {
		c.same(at, "rate ratio", r.Value, want)
		c.same(at, "rate ratio limit", r.Upper, k.Ratio.Limits[1])
	} else if r.Status != monitor.NoReference {
		c.Errorf("seed %d, set %d: the rate ratio is %v, the reference has none", c.seed, at, r.Status)
	}
	c.same(at, "rate ratio limit", r.Lower, k.Ratio.Limits[0])
	c.same(at, "rate ratio p", r.P, min(1, 2*min(k.Ratio.P_lower, k.Ratio.P_upper)))
}
