package change

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"deltoid/stats/random"
)

// Slow and obvious twins of the fast routines, on random data with ties.

func close2(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*max(1, math.Abs(want))) {
		t.Errorf("%s = %.15g, its twin %.15g", what, got, want)
	}
}

// someValues draws n values of which many are equal, kinds, and patients of one to three rows.
func someValues(r *rand.Rand, n int) Discriminating {
	d := Discriminating{HigherIsPositive: r.IntN(2) == 0}
	for i := range n {
		d.Value = append(d.Value, float64(r.IntN(7)))
		d.Positive = append(d.Positive, i == 0 || i != 1 && r.IntN(3) == 0)
		d.Patient = append(d.Patient, int32(r.IntN(n)))
	}
	return d
}

// twinOfArea compares every pair, and sums variances over patients in the words of the sources.
func twinOfArea(d Discriminating) (area, variance float64) {
	beats := func(i, j int) float64 {
		x, y := d.Value[i], d.Value[j]
		if !d.HigherIsPositive {
			x, y = y, x
		}
		switch {
		case x > y:
			return 1
		case x == y:
			return 0.5
		}
		return 0
	}
	var pos, neg []int
	for i, is := range d.Positive {
		if is {
			pos = append(pos, i)
		} else {
			neg = append(neg, i)
		}
	}
	m, n := float64(len(pos)), float64(len(neg))
	v10, v01 := map[int]float64{}, map[int]float64{}
	for _, i := range pos {
		for _, j := range neg {
			area += beats(i, j) / (m * n)
			v10[i] += beats(i, j) / n
			v01[j] += beats(i, j) / m
		}
	}
	ofPatient := func(rows []int, v map[int]float64) map[int32]float64 {
		out := map[int32]float64{}
		for _, i := range rows {
			out[d.Patient[i]] += v[i] - area
		}
		return out
	}
	p, q := ofPatient(pos, v10), ofPatient(neg, v01)
	var s10, s01, s11 float64
	for g, u := range p {
		s10 += u * u
		s11 += u * q[g]
	}
	for _, u := range q {
		s01 += u * u
	}
	i10, i01 := float64(len(p)), float64(len(q))
	variance = s10*i10/(i10-1)/(m*m) + s01*i01/(i01-1)/(n*n)
	if people := peopleOf(d.Patient, len(d.Value)); people.clustered() {
		variance += 2 * s11 / (m * n)
	}
	return area, variance
}

