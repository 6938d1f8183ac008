package change

import (
	"math"
	"slices"
)

// sample is the rows of a question, in rising order of their measure, ready to be counted with any weights: first the rows with an answer,
// then those with a measure only, then those with a baseline only.
type sample struct {
	q      Question
	people people
	order  []int32 // row of the data at each place
	// measured rows come first, answered ones before the others.
	answered, measured int

	x      []float64 // measure (better is larger), less centre; 0 where there is none
	base   []float64 // baseline less its mean; 0 where there is none
	has    []float64 // 1 with a baseline
	place  []int32   // of the value of each answered row among the distinct ones
	slot   []uint8   // of each answered row: which sums it belongs to
	value  []float64 // distinct measures of answered rows, less centre
	centre float64

	wanted [methods]bool
	start  [2]float64 // constant and slope of the logistic regression on x
	full   [methods]float64
}

// The sums that answered rows belong to; improved is added to the others.
const (
	neither = iota
	minimal
	unchanged
	improved = 4
)

func newSample(a Anchored, q Question) *sample {
	s := &sample{q: q}
	measure := a.measure(q)
	s.line(a, measure)
	patient := pick(a.Patient, s.order)
	s.people = peopleOf(patient, len(s.order))
	for _, i := range s.order[:s.measured] {
		s.centre += measure[i] / float64(s.measured)
	}
	s.fill(a, measure)
	return s
}

// line puts the rows in order.
func (s *sample) line(a Anchored, measure []float64) {
	var others, starts []int32
	for _, i := range rising(measure) {
		switch {
		case math.IsNaN(measure[i]):
			if s.q.About == OfChange && !math.IsNaN(a.Baseline[i]) {
				starts = append(starts, i)
			}
		case a.Anchor[i] == NoAnswer:
			others = append(others, i)
		default:
			s.order = append(s.order, i)
		}
	}
	s.answered, s.measured = len(s.order), len(s.order)+len(others)
	s.order = slices.Concat(s.order, others, starts)
}

func (s *sample) fill(a Anchored, measure []float64) {
	n := len(s.order)
	s.x, s.base, s.has = make([]float64, n), make([]float64, n), make([]float64, n)
	s.place, s.slot = make([]int32, s.answered), make([]uint8, s.answered)
	total, count := 0.0, 0.0
	for _, i := range s.order {
		if b := a.Baseline[i]; b == b {
			total, count = total+b, count+1
		}
	}
	for k, i := range s.order {
		if b := a.Baseline[i]; b == b {
			s.base[k], s.has[k] = b-total/count, 1
		}
		if k < s.measured {
			s.x[k] = measure[i] - s.centre
		}
		if k < s.answered {
			if k == 0 || measure[i] != measure[s.order[k-1]] {
				s.value = append(s.value, s.x[k])
			}
			s.place[k], s.slot[k] = int32(len(s.value)-1), s.q.slotOf(a.Anchor[i])
		}
	}
}

func (q Question) slotOf(answer int32) uint8 {
	slot := uint8(neither)
	switch answer {
	case q.Minimal:
		slot = minimal
	case q.Unchanged:
		slot = unchanged
	}
	if answer >= q.Improved {
		slot |= improved
	}
	return slot
}

// answers returns the answered rows.
func (s *sample) answers() (x []float64, is []bool, patient []int32) {
	x, is = make([]float64, s.answered), make([]bool, s.answered)
	for k := range x {
		x[k], is[k] = s.x[k]+s.centre, s.slot[k]&improved != 0
	}
	if s.people.clustered() {
		patient = s.people.patientOf()[:s.answered]
	}
	return x, is, patient
}

// sign turns a measure back into the unit of the threshold.
func (s *sample) sign() float64 {
	if s.q.About == OfState {
		return s.q.Scale.Sign()
	}
	return 1
}

// sums is the number, sum and sum of squares of weighted numbers.
type sums struct{ n, s, ss float64 }

func (c *sums) add(w, x float64) {
	wx := float64(w * x)
	c.n, c.s, c.ss = c.n+w, c.s+wx, c.ss+float64(wx*x)
}

func (c *sums) addAll(o sums) { c.n, c.s, c.ss = c.n+o.n, c.s+o.s, c.ss+o.ss }

func (c sums) mean() float64 { return c.s / c.n }

// sd is the standard deviation with n − 1; 0 for fewer than two.
func (c sums) sd() float64 {
	if c.n < 2 {
		return 0
	}
	return math.Sqrt(max(0, c.squares()/(c.n-1)))
}

// squares is the sum of squares around the mean.
func (c sums) squares() float64 { return c.ss - float64(c.s/c.n*c.s) }

// tally is a sample counted with weights.
type tally struct {
	base, gain                             sums
	anchored, minimal, unchanged, improved sums
	pos, neg                               []int32 // improved and not at each distinct value
}

// whole counts every row once.
func (s *sample) whole() *tally {
	weight := make([]int32, len(s.order))
	for k := range weight {
		weight[k] = 1
	}
	t := s.newTally()
	s.count(t, weight)
	return t
}

func (s *sample) newTally() *tally {
	return &tally{pos: make([]int32, len(s.value)), neg: make([]int32, len(s.value))}
}

// count fills a tally in one pass.
func (s *sample) count(t *tally, weight []int32) {
	clear(t.pos)
	clear(t.neg)
	var slots [8]sums
	for k, place := range s.place {
		slot := s.slot[k]
		slots[slot&7].add(float64(weight[k]), s.x[k])
		if slot&improved != 0 {
			t.pos[place] += weight[k]
		} else {
			t.neg[place] += weight[k]
		}
	}
	var base, gain sums
	for k, w := range weight {
		base.add(float64(w)*s.has[k], s.base[k])
	}
	t.base, t.anchored, t.improved = base, sums{}, sums{}
	for slot, c := range slots {
		t.anchored.addAll(c)
		if slot&improved != 0 {
			t.improved.addAll(c)
		}
	}
	t.minimal, t.unchanged = slots[minimal], slots[unchanged]
	t.minimal.addAll(slots[minimal|improved])
	t.unchanged.addAll(slots[unchanged|improved])
	for k := s.answered; k < s.measured; k++ {
		gain.add(float64(weight[k]), s.x[k])
	}
	gain.addAll(t.anchored)
	t.gain = gain
}

// pointBiserial is the correlation of the measure with being improved.
func (t *tally) pointBiserial() float64 {
	n, y := t.anchored.n, t.improved.n
	xx, yy := t.anchored.squares(), y*(n-y)/n
	if !(xx > 0 && yy > 0) {
		return 0
	}
	return (t.improved.s - t.anchored.s*y/n) / math.Sqrt(xx*yy)
}
