package main

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"deltoid/pipeline/analyses"
	"deltoid/pipeline/demo"
)

// BenchmarkRun runs a whole study of the invented registry whose exports are already written: check, link, cohort,
// analysis, report and record. BenchmarkRun/1000000 is the claim of README.md; it needs about 300 MB of disk.
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

// BenchmarkAssemble is the statistics with their sections: episodes, counting pass, product-limit and incidence of every
// group with intervals, and all estimates of the report.
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
