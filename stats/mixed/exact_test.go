package mixed_test

import (
	"fmt"
	"math"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/dist"
	"deltoid/stats/mixed"
	"deltoid/stats/random"
)

// complete draws shoulders of two groups with all visits, as one table of scores [shoulder][visit].
func complete(seed uint64, shoulders, visits int) (scores [][]float64, s mixed.Followed) {
	r := random.Stream(seed, "complete", 0)
	s.Groups = []string{"A", "B"}
	for v := range visits {
		s.Visits = append(s.Visits, fmt.Sprint("visit ", v))
	}
	for i := range shoulders {
		group, level := int32(i%5/3), 5*r.NormFloat64()
		row := make([]float64, visits)
		for v := range row {
			row[v] = 40 + float64(v*v) + level*(1+0.3*float64(v)) + 3*r.NormFloat64() + float64(group)*float64(v)
			s.Outcome, s.Subject, s.Visit = append(s.Outcome, row[v]), append(s.Subject, int32(i)), append(s.Visit, int32(v))
			s.Group = append(s.Group, group)
		}
		scores = append(scores, row)
	}
	return scores, s
}

func trajectories(t testing.TB, s mixed.Followed, o mixed.Options) *mixed.Trajectory {
	t.Helper()
	out, err := mixed.Trajectories(s, o)
	if err != nil {
		t.Fatal(err)
	}
	if out.Fit.Status != mixed.Converged {
		t.Fatalf("%v: %s", out.Fit.Status, out.Fit.Reason)
	}
	return out
}

func average(x []float64) (mean, variance float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		variance += (v - mean) * (v - mean) / float64(len(x)-1)
	}
	return mean, variance
}

// sample returns f of the scores of each shoulder of a group.
func sample(scores [][]float64, group int, f func([]float64) float64) (out []float64) {
	for i, row := range scores {
		if i%5/3 == group {
			out = append(out, f(row))
		}
	}
	return out
}

// is compares an effect with an estimate, error and degrees of freedom known in closed form.
func is(t *testing.T, what string, e mixed.Effect, estimate, se, df float64) {
	t.Helper()
	if e.Status != mixed.Converged {
		t.Fatal(what, e.Status, e.Reason)
	}
	near(t, what, e.Estimate, estimate, 1e-8, 1)
	near(t, what+" error", e.SE, se, 1e-7, 0)
	near(t, what+" degrees", e.DF, df, 1e-6, 0)
	near(t, what+" p", e.P, dist.StudentTwoSided(estimate/se, df), 1e-5, 1e-6)
	near(t, what+" upper", e.Upper, estimate+dist.StudentSpread(0.95, df)*se, 1e-7, 1)
}

var bothDegrees = []mixed.Degrees{mixed.KenwardRoger, mixed.Satterthwaite}

// Complete scores and an unstructured covariance: every contrast within and between groups is Student's, of one sample or of two with a
// common variance, with n − 2 degrees of freedom for two groups, to the last digit. So it is with one group: the paired t test with n − 1.
func TestUnstructuredIsStudents(t *testing.T) {
	scores, s := complete(1, 23, 3)
	for _, degrees := range bothDegrees {
		f := trajectories(t, s, mixed.Options{Degrees: degrees})
		difference := func(what string, e mixed.Effect, of func([]float64) float64) {
			ma, va := average(sample(scores, 0, of))
			mb, vb := average(sample(scores, 1, of))
			na, nb := float64(len(sample(scores, 0, of))), float64(len(sample(scores, 1, of)))
			pooled := ((na-1)*va + (nb-1)*vb) / (na + nb - 2)
			is(t, what, e, mb-ma, math.Sqrt(pooled*(1/na+1/nb)), na+nb-2)
		}
		for v := range 3 {
			difference("at a visit", f.Difference(v, 1, 0, 0.95), func(row []float64) float64 { return row[v] })
		}
		difference("of changes", f.DifferenceOfChanges(1, 0, 0, 2, 0.95), func(row []float64) float64 { return row[2] - row[0] })
		single := s
		single.Group, single.Groups = make([]int32, len(s.Group)), []string{"all"}
		f = trajectories(t, single, mixed.Options{Degrees: degrees})
		change := sample(scores, 0, func(row []float64) float64 { return row[2] - row[0] })
		change = append(change, sample(scores, 1, func(row []float64) float64 { return row[2] - row[0] })...)
		mean, variance := average(change)
		is(t, "paired", f.Change(0, 0, 2, nil, 0.95), mean, math.Sqrt(variance/23), 22)
	}
}

