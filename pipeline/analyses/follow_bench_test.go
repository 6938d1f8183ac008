package analyses

import (
	"testing"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/schemas"
	"deltoid/stats/random"
)

// millionShoulders is a million shoulders in three groups, a tenth of them second sides, with revisions and deaths over 12 years.
func millionShoulders(variance plan.Variance) *followed {
	const n = 1_000_000
	r := random.Stream(1, "a million shoulders", 0)
	e := &cohorts.Episodes{Exit: make([]int32, n), Cause: make([]uint8, n), Patient: make([]int32, n), Group: make([]int32, n),
		Groups: []string{"a", "b", "c"}, Causes: []cohorts.Cause{cohorts.Revised, cohorts.Died}, Bilateral: n / 10}
	patient := int32(0)
	for i := range n {
		if i > 0 && i%10 != 0 {
			patient++
		}
		e.Exit[i], e.Group[i], e.Patient[i] = int32(r.IntN(4380)), int32(r.IntN(3)), patient
		switch u := r.IntN(100); {
		case u < 5:
			e.Cause[i] = 1
		case u < 30:
			e.Cause[i] = 2
		}
	}
	return &followed{book: newBook(nil), episodes: e, cohort: &cohorts.Cohort{Registry: &cohorts.Registry{Patients: int(patient) + 1}},
		asked: plan.Analysis{ID: "bench", Unit: schemas.Years, Level: 0.95, Variance: variance, Tests: []plan.Test{plan.LogRank, plan.Gray}}}
}

// BenchmarkFollow answers: what do counting a million shoulders and drawing their curves cost, with and without regard to
// patients?
func BenchmarkFollow(b *testing.B) {
	for _, variance := range []plan.Variance{plan.Independent, plan.Clustered} {
		s := millionShoulders(variance)
		b.Run(string(variance), func(b *testing.B) {
			for b.Loop() {
				s.groups = nil
				if err := s.count(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkTests answers: what do the tests between three groups of a million shoulders cost, and those of every pair?
func BenchmarkTests(b *testing.B) {
	for _, variance := range []plan.Variance{plan.Independent, plan.Clustered} {
		s := &comparison{followed: millionShoulders(variance)}
		if err := s.count(); err != nil {
			b.Fatal(err)
		}
		s.strata.labels = []string{cohorts.All}
		counts, err := s.counted()
		if err != nil {
			b.Fatal(err)
		}
		b.Run(string(variance), func(b *testing.B) {
			for b.Loop() {
				for _, asked := range s.asked.Tests {
					if _, err := s.test(asked, counts); err != nil {
						b.Fatal(err)
					}
				}
			}
		})
		b.Run(string(variance)+" pairs", func(b *testing.B) {
			w, _ := weightingOf(plan.LogRank)
			for b.Loop() {
				if _, err := s.pairs(w); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
