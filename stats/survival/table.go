package survival

// LifeTable is the counts of one group laid out by time: one element for each distinct time at
// which anybody left, ascending.
type LifeTable struct {
	Time   []float64
	AtRisk []int64
	// Left has Causes+1 numbers for each time: those censored, then the events of each cause.
	Left   []int64
	Causes int
}

// LifeTable lays out the counts of a group.
func (c *Counts) LifeTable(group int) *LifeTable {
	g := &c.groups[group]
	times := 0
	for i, x := range g.left {
		if i == 0 || x.time != g.left[i-1].time {
			times++
		}
	}
	width := c.causes + 1
	t := &LifeTable{Time: make([]float64, times), AtRisk: make([]int64, times), Left: make([]int64, times*width), Causes: c.causes}
	row, here, entered := -1, g.start, g.entered
	for i, x := range g.left {
		if i == 0 || x.time != g.left[i-1].time {
			for len(entered) > 0 && entered[0].time < x.time {
				here += int64(entered[0].count)
				entered = entered[1:]
			}
			row++
			t.Time[row], t.AtRisk[row] = x.time, here
		}
		t.Left[row*width+int(x.cause)] = int64(x.count)
		here -= int64(x.count)
	}
	return t
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
