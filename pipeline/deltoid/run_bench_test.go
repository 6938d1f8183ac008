package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"testing"

	"deltoid/pipeline/analyses"
	"deltoid/pipeline/demo"
	"deltoid/stats/competing"
	"deltoid/stats/survival"
)

// BenchmarkRun runs a whole study of the invented registry whose exports are already written: check, link, cohort,
// analysis, report and record. BenchmarkRun/1000000 needs about 300 MB of disk.
//
// On two idle cores of an AMD EPYC a million shoulders take 10.7 s and 0.97 GiB with the demo's whole plan, 6.2 s and 0.84 GiB
// without its analyses of scores, and 3.3 s with implant survival alone.
func BenchmarkRun(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			dir := b.TempDir()
			plan, err := demo.Write(dir, demo.Options{Shoulders: n, Seed: 1, Defects: true}, nil)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := runPlan(context.Background(), plan, filepath.Join(dir, "report"), &progress{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkStatistics is what implant survival of a million shoulders takes once episodes are there: the counting pass, and
// the product-limit and incidence curves of every group and of all together, with their variances: taking shoulders as
// independent, and clustered by patient as in the demo's report.
func BenchmarkStatistics(b *testing.B) {
	plan, err := demo.Write(b.TempDir(), demo.Options{Shoulders: 1_000_000, Seed: 1}, nil)
	if err != nil {
		b.Fatal(err)
	}
	s, err := open(plan)
	if err != nil {
		b.Fatal(err)
	}
	if err := s.load(context.Background(), &progress{}); err != nil {
		b.Fatal(err)
	}
	cohort, _, err := s.define()
	if err != nil {
		b.Fatal(err)
	}
	e, err := cohort.Episodes(s.plan.Endpoints[0], s.plan.FollowUp, s.plan.Analyses[0].Groups)
	if err != nil {
		b.Fatal(err)
	}
	data := survival.Data{Entry: e.Entry, Exit: e.Exit, Cause: e.Cause, Group: e.Group, Cluster: e.Patient,
		Groups: len(e.Groups), Causes: len(e.Causes)}
	for name, clustered := range map[string]bool{"independent": false, "clustered": true} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				everyCurve(b, data, clustered)
			}
			b.ReportMetric(float64(len(e.Exit)), "shoulders")
		})
	}
}

func everyCurve(b *testing.B, data survival.Data, clustered bool) {
	counts, err := survival.Count(data)
	if err != nil {
		b.Fatal(err)
	}
	var layout *survival.Layout
	if clustered {
		if layout, err = survival.LayOut(data); err != nil {
			b.Fatal(err)
		}
	}
	for g := range data.Groups + 1 {
		c, at := counts, g
		if g == data.Groups {
			c, at = counts.Pooled(), 0
		}
		free, incidence := c.ProductLimit(at, 1), competing.Incidence(c, at, 1)
		if !clustered {
			continue
		}
		rows := layout.Pooled()
		if g < data.Groups {
			rows = layout.Group(g)
		}
		_, err1 := free.RobustFrom(rows)
		_, err2 := incidence.RobustFrom(rows)
		if err := errors.Join(err1, err2); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkAssemble is every analysis of the demo's plan with its section, from the linked records to the estimates.
func BenchmarkAssemble(b *testing.B) {
	for _, n := range []int{100_000, 1_000_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			plan, err := demo.Write(b.TempDir(), demo.Options{Shoulders: n, Seed: 1}, nil)
			if err != nil {
				b.Fatal(err)
			}
			s, err := open(plan)
			if err != nil {
				b.Fatal(err)
			}
			if err := s.load(context.Background(), &progress{}); err != nil {
				b.Fatal(err)
			}
			cohort, flow, err := s.define()
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := analyses.Assemble(s.plan, s.exports, cohort, flow, version); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
