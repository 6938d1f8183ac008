package mixed_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"deltoid/stats/dist"
	"deltoid/stats/mixed"
	"deltoid/stats/random"
)

// dropped draws shoulders whose scores are missing at random after a visit: the lower the score, the likelier.
func dropped(seed uint64, replicate uint64, shoulders int) mixed.Followed {
	r := random.Stream(seed, "dropped", replicate)
	s := mixed.Followed{Groups: []string{"A", "B"}, Data: mixed.Data{Visits: []string{"before", "1 year", "2 years"}}}
	for i := range int32(shoulders) {
		level, group := 8*r.NormFloat64(), i%2
		for v := range int32(3) {
			y := 40 + 15*float64(v) + level + 5*r.NormFloat64() + 4*float64(group*v)
			s.Outcome, s.Subject, s.Visit, s.Group = append(s.Outcome, y), append(s.Subject, i), append(s.Visit, v), append(s.Group, group)
			if r.Float64() < 1/(1+math.Exp((y-35)/8)) {
				break
			}
		}
	}
	return s
}

// By hand: 8 shoulders in each group, of which in B one leaves after the first visit, two after the second, and one has no second but a third.
func TestMissingAndMove(t *testing.T) {
	s := mixed.Followed{Groups: []string{"A", "B"}, Data: mixed.Data{Visits: []string{"0", "1", "2"}}}
	r := random.Stream(13, "by hand", 0)
	for i := range int32(16) {
		level := 4 * r.NormFloat64()
		for v := range int32(3) {
			if g := i % 2; g == 1 && (i == 1 && v > 0 || (i == 3 || i == 5) && v == 2 || i == 7 && v == 1) {
				continue
			}
			s.Outcome, s.Subject, s.Visit, s.Group = append(s.Outcome, level+2*r.NormFloat64()), append(s.Subject, i), append(s.Visit, v), append(s.Group, i%2)
		}
	}
	f := trajectories(t, s, mixed.Options{Covariance: mixed.CompoundSymmetric})
	shift := mixed.Shift{Delta: []float64{0, 0, 0, -4, 0, -6}}
	count := func(v, g int, s mixed.Shift, missing, due int) {
		t.Helper()
		if m, d := f.Missing(v, g, s); m != missing || d != due {
			t.Errorf("visit %d, group %d: %d of %d missing, want %d of %d", v, g, m, d, missing, due)
		}
	}
	count(1, 1, shift, 1, 8)
	count(2, 1, shift, 3, 8)
	count(1, 0, shift, 0, 8)
	between := shift
	between.Between = true
	count(1, 1, between, 2, 8)
	mean, moved := f.Mean(2, 1, nil, 0.95), f.ShiftedMean(2, 1, nil, shift, 0.95)
	near(t, "move", moved.Estimate-mean.Estimate, -6*3./8, 1e-12, 0)
	near(t, "variance", moved.SE*moved.SE-mean.SE*mean.SE, 36*(3./8)*(5./8)/8, 1e-9, 0)
	change := f.ShiftedDifferenceOfChanges(1, 0, 1, 2, shift, 0.95)
	near(t, "move of a change", change.Estimate-f.DifferenceOfChanges(1, 0, 1, 2, 0.95).Estimate, -6*3./8+4*1./8, 1e-12, 0)
	// Influences: shoulder 1 moves −6·5/8 + 4·7/8, shoulders 3 and 5 −6·5/8 − 4·1/8, five others 6·3/8 − 4/8, all over 8.
	want := (math.Pow(-6*5./8+4*7./8, 2) + 2*math.Pow(-6*5./8-4./8, 2) + 5*math.Pow(6*3./8-4./8, 2)) / 64
	e := f.DifferenceOfChanges(1, 0, 1, 2, 0.95)
	near(t, "variance of a change", change.SE*change.SE-e.SE*e.SE, want, 1e-9, 0)

	s.Due = slices.Repeat([]int32{3}, len(s.Outcome))
	for i, g := range s.Subject {
		if g == 3 {
			s.Due[i] = 2 // its third visit has not come due
		}
	}
	s.Unseen = []mixed.Unseen{{Group: 0, Patient: 99, Due: 3}, {Group: 1, Patient: 98, Due: 1}}
	f = trajectories(t, s, mixed.Options{Covariance: mixed.CompoundSymmetric})
	count(2, 1, shift, 2, 7)
	count(0, 1, shift, 1, 9)
	count(2, 0, shift, 1, 9)
}

