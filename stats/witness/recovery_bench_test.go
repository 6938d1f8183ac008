package witness_test

import (
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/mixed"
)

// How far one of our numbers may lie from the reference's: as a share of the reference's, or of a standard error for coefficients. What is
// found by search is only as near as both searches go, and the reference's stops at its usual tolerance.
const (
	ofCoefficient = 1e-4 // of the standard error
	ofCovariance  = 1e-4
	ofCurve       = 1e-12
	ofThreshold   = 1e-8
	// Two standard deviations of 2,000 replicates each differ by some 2% by chance, those of cut points by more.
	ofSpread = 0.1
)

// said is our numbers by name. A distance is counted in measures, 0 being the reference's number itself, and tolerance of them are allowed.
type said map[string]number

type number struct{ value, measure, tolerance float64 }

func (s said) put(name string, value, measure, tolerance float64) {
	s[name] = number{value, measure, tolerance}
}

// beside compares with the reference and returns the largest distance, as a share of what is allowed.
func (s said) beside(b *testing.B, theirs map[string]float64) (worst float64) {
	b.Helper()
	if len(theirs) == 0 || len(theirs) != len(s) {
		b.Fatalf("the reference has %d numbers, we have %d", len(theirs), len(s))
	}
	for _, name := range slices.Sorted(maps.Keys(theirs)) {
		want := theirs[name]
		got, has := s[name]
		if !has {
			b.Fatalf("the reference has %q, we do not", name)
		}
		measure := got.measure
		if measure == 0 {
			measure = math.Abs(want)
		}
		apart := math.Abs(got.value-want) / measure / got.tolerance
		if !(apart <= 1) {
			b.Errorf("%s is %v here and %v there: %.2g times as far apart as allowed", name, got.value, want, apart)
		}
		worst = max(worst, apart)
	}
	return worst
}

// BenchmarkRecoveryBeside does what recovery.R has the reference library do, on the files of the folder that DELTOID_BENCH_RECOVERY
// names, and compares the numbers with those that recovery.R left there.
func BenchmarkRecoveryBeside(b *testing.B) {
	folder := os.Getenv("DELTOID_BENCH_RECOVERY")
	if folder == "" {
		b.Log("not run: DELTOID_BENCH_RECOVERY names no folder; testdata/references/bench/run_recovery makes one, and times the reference library on it too")
		return
	}
	theirs := readTheirs(b, filepath.Join(folder, "theirs.csv"))
	known := map[string]bool{}
	timed := func(work string, run func(b *testing.B) said) {
		known[work] = true
		b.Run(work, func(b *testing.B) {
			b.ReportAllocs()
			var ours said
			from := processor(b)
			for b.Loop() {
				ours = run(b)
			}
			b.ReportMetric((processor(b)-from)/float64(b.N), "cpu-s/op")
			if _, compared := theirs[work]; compared {
				b.ReportMetric(ours.beside(b, theirs[work]), "of-allowed")
			}
		})
	}
	scores, answers := readScores(b, filepath.Join(folder, "scores.csv")), readAnswers(b, filepath.Join(folder, "answers.csv"))
	unstructured, intercept := mixed.Options{Covariance: mixed.Unstructured}, mixed.Options{Covariance: mixed.CompoundSymmetric}
	few := scores.first(50_000)
	timed("unstructured-50000", func(b *testing.B) said { return few.fit(b, unstructured) })
	timed("unstructured", func(b *testing.B) said { return scores.fit(b, unstructured) })
	timed("intercept", func(b *testing.B) said { return scores.fit(b, intercept) })
	many, thresholds := answers.first(100_000), answers.first(5000)
	timed("roc", many.curve)
	timed("roc-two", many.twoCurves)
	timed("thresholds", thresholds.thresholds)
	for work := range theirs {
		if !known[work] {
			b.Errorf("the reference has %q, which is not compared", work)
		}
	}
}

// fit returns the coefficients with their model-based errors, and the covariance.
func (s scoreRows) fit(b *testing.B, o mixed.Options) said {
	f, err := mixed.Estimate(s.Data, s.columns, o)
	if err != nil || f.Status != mixed.Converged {
		b.Fatal(err, f)
	}
	ours := said{}
	for j, name := range f.Names {
		if j == len(f.Names)-1 {
			name = "constant"
		}
		se := math.Sqrt(f.Model[j*len(f.Names)+j])
		ours.put("coefficient "+name, f.Coefficient[j], se, ofCoefficient)
		ours.put("se "+name, se, 0, ofCovariance)
	}
	places := [][2]int{{0, 0}, {0, 1}}
	if o.Covariance == mixed.Unstructured {
		places = append(places, [][2]int{{1, 1}, {2, 2}, {0, 2}, {1, 2}}...)
	}
	for _, at := range places {
		ours.put(fmt.Sprintf("covariance %d%d", at[0], at[1]), f.Covariance[at[0]*len(f.Visits)+at[1]], 0, ofCovariance)
	}
	return ours
}

func (a answerRows) discrimination(b *testing.B, value []float64) change.ROC {
	r, err := change.Discrimination(change.Discriminating{Value: value, Positive: a.improved, HigherIsPositive: true}, 0.95)
	if err != nil || !r.Area.OK() {
		b.Fatal(err, r.Area.Reason)
	}
	return r
}

func (a answerRows) curve(b *testing.B) said {
	area := a.discrimination(b, a.change).Area
	ours := said{}
	ours.put("area", area.Value, 0, ofCurve)
	ours.put("se", area.SE, 0, ofCurve)
	ours.put("lower", area.Lower, 0, ofCurve)
	ours.put("upper", area.Upper, 0, ofCurve)
	return ours
}

func (a answerRows) twoCurves(b *testing.B) said {
	both, err := change.CompareAreas(a.discrimination(b, a.change), a.discrimination(b, a.FollowUp), 0.95)
	if err != nil || !both.Difference.OK() {
		b.Fatal(err, both.Difference.Reason)
	}
	ours := said{}
	ours.put("difference", both.Difference.Value, 0, ofCurve)
	ours.put("z", both.Z, 0, ofCurve)
	return ours
}

// thresholds has 2,000 replicates; BCa limits, which the reference is not asked for, and the checks of the anchor are in the time.
func (a answerRows) thresholds(b *testing.B) said {
	q := change.Question{Scale: change.Scale{Worst: math.Inf(-1), Best: math.Inf(1)}, Improved: 1, Minimal: 1, Unchanged: 0, AnchorReliability: 0.8,
		ScoreReliability: 0.9, Resampling: change.Resampling{Replicates: 2000, Seed: 1, Level: 0.95}}
	t, err := change.Thresholds(a.Anchored, q)
	if err != nil {
		b.Fatal(err)
	}
	ours := said{}
	for _, row := range t.Rows {
		if row.Method == change.AcceptableQuartile {
			continue // about states, and this is about change
		}
		if !row.OK() || row.Failed > 0 {
			b.Fatal(row.Method, row.Reason, row.Failed)
		}
		ours.put(row.Method.String(), row.Value, 0, ofThreshold)
		ours.put("spread of "+row.Method.String(), row.SE, 0, ofSpread)
	}
	return ours
}
