package survival

import "deltoid/stats/numeric"

// eventTimes is the times at which somebody in any group has the event.
type eventTimes struct {
	time   []float64
	n, d   []float64 // at risk and with the event, of all groups: people, or their weights
	weight []float64 // that the time has in a test
	factor []float64 // w² d(n−d)/(n−1), what it counts for in the hypergeometric variance
	people []int64   // at risk
	all    []bool    // all at risk have the event
}

func (c *Counts) eventTimes(cause int, w Weighting) *eventTimes {
	table := c.Pooled().LifeTable(0)
	events, _ := table.split(cause)
	along := weigher{Weighting: w, s: 1, peto: 1}
	e := &eventTimes{}
	for row, people := range events {
		n, d := table.Mass(row), table.MassEvents(row, cause)
		if people == 0 || !(d > 0 && n > 0) {
			continue
		}
		e.time, e.n, e.d = append(e.time, table.Time[row]), append(e.n, n), append(e.d, d)
		weight := along.next(n, d)
		e.weight, e.factor = append(e.weight, weight), append(e.factor, hypergeometric(weight, n, d))
		e.people, e.all = append(e.people, table.AtRisk[row]), append(e.all, people == table.AtRisk[row])
	}
	return e
}

func hypergeometric(weight, n, d float64) float64 {
	if !(n > 1 && d < n) {
		return 0
	}
	return float64(weight*weight) * d * ((n - d) / (n - 1))
}

// ticking finds the event times by the ticks of cells, which all groups share as a rule.
type ticking struct {
	times *eventTimes
	of    *cells  // whose ticks these are
	gone  []int32 // how many event times have gone by at the end of each tick
}

// ticks returns the ticking of some cells, the one at hand where it has the same ticks.
func (e *eventTimes) ticks(of *cells, atHand *ticking) *ticking {
	if atHand != nil && of.sameTicks(atHand.of) && (of.times != nil || of.lastTick() < len(atHand.gone)) {
		return atHand
	}
	n := of.lastTick() + 1
	if atHand != nil {
		n = max(n, len(atHand.gone))
	}
	if of.times != nil {
		n = len(of.times)
	}
	k := &ticking{times: e, of: of, gone: make([]int32, n)}
	gone := 0
	for tick := range k.gone {
		t := float64(tick)
		if of.times != nil {
			t = of.times[tick]
		}
		for gone < len(e.time) && e.time[gone] <= t {
			gone++
		}
		k.gone[tick] = int32(gone)
	}
	return k
}

// walker follows one group along the event times.
type walker struct {
	tally      *tally
	cause      int
	left, late *ticking
	out, in    int   // next cells
	here       int64 // people at risk
	// Sums of weights from each cell on, 0 after the last; nil without weights.
	toLeave, toEnter []float64
}

// walkers returns a walker for each group.
func (e *eventTimes) walkers(c *Counts, cause int) []walker {
	out := make([]walker, c.Groups())
	var left, late *ticking
	for g := range out {
		t := &c.groups[g]
		left, late = e.ticks(&t.left, left), e.ticks(&t.entered, late)
		out[g] = walker{tally: t, cause: cause, here: t.start, left: left, late: late}
		if t.leftWeight != nil {
			out[g].toLeave, out[g].toEnter = fromEnd(t.leftWeight), fromEnd(t.enteredWeight)
		}
	}
	return out
}

// fromEnd returns the sums of x from each place on.
func fromEnd(x []float64) []float64 {
	out := make([]float64, len(x)+1)
	for i := len(x) - 1; i >= 0; i-- {
		out[i] = out[i+1] + x[i]
	}
	return out
}

// steps is what a walker finds at some event times.
type steps struct {
	people [numeric.Stretch + 1]int64   // at risk
	atRisk [numeric.Stretch + 1]float64 // people, or their weights
	events [numeric.Stretch + 1]float64 // in the same measure
}

// along moves a group along event times from to to, no more than a stretch of them. Cells change
// what they change at their place, and one pass adds up: a walk from time to time would have to
// guess at each whether anything happened.
func (w *walker) along(from, to int, s *steps) {
	n := to - from
	people, events := s.people[:n+1], s.events[:n+1]
	clear(people)
	clear(events)
	out, in := w.out, w.in
	for left := &w.tally.left; w.out < left.len(); w.out++ {
		gone := int(w.left.gone[left.tick[w.out]])
		if gone > to {
			break
		}
		// Those who left when gone event times were over are at risk no more at the next.
		people[max(gone-from, 0)] -= int64(left.count[w.out])
		if gone > from && isEvent(left.causeOf(w.out), w.cause) {
			events[gone-from-1] += weightOf(left, w.tally.leftWeight, w.out)
		}
	}
	for late := &w.tally.entered; w.in < late.len(); w.in++ {
		gone := int(w.late.gone[late.tick[w.in]])
		if gone > to {
			break
		}
		people[max(gone-from, 0)] += int64(late.count[w.in])
	}
	here := w.here
	for i, change := range people {
		here += change
		people[i] = here
		s.atRisk[i] = float64(here)
	}
	w.here = here
	if w.toLeave != nil {
		w.weigh(from, to, out, in, s)
	}
}

// weigh sets what is at risk where rows have weights: all who leave from there on less all who are
// still to come, sums of positive numbers, unlike what is left over after taking away.
func (w *walker) weigh(from, to, out, in int, s *steps) {
	left, late := &w.tally.left, &w.tally.entered
	for i := range to - from {
		for out < left.len() && int(w.left.gone[left.tick[out]]) <= from+i {
			out++
		}
		for in < late.len() && int(w.late.gone[late.tick[in]]) <= from+i {
			in++
		}
		s.atRisk[i] = max(0, w.toLeave[out]-w.toEnter[in])
	}
}

// shares puts the shares of all at risk that a group has at event times from to to into a lane of a
// panel.
func (w *walker) shares(panel [][4]float64, lane int, times *eventTimes, from, to int) {
	var s steps
	w.along(from, to, &s)
	for i := range panel {
		panel[i][lane&3] = s.atRisk[i] / times.n[from+i]
	}
}
