package trials

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"deltoid/stats/survival"
)

// The log-rank test that makes no garbage is that of package survival, on samples with ties and
// empty arms.
func TestFastLogRankIsTheOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 60).Draw(t, "rows")
		last := rapid.Int32Range(0, 40).Draw(t, "last day")
		s := &Sample{Groups: 2}
		for range n {
			s.Exit = append(s.Exit, rapid.Int32Range(0, last).Draw(t, "exit"))
			s.Cause = append(s.Cause, uint8(rapid.IntRange(0, 2).Draw(t, "cause")))
			s.Group = append(s.Group, rapid.Int32Range(0, 1).Draw(t, "group"))
		}
		fast, slow := LogRank().Run(s), WeightedLogRank(survival.Equal).Run(s)
		if (fast.Reason == "") != (slow.Reason == "") || math.Abs(fast.Z-slow.Z) > 1e-9 || math.Abs(fast.P-slow.P) > 1e-9 {
			t.Fatalf("fast %+v, slow %+v", fast, slow)
		}
	})
}