func TestAreaAgainstTwin(t *testing.T) {
	for try := range 60 {
		d := someValues(random.Stream(1, "area", uint64(try)), 8+try)
		roc, err := Discrimination(d, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if !roc.Area.OK() {
			continue
		}
		area, variance := twinOfArea(d)
		what := fmt.Sprintf("set %d", try)
		close2(t, what+" area", roc.Area.Value, area, 1e-12)
		close2(t, what+" variance", roc.Area.SE*roc.Area.SE, variance, 1e-12)
	}
}

func TestCutPointsAgainstTwin(t *testing.T) {
	for try := range 60 {
		d := someValues(random.Stream(2, "cuts", uint64(try)), 8+try)
		roc, _ := Discrimination(d, 0.95)
		index, distance := math.Inf(-1), math.Inf(1)
		for at := -0.5; at < 7; at++ {
			var hit, miss, right, wrong float64
			for i, v := range d.Value {
				called := v > at == d.HigherIsPositive
				switch {
				case called && d.Positive[i]:
					hit++
				case d.Positive[i]:
					miss++
				case called:
					wrong++
				default:
					right++
				}
			}
			sens, spec := hit/(hit+miss), right/(right+wrong)
			index, distance = max(index, sens+spec), min(distance, math.Hypot(1-sens, 1-spec))
		}
		if roc.Youden.OK() {
			close2(t, "Youden's index", roc.Youden.Sensitivity+roc.Youden.Specificity, index, 1e-12)
		}
		if c := roc.ClosestToCorner; c.OK() {
			close2(t, "distance to the corner", math.Hypot(1-c.Sensitivity, 1-c.Specificity), distance, 1e-12)
		}
	}
}

func TestResponderCurveAgainstTwin(t *testing.T) {
	for try := range 20 {
		r := random.Stream(3, "curve", uint64(try))
		n := 20 + 3*try
		s := Scores{}
		rulings := make([]Response, n)
		for i := range n {
			s.Baseline = append(s.Baseline, float64(r.IntN(50)))
			s.FollowUp = append(s.FollowUp, s.Baseline[i]+float64(r.IntN(12)))
			s.Patient = append(s.Patient, int32(r.IntN(n)))
			switch r.IntN(10) {
			case 0:
				s.FollowUp[i] = math.NaN()
			case 1:
				rulings[i] = NotReached
			case 2:
				rulings[i] = LeftOut
			}
		}
		scale := Scale{Worst: 0, Best: 100}
		curve, err := ResponderCurve(s, scale, OfChange, rulings, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range curve.Points {
			responses, _ := Respond(s, Criterion{Scale: scale, Threshold: p.At}, rulings)
			share, _ := ShareOf(responses, s.Patient, 0.9)
			close2(t, "share", p.Share, share.Complete.Value, 1e-13)
			close2(t, "lower", p.Lower, share.Complete.Lower, 1e-9)
			close2(t, "upper", p.Upper, share.Complete.Upper, 1e-9)
			close2(t, "least", p.Least, share.Worst.Value, 1e-13)
			close2(t, "most", p.Most, share.Best.Value, 1e-13)
		}
	}
}

// A replicate is a count of rows; its twin writes the rows down as often as they were drawn and starts from scratch.
func TestReplicatesAgainstTwin(t *testing.T) {
	for try := range 20 {
		r := random.Stream(4, "replicates", uint64(try))
		a, q := someAnchored(r, 60), someQuestion()
		q.About = Measure(try % 2)
		if try%4 > 1 {
			q.Scale = Scale{Worst: math.Inf(1), Best: math.Inf(-1)}
		}
		table, err := Thresholds(a, q)
		if err != nil {
			t.Fatal(err)
		}
		s := newSample(a, q)
		if err := table.judge(s); err != nil {
			t.Fatal(err)
		}
		table.evaluate(s)
		weight := make([]int32, len(s.order))
		s.draw(weight, r.Uint32N)
		tally := s.newTally()
		s.count(tally, weight)
		values := s.values(tally)
		again := repeat(a, s.order, weight)
		twin, err := Thresholds(again, q)
		if err != nil {
			t.Fatal(err)
		}
		for m, v := range values {
			if row := twin.Row(Method(m)); row.OK() && s.wanted[m] {
				close2(t, fmt.Sprintf("set %d, %v", try, Method(m)), v, row.Value, 1e-8)
			} else if !math.IsNaN(v) && !row.OK() && row.Status != NotSupported {
				t.Errorf("set %d, %v: %v, and its twin %v (%s)", try, Method(m), v, row.Status, row.Reason)
			}
		}
	}
}

func someQuestion() Question {
	return Question{Scale: Scale{Worst: math.Inf(-1), Best: math.Inf(1)}, Improved: 1, Minimal: 1, Unchanged: 0, Floor: 1e-9, Fewest: 1,
		AnchorReliability: 0.7, ScoreReliability: 0.9, Resampling: Resampling{Level: 0.95}}
}

// someAnchored draws scores in whole points with answers that go with the change, some of either missing.
func someAnchored(r *rand.Rand, n int) Anchored {
	a := Anchored{}
	for i := range n {
		start, change := float64(r.IntN(40)), float64(r.IntN(30)-8)
		a.Baseline, a.FollowUp = append(a.Baseline, start), append(a.FollowUp, start+change)
		answer := int32(math.Floor((change + 12*r.NormFloat64()) / 10))
		if r.IntN(8) == 0 {
			answer = NoAnswer
		}
		if r.IntN(10) == 0 {
			a.FollowUp[i] = math.NaN()
		}
		a.Anchor, a.Patient = append(a.Anchor, answer), append(a.Patient, int32(i/2))
	}
	return a
}

// repeat writes each row down as often as its weight says.
func repeat(a Anchored, order, weight []int32) Anchored {
	out := Anchored{}
	for k, i := range order {
		for range weight[k] {
			out.Baseline, out.FollowUp = append(out.Baseline, a.Baseline[i]), append(out.FollowUp, a.FollowUp[i])
			out.Anchor = append(out.Anchor, a.Anchor[i])
		}
	}
	return out
}

// The influence of a row is what a little more of it does: every row counts 2,000 times, one of them once more.
func TestInfluencesAgainstTwin(t *testing.T) {
	const times = 2000
	a, q := someAnchored(random.Stream(5, "influence", 0), 400), someQuestion()
	q.Improved = 0 // an uneven share, so that adjustments do something
	table, err := Thresholds(a, q)
	if err != nil {
		t.Fatal(err)
	}
	s := newSample(a, q)
	if err := table.judge(s); err != nil {
		t.Fatal(err)
	}
	table.evaluate(s)
	tally, weight := s.newTally(), make([]int32, len(s.order))
	valuesWith := func(k int) [methods]float64 {
		for i := range weight {
			weight[i] = times
		}
		if k >= 0 {
			weight[k]++
		}
		s.count(tally, weight)
		return s.values(tally)
	}
	base := valuesWith(-1)
	smooth := []Method{MeanChange, MeanDifference, Predictive, PredictiveAdjusted, PredictiveReliable, HalfSD, EffectSize, ResponseMean}
	influence, size := map[Method][]float64{}, map[Method]float64{}
	for _, m := range smooth {
		influence[m] = s.influence(m)
		for k := range influence[m] {
			if m == HalfSD { // a multiple of the standard deviation has its acceleration, whatever the factor
				influence[m][k] /= 2
			}
			size[m] = max(size[m], math.Abs(influence[m][k]))
		}
	}
	for k := range s.order {
		more := valuesWith(k)
		for _, m := range smooth {
			// Standard deviations have n − 1, which is another part in 400 here than in the twin.
			if want := (more[m] - base[m]) * times; !(math.Abs(influence[m][k]-want) <= 0.005*size[m]) {
				t.Errorf("%v, row %d: influence %v, twin %v", m, k, influence[m][k], want)
			}
		}
	}
}

func TestSignsOfRanksAgainstTwin(t *testing.T) {
	for try := range 20 {
		r := random.Stream(6, "signs", uint64(try))
		var sizes []float64
		for range 1 + try%10 {
			sizes = append(sizes, float64(1+r.IntN(5)))
		}
		rank := midranks(sizes)
		statistic, total := 0.0, 0.0
		for _, x := range rank {
			total += x
			if r.IntN(2) == 0 {
				statistic += x
			}
		}
		smaller := min(statistic, total-statistic)
		tail := 0.0
		for set := range 1 << len(rank) {
			sum := 0.0
			for j, x := range rank {
				if set>>j&1 == 1 {
					sum += x
				}
			}
			if sum <= smaller {
				tail++
			}
		}
		close2(t, "exact probability", signsOfRanks(rank, statistic), min(1, 2*tail/float64(int(1)<<len(rank))), 1e-13)
	}
}
