package mixed_test

import (
	"fmt"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/mixed"
	"deltoid/stats/random"
)

// followed draws shoulders with some visits each, one in ten scores missing, eight covariates and two groups.
func followed(seed uint64, shoulders, visits int, bilateral bool) mixed.Followed {
	r := random.Stream(seed, "followed", 0)
	s := mixed.Followed{Groups: []string{"A", "B"}}
	for v := range visits {
		s.Visits = append(s.Visits, fmt.Sprint("visit ", v))
	}
	values := make([][]float64, 8)
	own := 0.0
	for i := range shoulders {
		patient := i
		if bilateral {
			patient = i - i%5%2 // two of five patients have two
		}
		if patient == i {
			own = 3 * r.NormFloat64()
		}
		var x [8]float64
		for j := range x {
			x[j] = 60 + 10*r.NormFloat64()
		}
		level := 4 * r.NormFloat64()
		for v := range visits {
			y := 50 + float64(5*v) + own + level + 0.1*x[0] - 0.2*x[3] + 6*r.NormFloat64() + float64(i%2*v)
			if r.Float64() < 0.1 {
				continue
			}
			s.Outcome, s.Subject, s.Visit = append(s.Outcome, y), append(s.Subject, int32(i)), append(s.Visit, int32(v))
			s.Group, s.Patient = append(s.Group, int32(i%2)), append(s.Patient, int32(patient))
			for j := range x {
				values[j] = append(values[j], x[j])
			}
		}
	}
	for j, v := range values {
		s.Covariates = append(s.Covariates, covariates.Column{Name: fmt.Sprint("x", j), Values: v})
	}
	return s
}

// How long a model of 100,000 shoulders with 3 visits and 8 covariates takes, by covariance; with two shoulders in some patients it takes
// patterns of both.
func BenchmarkTrajectories(b *testing.B) {
	for _, bilateral := range []bool{false, true} {
		s := followed(1, 111_111, 3, bilateral)
		for _, c := range []mixed.Structure{mixed.Unstructured, mixed.CompoundSymmetric, mixed.Autoregressive} {
			b.Run(fmt.Sprintf("%v/two shoulders %v/%d rows", c, bilateral, len(s.Outcome)), func(b *testing.B) {
				for b.Loop() {
					t, err := mixed.Trajectories(s, mixed.Options{Covariance: c, PatientIntercept: bilateral})
					if err != nil || t.Fit.Status != mixed.Converged {
						b.Fatal(err, t.Fit.Status, t.Fit.Reason)
					}
					t.Difference(2, 1, 0, 0.95)
				}
			})
		}
	}
}

// With times of their own, most shoulders are a pattern of one: the slow case.
func BenchmarkTimesOfTheirOwn(b *testing.B) {
	s := followed(2, 11_111, 3, false)
	r := random.Stream(2, "times", 0)
	for _, v := range s.Visit {
		s.Time = append(s.Time, float64(v)+0.5*r.Float64())
	}
	for b.Loop() {
		t, err := mixed.Trajectories(s, mixed.Options{Covariance: mixed.SpatialPower})
		if err != nil || t.Fit.Status != mixed.Converged {
			b.Fatal(err, t.Fit.Status, t.Fit.Reason)
		}
	}
}

// A small study with two shoulders in some patients, as in simulations.
func BenchmarkSmallStudy(b *testing.B) {
	s := study(1)
	for b.Loop() {
		if _, err := mixed.Trajectories(s, mixed.Options{PatientIntercept: true}); err != nil {
			b.Fatal(err)
		}
	}
}

// Forty groups at four visits: 160 means, tested together.
func BenchmarkManyGroups(b *testing.B) {
	s := followed(3, 8000, 4, false)
	s.Groups = nil
	for g := range int32(40) {
		s.Groups = append(s.Groups, fmt.Sprint("group ", g))
	}
	for i, shoulder := range s.Subject {
		s.Group[i] = shoulder % 40
	}
	for b.Loop() {
		t, err := mixed.Trajectories(s, mixed.Options{})
		if err != nil || t.Fit.Status != mixed.Converged || t.ChangeTest().Status != mixed.Converged || t.GroupTest().DF1 != 156 {
			b.Fatal(err, t.Fit.Status, t.Fit.Reason)
		}
	}
}
