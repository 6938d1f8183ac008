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
	places, last := 0, int32(0)
	for i := range c.groups {
		g := &c.groups[i]
		if g.leftWeight != nil || g.left.times != nil {
			return tally{}, false
		}
		places += g.left.len()
		if n := g.left.len(); n > 0 {
			last = max(last, g.left.tick[n-1])
		}
	}
	width := c.causes + 1
	if (float64(last)+1)*float64(width) > float64(places) {
		return tally{}, false
	}
	size := (int(last) + 1) * width
	out := tally{}
	left, entered := make([]int64, size), make([]int64, int(last)+1)
	for i := range c.groups {
		g := &c.groups[i]
		out.n, out.start = out.n+g.n, out.start+g.start
		addTo(left, &g.left, width)
		addTo(entered, &g.entered, 1)
	}
	var ok1, ok2 bool
	out.left, ok1 = fromTable(left, width)
	out.entered, ok2 = fromTable(entered, 1)
	return out, ok1 && ok2
}

// addTo adds cells to a table of time and cause.
func addTo(table []int64, from *cells, width int) {
	for i, n := range from.count {
		table[int(from.tick[i])*width+int(from.causeOf(i))] += int64(n)
	}
}

// fromTable returns the cells of a table; false if one does not fit a cell.
func fromTable(table []int64, width int) (out cells, ok bool) {
	found := 0
	for _, n := range table {
		if n > math.MaxUint32 {
			return cells{}, false
		}
		if n > 0 {
			found++
		}
	}
	out, next := makeCells(found, width), 0
	for at, n := range table {
		if n > 0 {
			out.put(next, at/width, uint32(n), at%width)
			next++
		}
	}
	return out, true
}
