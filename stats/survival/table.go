package survival

// LifeTable is the counts of one group laid out by time: one element for each distinct time at
// which anybody left, ascending.
type LifeTable struct {
	Time   []float64
	AtRisk []int64
	// Left has Causes+1 numbers for each time: those censored, then the events of each cause.
	Left   []int64
	Causes int
	// Weighted counts beside AtRisk and Left: sums of weights, nil where every row counts for 1.
	WeightAtRisk, WeightLeft []float64
}

// LifeTable lays out the counts of a group.
func (c *Counts) LifeTable(group int) *LifeTable {
	g := &c.groups[group]
	times := 0
	for i := range g.left.tick {
		if g.left.first(i) {
			times++
		}
	}
	width := c.causes + 1
	t := &LifeTable{Time: make([]float64, times), AtRisk: make([]int64, times), Left: make([]int64, times*width), Causes: c.causes}
	row, here, late := -1, g.start, 0
	for i, n := range g.left.count {
		if g.left.first(i) {
			time := g.left.time(i)
			for ; late < g.entered.len() && g.entered.time(late) < time; late++ {
				here += int64(g.entered.count[late])
			}
			row++
			t.Time[row], t.AtRisk[row] = time, here
		}
		t.Left[row*width+int(g.left.causeOf(i))] = int64(n)
		here -= int64(n)
	}
	if g.leftWeight != nil {
		t.addWeights(g)
	}
	return t
}

// addWeights fills in the sums of weights.
func (t *LifeTable) addWeights(g *tally) {
	t.WeightAtRisk, t.WeightLeft = g.massAt(t.Time), make([]float64, len(t.Left))
	row := -1
	for i, w := range g.leftWeight {
		if g.left.first(i) {
			row++
		}
		t.WeightLeft[row*(t.Causes+1)+int(g.left.causeOf(i))] = w
	}
}

// massAt returns the sum of weights at risk at each of some ascending times (of people, without
// weights). It is summed from the end, as all who leave from there on less all who are still to
// come: sums of positive numbers, unlike what is left over after taking away.
func (t *tally) massAt(times []float64) []float64 {
	out := make([]float64, len(times))
	next, late := t.left.len()-1, t.entered.len()-1
	toLeave, toEnter := 0.0, 0.0
	for row := len(times) - 1; row >= 0; row-- {
		for ; next >= 0 && t.left.time(next) >= times[row]; next-- {
			toLeave += weightOf(&t.left, t.leftWeight, next)
		}
		for ; late >= 0 && t.entered.time(late) >= times[row]; late-- {
			toEnter += weightOf(&t.entered, t.enteredWeight, late)
		}
		out[row] = max(0, toLeave-toEnter)
	}
	return out
}

// Weighted says whether the table has weights.
func (t *LifeTable) Weighted() bool { return t.WeightLeft != nil }

// Mass returns what is at risk at a row of the table: people, or their weights if it has any.
func (t *LifeTable) Mass(row int) float64 {
	if t.Weighted() {
		return t.WeightAtRisk[row]
	}
	return float64(t.AtRisk[row])
}

// MassLeft returns what left at a row by a cause, 0 being censored, in the same measure.
func (t *LifeTable) MassLeft(row, cause int) float64 {
	at := row*(t.Causes+1) + cause
	if t.Weighted() {
		return t.WeightLeft[at]
	}
	return float64(t.Left[at])
}

// MassEvents returns the events of a cause (0: any) at a row in the same measure.
func (t *LifeTable) MassEvents(row, cause int) float64 {
	if cause > 0 {
		return t.MassLeft(row, cause)
	}
	sum := 0.0
	for k := 1; k <= t.Causes; k++ {
		sum += t.MassLeft(row, k)
	}
	return sum
}

// split returns the events of a cause (0: any) and the others who left, by time.
func (t *LifeTable) split(cause int) (events, others []int64) {
	events, others = make([]int64, len(t.Time)), make([]int64, len(t.Time))
	width := t.Causes + 1
	for row := range t.Time {
		for seen, n := range t.Left[row*width : (row+1)*width] {
			if isEvent(uint8(seen), cause) {
				events[row] += n
			} else {
				others[row] += n
			}
		}
	}
	return events, others
}
