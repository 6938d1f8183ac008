package survival

// Walk follows a group along ascending times, from its counts alone: what a LifeTable says without
// the memory of one. The zero value is not of use; see Counts.Walk.
type Walk struct {
	tally   *tally
	out, in int // next cells
	here    int64
}

// Walk returns a walk at the start of the follow-up of a group.
func (c *Counts) Walk(group int) Walk {
	t := &c.groups[group]
	return Walk{tally: t, here: t.start}
}

// To moves to time t, not before any time asked for so far, and returns the number at risk there. It
// counts those who leave at t in left, which has a number for each cause with censored first.
func (w *Walk) To(t float64, left []int64) (atRisk int64) {
	clear(left)
	out, in := &w.tally.left, &w.tally.entered
	for ; w.out < out.len() && out.time(w.out) < t; w.out++ {
		w.here -= int64(out.count[w.out])
	}
	for ; w.in < in.len() && in.time(w.in) < t; w.in++ {
		w.here += int64(in.count[w.in])
	}
	for i := w.out; i < out.len() && out.time(i) == t; i++ {
		left[out.causeOf(i)] += int64(out.count[i])
	}
	return w.here
}
