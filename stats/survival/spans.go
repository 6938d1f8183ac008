package survival

import (
	"fmt"
	"math"

	"deltoid/stats/numeric"
)

// Span is a stretch of time and what a group did in it: the material of a rate.
type Span struct {
	// From and To bound the stretch. What happens at To belongs to it, what happens at From to
	// the one before; time 0 belongs to the first.
	From, To float64
	// Rows is how many were under observation at any moment of it.
	Rows int64
	// Time is how long all of them together were, in the unit of the times.
	Time float64
	// Left has one number more than there are causes: those censored in the stretch, then the
	// events of each cause.
	Left []int64
}

// Events returns the events of a cause in the stretch; cause 0 stands for any cause.
func (s Span) Events(cause int) int64 {
	if cause > 0 {
		return s.Left[cause]
	}
	var sum int64
	for _, n := range s.Left[1:] {
		sum += n
	}
	return sum
}

// Spans divides the follow-up of a group at the cuts, rising times above 0, and returns one span
// more than there are cuts. The last ends with the last exit; spans beyond it are empty. Rows
// count as one whatever their weight. The error is for cuts that do not rise.
//
// The cost is one pass over the distinct times. Times in whole days divided at whole, half and
// quarter days (a year is 365.25 days) are summed without any rounding.
func (c *Counts) Spans(group int, cuts ...float64) ([]Span, error) {
	previous := 0.0
	for i, t := range cuts {
		if !(t > previous && t <= math.MaxFloat64) {
			return nil, fmt.Errorf("cut %d is %v, want a number above %v", i, t, previous)
		}
		previous = t
	}
	w := spanWalk{tally: &c.groups[group], causes: c.causes, cuts: cuts}
	return w.spans(max(previous, c.LastTime(group))), nil
}

// spanWalk goes along the times at which the number under observation changes, or a cut lies.
type spanWalk struct {
	tally  *tally
	causes int
	cuts   []float64

	out        []Span
	time       numeric.Sum // of the last span
	here       int64
	at         float64
	left, late int // next cells to come
}

func (w *spanWalk) spans(end float64) []Span {
	w.here = w.tally.start
	w.open(0)
	for _, cut := range w.cuts {
		w.walkTo(cut)
		w.close(cut)
		w.open(cut)
	}
	w.walkTo(math.Inf(1))
	w.close(end)
	return w.out
}

func (w *spanWalk) open(from float64) {
	w.out = append(w.out, Span{From: from, Rows: w.here, Left: make([]int64, w.causes+1)})
	w.time = numeric.Sum{}
}

func (w *spanWalk) close(to float64) {
	if w.here > 0 {
		w.pass(to)
	}
	last := &w.out[len(w.out)-1]
	last.To, last.Time = to, w.time.Value()
}

// pass lets time go by for those who are here.
func (w *spanWalk) pass(to float64) {
	w.time.Add(float64(float64(w.here) * (to - w.at)))
	w.at = to
}

// walkTo takes all who leave up to and including t, and all who enter before t.
func (w *spanWalk) walkTo(t float64) {
	left, entered := &w.tally.left, &w.tally.entered
	span := &w.out[len(w.out)-1]
	for {
		leaves := w.left < left.len() && left.time(w.left) <= t
		enters := w.late < entered.len() && entered.time(w.late) < t
		switch {
		case leaves && (!enters || left.time(w.left) <= entered.time(w.late)):
			n := int64(left.count[w.left])
			w.pass(left.time(w.left))
			w.here -= n
			span.Left[left.causeOf(w.left)] += n
			w.left++
		case enters:
			n := int64(entered.count[w.late])
			w.pass(entered.time(w.late))
			w.here += n
			span.Rows += n
			w.late++
		default:
			return
		}
	}
}
