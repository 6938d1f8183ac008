package trials_test

import (
	"testing"

	"deltoid/stats/trials"
)

// What the answer to "is a simulated log-rank design fast enough" is measured by: 400 in each group,
// deaths and loss, 10,000 replicates.
func BenchmarkLogRank400Each(b *testing.B) {
	h, err := trials.HazardFor(0.9, 5*year)
	if err != nil {
		b.Fatal(err)
	}
	d := &trials.Design{Patients: 800, Arms: arms(h, 0.6), Accrual: trials.Accrual{Days: 730, FollowUp: 1095}}
	for a := range d.Arms {
		d.Arms[a].Death, d.Arms[a].Loss = trials.Constant(1e-4), trials.Constant(5e-5)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := trials.Simulate(d, trials.LogRank(), trials.Options{Seed: 1, Level: 0.05, Sides: 2, Most: 10_000}); err != nil {
			b.Fatal(err)
		}
	}
}

// A hundred studies of 5,000 patients drawn from a cohort, both shoulders together.
func BenchmarkNextStudy(b *testing.B) {
	x := &trials.Next{Cohort: followed(3000), Patients: 5000, Arms: []trials.NextArm{{Share: 1, Ratio: 1}, {Share: 1, Ratio: 0.7}}, Further: 730}
	for b.Loop() {
		if _, err := trials.Simulate(x, trials.ClusteredLogRank(trials.ByPatient), trials.Options{Seed: 1, Level: 0.05, Sides: 2, Most: 100}); err != nil {
			b.Fatal(err)
		}
	}
}
