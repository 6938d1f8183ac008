package trials

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"deltoid/stats/survival"
)

// The log-rank tests that make no garbage are those of package survival, on samples with ties and
// empty arms, alone and in clusters.
func TestFastLogRankIsTheOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 60).Draw(t, "rows")
		last := rapid.Int32Range(0, 40).Draw(t, "last day")
		s := &Sample{Groups: 2, Patients: n}
		for range n {
			s.Exit = append(s.Exit, rapid.Int32Range(0, last).Draw(t, "exit"))
			s.Cause = append(s.Cause, uint8(rapid.IntRange(0, 2).Draw(t, "cause")))
			s.Group = append(s.Group, rapid.Int32Range(0, 1).Draw(t, "group"))
			s.Patient = append(s.Patient, rapid.Int32Range(0, int32(n-1)).Draw(t, "patient"))
		}
		fast, slow := LogRank().Run(s), WeightedLogRank(survival.Equal).Run(s)
		if (fast.Reason == "") != (slow.Reason == "") || math.Abs(fast.Z-slow.Z) > 1e-9 || math.Abs(fast.P-slow.P) > 1e-9 {
			t.Fatalf("fast %+v, slow %+v", fast, slow)
		}
		d := s.data()
		d.Cluster = s.Patient
		fast = ClusteredLogRank(ByPatient).Run(s)
		test, err := survival.ClusteredLogRank(1, survival.Equal, d, nil, 1)
		if err != nil {
			t.Fatal(err)
		}
		if fast.Reason == "" && test.Status == survival.Estimated && math.Abs(fast.Z*fast.Z-test.ChiSquare) > 1e-9*max(1, test.ChiSquare) {
			t.Fatalf("fast %+v, slow %+v", fast, test)
		}
		if fast.Reason == "" != (test.Status == survival.Estimated) {
			t.Fatalf("fast %+v, slow %+v", fast, test)
		}
	})
}
