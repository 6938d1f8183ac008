package change

import (
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/describe"
	"deltoid/stats/dist"
	"deltoid/stats/random"
)

// together is how many replicates share scratch memory.
const together = 50

// mostFailed is the share of replicates that may have no value before the interval is refused; a rule of this package.
const mostFailed = 0.05

// resample fills the intervals by drawing patients again.
func (t *Table) resample(s *sample) {
	replicates := s.replicates()
	for m := range t.Rows {
		row := &t.Rows[m]
		if !row.OK() {
			none := Interval{Level: s.q.Level, State: row.State}
			row.Closed, row.Percentile, row.BCa = none, none, none
			if row.Method == Youden || row.Method == ClosestToCorner {
				row.Cut = Cut{State: row.State}
			}
			continue
		}
		values := make([]float64, 0, len(replicates))
		for i := range replicates {
			if v := replicates[i][m]; !math.IsNaN(v) {
				values = append(values, v)
			}
		}
		row.Failed = len(replicates) - len(values)
		row.intervals(values, s)
	}
}

func (s *sample) replicates() [][methods]float64 {
	out := make([][methods]float64, s.q.Replicates)
	covariates.InParallel((len(out)+together-1)/together, func(_, job int) {
		weight, t := make([]int32, len(s.order)), s.newTally()
		for i := job * together; i < min(len(out), (job+1)*together); i++ {
			clear(weight)
			s.draw(weight, random.Stream(s.q.Seed, "thresholds", uint64(i)).Uint32N)
			s.count(t, weight)
			out[i] = s.values(t)
		}
	})
	return out
}

// draw counts how often each row is drawn when as many patients are drawn as there are; below
// returns a random number below its argument.
func (s *sample) draw(weight []int32, below func(uint32) uint32) {
	patients := s.people.clusters.Count
	for range patients {
		g := int(below(uint32(patients)))
		if !s.people.clustered() {
			weight[g]++
			continue
		}
		for _, k := range s.people.clusters.Of(g) {
			weight[k]++
		}
	}
}

func (row *Threshold) intervals(values []float64, s *sample) {
	level := s.q.Level
	row.Percentile, row.BCa = Interval{Level: level}, Interval{Level: level}
	refuse := func(format string, args ...any) {
		row.Percentile.State = state(NotResampled, format, args...)
		row.BCa.State = row.Percentile.State
	}
	switch need := math.Ceil(2/(1-level) - 1); {
	case s.q.Replicates == 0:
		refuse("no replicates were asked for")
		return
	case float64(s.q.Replicates) < need:
		refuse("%d replicates are too few for the level %v, want %v or more", s.q.Replicates, level, need)
		return
	case float64(row.Failed) > mostFailed*float64(s.q.Replicates):
		refuse("%d of %d replicates have no value", row.Failed, s.q.Replicates)
		return
	}
	row.SE = describe.MomentsOf(values).SD
	sorted := describe.Sort(values)
	at := func(p float64) float64 { v, _ := sorted.Quantile(p, describe.MeanShare); return v }
	tail := (1 - level) / 2
	row.Percentile.Lower, row.Percentile.Upper = at(tail), at(1-tail)
	if row.Method == Youden || row.Method == ClosestToCorner {
		row.BCa.State = state(NotDefined, "the place of a largest value has no influences, and correcting its bias makes the interval hold less often: use the percentiles")
		return
	}
	bias := shareBelow(values, row.Value)
	if bias == 0 || bias == 1 {
		row.BCa.State = state(NotResampled, "all replicates lie on one side of the value")
		return
	}
	z0, a := dist.NormalQuantile(bias), s.acceleration(row.Method)
	shift := func(z float64) float64 { return dist.NormalLower(z0 + (z0+z)/(1-float64(a*(z0+z)))) }
	row.BCa.Lower, row.BCa.Upper = at(shift(dist.NormalQuantile(tail))), at(shift(-dist.NormalQuantile(tail)))
}

// shareBelow is the share of values below x, those equal to it for half.
func shareBelow(values []float64, x float64) float64 {
	below := 0.0
	for _, v := range values {
		switch {
		case v < x:
			below++
		case v == x:
			below += 0.5
		}
	}
	return below / float64(len(values))
}

// acceleration is a sixth of the skewness of the influences of patients: Σu³/(6 (Σu²)^{3/2}).
func (s *sample) acceleration(m Method) float64 {
	var squares, cubes float64
	for _, u := range s.people.sums(s.influence(m)) {
		squares += float64(u * u)
		cubes += float64(u * u * u)
	}
	if !(squares > 0) {
		return 0
	}
	return cubes / (6 * math.Pow(squares, 1.5))
}