// That the means of K visits are equal is tested by Hotelling's T² of the K−1 changes, and Kenward and Roger's test is the same one:
// F = T² (n−K+1)/((n−1)(K−1)) with K−1 and n−K+1 degrees of freedom.
//
// Source: Kenward & Roger, Biometrics 53 (1997) 983–997, section 3, whose expansion was chosen to be exact there (from memory);
// Hotelling, Ann. Math. Stat. 2 (1931) 360–378.
func TestKenwardRogerIsHotellings(t *testing.T) {
	for _, visits := range []int{2, 3, 5} {
		scores, s := complete(2, 17, visits)
		s.Group, s.Groups = make([]int32, len(s.Group)), []string{"all"}
		f := trajectories(t, s, mixed.Options{})
		k := visits - 1
		mean, cov := make([]float64, k), make([]float64, k*k)
		for _, row := range scores {
			for a := range k {
				mean[a] += (row[a+1] - row[0]) / 17
			}
		}
		for _, row := range scores {
			for a := range k {
				for b := range k {
					cov[a*k+b] += (row[a+1] - row[0] - mean[a]) * (row[b+1] - row[0] - mean[b]) / 16
				}
			}
		}
		factor, _ := covariates.Factorise(cov, k, nil)
		n := 17.0
		want := n * factor.Form(mean) * (n - float64(k)) / ((n - 1) * float64(k))
		test := f.Fit.Term("visit and group")
		if test.Status != mixed.Converged {
			t.Fatal(test)
		}
		near(t, "F", test.F, want, 1e-6, 0)
		near(t, "above", test.DF1, float64(k), 1e-12, 0)
		near(t, "below", test.DF2, n-float64(k), 1e-6, 0)
		near(t, "p", test.P, dist.FUpper(want, float64(k), n-float64(k)), 1e-5, 1e-12)
	}
}

// A balanced design with compound symmetry is the split-plot analysis of variance (shoulders whole plots, visits within): mean squares by
// sums of squares in closed form.
//
// Source: any textbook of experimental designs, such as Cochran & Cox, Experimental Designs (1957), section 7.2.
func TestCompoundSymmetryIsSplitPlot(t *testing.T) {
	const visits, n = 4, 20
	scores, s := complete(3, n, visits)
	count := [2]float64{12, 8}
	var cell [2][visits]float64
	var level [2]float64
	for i, row := range scores {
		for v, y := range row {
			cell[i%5/3][v] += y / count[i%5/3]
			level[i%5/3] += y / count[i%5/3] / visits
		}
	}
	whole, within := 0.0, 0.0
	for i, row := range scores {
		mean, _ := average(row)
		g := i % 5 / 3
		whole += visits * (mean - level[g]) * (mean - level[g])
		for v, y := range row {
			d := y - mean - cell[g][v] + level[g]
			within += d * d
		}
	}
	whole, within = whole/(n-2), within/((n-2)*(visits-1))
	for _, degrees := range bothDegrees {
		for _, o := range []mixed.Options{{Covariance: mixed.CompoundSymmetric}, {Covariance: mixed.Independent, SubjectIntercept: true}} {
			o.Degrees = degrees
			f := trajectories(t, s, o)
			for _, p := range f.Fit.Parameters {
				switch p.Name {
				case "variance within shoulders":
					near(t, p.Name, p.Estimate, within, 1e-7, 0)
				default:
					near(t, p.Name, p.Estimate, (whole-within)/visits, 1e-7, 0)
				}
			}
			is(t, "change", f.Change(0, 0, 3, nil, 0.95), cell[0][3]-cell[0][0], math.Sqrt(2*within/count[0]), (n-2)*(visits-1))
			is(t, "difference of changes", f.DifferenceOfChanges(1, 0, 1, 2, 0.95), cell[1][2]-cell[1][1]-cell[0][2]+cell[0][1],
				math.Sqrt(2*within*(1/count[0]+1/count[1])), (n-2)*(visits-1))
			test := f.ChangeTest()
			squares := 0.0
			for g := range 2 {
				for v := range visits {
					pooled := (count[0]*(cell[0][v]-level[0]) + count[1]*(cell[1][v]-level[1])) / n
					d := cell[g][v] - level[g] - pooled
					squares += count[g] * d * d
				}
			}
			near(t, "interaction", test.F, squares/(visits-1)/within, 1e-7, 0)
			near(t, "interaction, below", test.DF2, (n-2)*(visits-1), 1e-6, 0)
			// The difference of the groups over all visits rests on whole plots.
			w := make([]float64, len(f.Fit.Names))
			for v := range visits {
				for j, name := range f.Fit.Names {
					switch name {
					case fmt.Sprint("A at visit ", v):
						w[j] -= 0.25
					case fmt.Sprint("B at visit ", v):
						w[j] += 0.25
					}
				}
			}
			is(t, "whole plots", f.Fit.Combine(w, 0.95), level[1]-level[0], math.Sqrt(whole/visits*(1/count[0]+1/count[1])), n-2)
		}
	}
}