// A shift of nothing changes nothing, and at a tipping point an end of the interval is 0.
func TestTippingPoint(t *testing.T) {
	s := dropped(14, 0, 120)
	f := trajectories(t, s, mixed.Options{})
	nothing := mixed.Shift{Delta: make([]float64, 6)}
	if got, want := f.ShiftedDifference(2, 1, 0, nothing, 0.95), f.Difference(2, 1, 0, 0.95); got.Estimate != want.Estimate || math.Abs(got.SE-want.SE) > 1e-12 {
		t.Errorf("%+v, want %+v", got, want)
	}
	if tip := f.TippingPoint(2, 1, 0, nothing, 0.95, 1000); tip.Found || !tip.Apart {
		t.Errorf("%+v", tip)
	}
	shift := mixed.Shift{Delta: []float64{0, 0, 0, 0, 0, -1}}
	tip := f.TippingPoint(2, 1, 0, shift, 0.95, 1000)
	if !tip.Found || !tip.Apart || f.TippingPoint(2, 1, 0, shift, 0.95, tip.Multiple/2).Found {
		t.Fatalf("%+v", tip)
	}
	shift.Delta[5] = -tip.Multiple
	near(t, "lower end", f.ShiftedDifference(2, 1, 0, shift, 0.95).Lower, 0, 1e-8, 1)
	shift.Delta[5] *= 0.99
	if e := f.ShiftedDifference(2, 1, 0, shift, 0.95); e.Lower <= 0 {
		t.Errorf("the interval meets 0 before the tipping point: %+v", e)
	}
}

// Repeated imputation under the same supposition, the slow way: parameters drawn from their posterior, missing scores from their distribution
// given the others and moved by delta, the mean of the completed scores averaged over imputations. The analytic mean is where it ends up.
//
// Source of the procedure: Rubin, Multiple Imputation for Nonresponse in Surveys (1987), chapter 3; Carpenter, Roger & Kenward,
// J. Biopharm. Stat. 23 (2013) 1352–1371.
func TestShiftIsRepeatedImputation(t *testing.T) {
	s := dropped(15, 0, 160)
	f := trajectories(t, s, mixed.Options{})
	delta := -9.0
	shift := mixed.Shift{Delta: []float64{0, 0, 0, 0, delta, delta}}
	const imputations = 400
	var rows [160][3]float64
	var seen [160]int
	for i, y := range s.Outcome {
		rows[s.Subject[i]][s.Visit[i]] = y
		seen[s.Subject[i]]++
	}
	var means [2][]float64
	for m := range uint64(imputations) {
		r := random.Stream(16, "imputation", m)
		total := [2]float64{}
		mean := drawMeans(f, r.NormFloat64)
		for i := range rows {
			total[i%2] += imputed(rows[i], seen[i], mean[i%2], f.Fit.Covariance, delta, r.NormFloat64) / 80
		}
		for g := range means {
			means[g] = append(means[g], total[g])
		}
	}
	for g := range 2 {
		mean, variance := average(means[g])
		near(t, fmt.Sprint("mean of group ", g), f.ShiftedMean(2, g, nil, shift, 0.95).Estimate, mean, 4*math.Sqrt(variance/imputations)/mean, 0)
	}
}

