package survival

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

// walker follows one group along ascending times.
type walker struct {
	tally      *tally
	cause      int
	left, late int   // next cells
	here       int64 // people at risk
	// Sums of weights from each cell on, 0 after the last; nil without weights.
	toLeave, toEnter []float64
}

func newWalker(t *tally, cause int) walker {
	w := walker{tally: t, cause: cause, here: t.start}
	if t.leftWeight != nil {
		w.toLeave, w.toEnter = fromEnd(t.leftWeight), fromEnd(t.enteredWeight)
	}
	return w
}

func walkers(c *Counts, cause int) []walker {
	out := make([]walker, c.Groups())
	for g := range out {
		out[g] = newWalker(&c.groups[g], cause)
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

// at moves to time t and returns what is at risk and what has the event there: people, or their
// weights.
func (w *walker) at(t float64) (atRisk, events float64) {
	atRisk = w.atRisk(t)
	left := w.tally.left
	for i := w.left; i < len(left) && left[i].time == t; i++ {
		if isEvent(left[i].cause, w.cause) {
			events += weightOf(left, w.tally.leftWeight, i)
		}
	}
	return atRisk, events
}

// atRisk moves to time t and returns what is at risk there: all who leave from there on less all
// who are still to come, sums of positive numbers, unlike what is left over after taking away.
func (w *walker) atRisk(t float64) float64 {
	left, entered := w.tally.left, w.tally.entered
	for w.left < len(left) && left[w.left].time < t {
		w.here -= int64(left[w.left].count)
		w.left++
	}
	for w.late < len(entered) && entered[w.late].time < t {
		w.here += int64(entered[w.late].count)
		w.late++
	}
	if w.toLeave == nil {
		return float64(w.here)
	}
	return max(0, w.toLeave[w.left]-w.toEnter[w.late])
}

// shares puts the shares of all at risk that a group has at some times, from one on, into a lane of
// a panel.
func (w *walker) shares(panel [][4]float64, lane int, times *eventTimes, from int) {
	for i := range panel {
		panel[i][lane&3] = w.atRisk(times.time[from+i]) / times.n[from+i]
	}
}
