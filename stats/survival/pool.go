package survival

import "math"

// Pooled returns the counts of all groups taken as one group.
func (c *Counts) Pooled() *Counts {
	if t, ok := c.poolInTable(); ok {
		return &Counts{causes: c.causes, groups: []tally{t}}
	}
	return &Counts{causes: c.causes, groups: []tally{pool(c.groups)}}
}

// pool adds up tallies in pairs, so that no cell is copied more than log₂ len times.
func pool(groups []tally) tally {
	if len(groups) == 1 {
		return groups[0]
	}
	half := len(groups) / 2
	a, b := pool(groups[:half]), pool(groups[half:])
	sum, err := a.plus(&b)
	if err != nil {
		// One cell would have to hold more than four thousand million rows.
		panic(err)
	}
	return sum
}

// poolInTable adds up in a table of all whole times, where there are no others, no weights, and
// the table is not larger than what goes into it.
func (c *Counts) poolInTable() (tally, bool) {
	cells, last := 0, 0.0
	for _, g := range c.groups {
		if g.leftWeight != nil {
			return tally{}, false
		}
		cells += len(g.left)
		if n := len(g.left); n > 0 {
			last = max(last, g.left[n-1].time)
		}
	}
	width := c.causes + 1
	if (last+1)*float64(width) > float64(cells) {
		return tally{}, false
	}
	size := (int(last) + 1) * width
	out := tally{}
	left, entered := make([]int64, size), make([]int64, int(last)+1)
	for _, g := range c.groups {
		out.n, out.start = out.n+g.n, out.start+g.start
		if !addTo(left, g.left, width) || !addTo(entered, g.entered, 1) {
			return tally{}, false
		}
	}
	var ok1, ok2 bool
	out.left, ok1 = fromTable(left, width)
	out.entered, ok2 = fromTable(entered, 1)
	return out, ok1 && ok2
}

// addTo adds cells to a table of time and cause; false if a time is not whole.
func addTo(table []int64, cells []cell, width int) bool {
	for _, x := range cells {
		tick := int(x.time)
		if float64(tick) != x.time {
			return false
		}
		table[tick*width+int(x.cause)] += int64(x.count)
	}
	return true
}

// fromTable returns the cells of a table; false if one does not fit a cell.
func fromTable(table []int64, width int) (cells []cell, ok bool) {
	for at, n := range table {
		if n > math.MaxUint32 {
			return nil, false
		}
		if n > 0 {
			cells = append(cells, cell{float64(at / width), uint32(n), uint8(at % width)})
		}
	}
	return cells, true
}