// drawMeans draws the means of visits and groups from their distribution.
func drawMeans(f *mixed.Trajectory, normal func() float64) (out [2][3]float64) {
	k := len(f.Fit.Coefficient)
	l := choleskyOf(f.Fit.Model, k)
	drawn := slices.Clone(f.Fit.Coefficient)
	z := make([]float64, k)
	for i := range z {
		z[i] = normal()
		for j := range i + 1 {
			drawn[i] += l[i*k+j] * z[j]
		}
	}
	for j, name := range f.Fit.Names {
		at := drawn[k-1]
		if name != "constant" {
			at += drawn[j]
		}
		for v, visit := range f.Fit.Visits {
			for g, group := range []string{"A", "B"} {
				if name == group+" at "+visit || name == "constant" && v == 0 && g == 0 {
					out[g][v] = at
				}
			}
		}
	}
	return out
}

func choleskyOf(m []float64, k int) []float64 {
	l := make([]float64, k*k)
	for i := range k {
		for j := range i + 1 {
			x := m[i*k+j]
			for c := range j {
				x -= l[i*k+c] * l[j*k+c]
			}
			if i == j {
				l[i*k+i] = math.Sqrt(x)
			} else {
				l[i*k+j] = x / l[j*k+j]
			}
		}
	}
	return l
}

// imputed returns the last score of a shoulder, its own or drawn given the first ones and moved.
func imputed(y [3]float64, seen int, mean [3]float64, covariance []float64, delta float64, normal func() float64) float64 {
	if seen == 3 {
		return y[2]
	}
	l := choleskyOf(covariance, 3)
	var z [3]float64 // y = mean + L z
	at := func(v int) (sum float64) {
		sum = mean[v]
		for c := range v {
			sum += l[3*v+c] * z[c]
		}
		return sum
	}
	for v := range seen {
		z[v] = (y[v] - at(v)) / l[4*v]
	}
	for v := seen; v < 3; v++ {
		z[v] = normal()
	}
	return at(2) + l[8]*z[2] + delta
}

// What the interval promises: of 300 studies whose dropouts do worse by delta than at random, some 95 in a hundred cover the mean of all. The
// bounds allow four standard errors of a simulation.
func TestShiftedMeanCovers(t *testing.T) {
	const replicates, shoulders, delta = 300, 150, -8.0
	covered := 0
	for i := range uint64(replicates) {
		s := dropped(17, i, shoulders)
		f := trajectories(t, s, mixed.Options{})
		shift := mixed.Shift{Delta: []float64{0, 0, 0, 0, 0, delta}}
		e := f.ShiftedMean(2, 1, nil, shift, 0.95)
		truth := 78 + delta*shareGone
		if e.Lower <= truth && truth <= e.Upper {
			covered++
		}
	}
	within(t, "coverage", covered, replicates, 0.95)
}

// shareGone is the chance to have left before the third visit in dropped's group B, by numerical integration of its law in the test below.
const shareGone = 0.41581

func within(t *testing.T, what string, hits, of int, want float64) {
	t.Helper()
	got := float64(hits) / float64(of)
	if math.Abs(got-want) > 4*math.Sqrt(want*(1-want)/float64(of)) {
		t.Errorf("%s: %d of %d, want %g", what, hits, of, want)
	}
}

// The share by the law: level and two scores are normal; leaving after a score y has chance 1/(1 + e^((y−35)/8)).
func TestShareGone(t *testing.T) {
	stay := func(y float64) float64 { return 1 - 1/(1+math.Exp((y-35)/8)) }
	const steps = 400
	gone := 0.0
	point := func(i int) float64 { return dist.NormalQuantile((float64(i) + 0.5) / steps) }
	for i := range steps {
		level := 8 * point(i)
		var kept [2]float64
		for v := range kept {
			for j := range steps {
				kept[v] += stay(40+19*float64(v)+level+5*point(j)) / steps
			}
		}
		gone += (1 - kept[0]*kept[1]) / steps
	}
	near(t, "share", shareGone, gone, 1e-3, 0)
}