// Two shoulders in every patient, each with all visits, two groups of patients: the three-stage nested analysis of variance has three mean
// squares in closed form (patients 2·visits·p + visits·s + e, shoulders visits·s + e, visits e).
func TestNestedPatients(t *testing.T) {
	const patients, visits = 14, 3
	r := random.Stream(4, "nested", 0)
	s := mixed.Followed{Groups: []string{"A", "B"}, Data: mixed.Data{Visits: []string{"a", "b", "c"}}}
	var y [patients][2][visits]float64
	for p := range patients {
		own := 6 * r.NormFloat64()
		for side := range 2 {
			level := own + 4*r.NormFloat64()
			for v := range visits {
				y[p][side][v] = level + 2*r.NormFloat64() + float64(3*v)
				s.Outcome, s.Patient = append(s.Outcome, y[p][side][v]), append(s.Patient, int32(p))
				s.Subject, s.Visit, s.Group = append(s.Subject, int32(2*p+side)), append(s.Visit, int32(v)), append(s.Group, int32(p%2))
			}
		}
	}
	var cell [2][visits]float64
	for p := range patients {
		for side := range 2 {
			for v := range visits {
				cell[p%2][v] += y[p][side][v] / patients
			}
		}
	}
	var level [2]float64
	for g := range 2 {
		level[g], _ = average(cell[g][:])
	}
	var between, sides, within float64
	for p := range patients {
		left, _ := average(y[p][0][:])
		right, _ := average(y[p][1][:])
		mean := (left + right) / 2
		between += 2 * visits * (mean - level[p%2]) * (mean - level[p%2]) / (patients - 2)
		sides += visits * ((left-mean)*(left-mean) + (right-mean)*(right-mean)) / patients
		for side, mean := range []float64{left, right} {
			for v := range visits {
				d := y[p][side][v] - mean - cell[p%2][v] + level[p%2]
				within += d * d / ((2*patients - 2) * (visits - 1))
			}
		}
	}
	for _, degrees := range bothDegrees {
		f := trajectories(t, s, mixed.Options{Covariance: mixed.CompoundSymmetric, PatientIntercept: true, Degrees: degrees})
		near(t, "within", f.Fit.Parameters[1].Estimate, within, 1e-7, 0)
		near(t, "shoulders", f.Fit.Parameters[0].Estimate, (sides-within)/visits, 1e-7, 0)
		near(t, "patients", f.Fit.Parameters[2].Estimate, (between-sides)/(2*visits), 1e-7, 0)
		is(t, "change", f.Change(0, 0, 2, nil, 0.95), cell[0][2]-cell[0][0], math.Sqrt(2*within/patients), (2*patients-2)*(visits-1))
		w := make([]float64, len(f.Fit.Names))
		for j, name := range f.Fit.Names[:len(f.Fit.Names)-1] {
			w[j] = map[byte]float64{'A': -1. / visits, 'B': 1. / visits}[name[0]]
		}
		is(t, "groups", f.Fit.Combine(w, 0.95), level[1]-level[0], math.Sqrt(between*2/(2*visits*patients/2)), patients-2)
	}
}
