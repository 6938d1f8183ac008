package monitor_test

import (
	"math"
	"testing"

	"deltoid/stats/monitor"
	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// BenchmarkRates is a million rows in 400 groups, whole days over fifteen years: counted, then every group's rate, its
// ratio to and difference from all others, and its stretches year by year.
func BenchmarkRates(b *testing.B) {
	r := random.Stream(1, "rates benchmark", 0)
	d := survival.Data{Groups: 400}
	for range 1_000_000 {
		cause := uint8(0)
		if r.IntN(20) == 0 {
			cause = 1
		}
		d.Exit, d.Cause, d.Group = append(d.Exit, int32(r.IntN(5480))), append(d.Cause, cause), append(d.Group, int32(r.IntN(400)))
	}
	must := func(err error) {
		if err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		counts, err := survival.Count(d)
		must(err)
		tallies, err := monitor.Tallies(counts, 1)
		must(err)
		for i, other := range monitor.Others(tallies) {
			_, err = tallies[i].Rate(100, 0.95, monitor.Exact)
			must(err)
			_, err = monitor.Ratio(tallies[i], other, 0.95, monitor.Exact)
			must(err)
			_, err = monitor.Difference(tallies[i], other, 100, 0.95, monitor.Exact)
			must(err)
			_, err = monitor.Stretches(counts, i, 1, 365.25, 730.5, 1095.75, 1461, 1826.25)
			must(err)
		}
	}
}

// BenchmarkClusteredRates answers: what do the rates of 400 hospitals, each against all others, cost where one
// shoulder in four is one of two of a patient?
func BenchmarkClusteredRates(b *testing.B) {
	const rows, hospitals = 1_000_000, 400
	r := random.Stream(1, "clustered rates", 0)
	d := survival.Data{Groups: hospitals, Causes: 1}
	for i := range rows {
		d.Exit, d.Cause = append(d.Exit, int32(r.IntN(5479))), append(d.Cause, uint8(r.IntN(20)/19))
		d.Group, d.Cluster = append(d.Group, int32(r.IntN(hospitals))), append(d.Cluster, int32(i-i/8))
	}
	for b.Loop() {
		c, err := monitor.Cluster(d)
		if err != nil {
			b.Fatal(err)
		}
		s := c.Spread(1, 0, math.Inf(1), 365.25, d.Group, hospitals)
		for g := range hospitals {
			s.Rate(g, 100, 0.95, monitor.Exact)
			s.Ratio(g, monitor.AllOthers, 0.95, monitor.Exact)
			s.Difference(g, monitor.AllOthers, 100, 0.95, monitor.Exact)
		}
		if _, err := s.Homogeneity(); err != nil {
			b.Fatal(err)
		}
	}
}
