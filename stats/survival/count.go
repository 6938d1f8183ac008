package survival

import (
	"runtime"

	"deltoid/stats/numeric"
)

// Count counts the rows of d. The error is a *RowError for the first row that cannot be
// counted, or says which columns differ in length.
//
// Time is linear in the rows. Where groups × times × causes is small beside the number of rows
// each processor counts into a table of its own and the tables are added; with many groups the rows
// are sorted by group first and one small table serves one group after the other; where even that
// would be mostly empty the rows are sorted by digits. Whole numbers are counted, so the way it is done cannot be seen in the
// result. Memory beyond the rows is at most 16 bytes a row.
func Count(d Data) (*Counts, error) {
	d, err := d.normal()
	if err != nil {
		return nil, err
	}
	last, err := checkRows(d)
	if err != nil {
		return nil, err
	}
	return countTicks(d, last, nil), nil
}

// countTicks counts rows known to be good. Exit and Entry are places in times; nil times means
// that they are the times.
func countTicks(d Data, last int32, times []float64) *Counts {
	c := &Counts{causes: d.Causes, groups: make([]tally, d.Groups)}
	exits := lane{tick: d.Exit, cause: d.Cause, group: d.Group, causes: d.Causes + 1, ticks: int(last) + 1, groups: d.Groups}
	for g, left := range exits.count(times) {
		n := left.total()
		c.groups[g] = tally{n: n, start: n, left: left}
	}
	if d.Weight != nil {
		c.weigh(d, leaving)
	}
	if d.Entry == nil {
		return c
	}
	entries := lane{tick: d.Entry, group: d.Group, causes: 1, ticks: int(last) + 1, groups: d.Groups}
	for g, entered := range entries.count(times) {
		if entered.len() > 0 && entered.tick[0] == 0 {
			entered = entered.part(1, entered.len())
		}
		c.groups[g].entered = entered
		c.groups[g].start -= entered.total()
	}
	if d.Weight != nil {
		c.weigh(d, entering)
	}
	return c
}

// lane is one thing to be counted: rows by group, tick and cause.
type lane struct {
	tick   []int32
	cause  []uint8 // nil: all 0
	group  []int32 // nil: all 0
	causes int     // including 0
	ticks  int
	groups int
}

// count returns the combinations that occur, by group, ordered by tick and cause.
func (l lane) count(times []float64) []cells {
	groups := make([]cells, l.groups)
	switch {
	case l.byGroupPays() && l.ticks*l.causes <= 1<<16:
		countByGroup[uint16](l, groups)
	case l.byGroupPays():
		countByGroup[uint32](l, groups)
	case l.tableFits():
		l.countInTable(groups)
	case l.keyBits() <= 32:
		countBySorting[uint32](l, groups)
	default:
		countBySorting[uint64](l, groups)
	}
	for g := range groups {
		groups[g].times = times
	}
	return groups
}

// smallTable is a number of cells that fits beside the rows in the fast memory of any
// processor in use: 1 MiB.
const smallTable = 1 << 18

func (l lane) cells() int { return l.groups * l.ticks * l.causes }

// tableFits says whether one table of all combinations is small, or costs at most the 16
// bytes a row that sorting would. The float64 product cannot overflow.
func (l lane) tableFits() bool {
	cells := float64(l.groups) * float64(l.ticks) * float64(l.causes)
	return cells <= smallTable || cells <= 4*float64(len(l.tick))
}

func (l lane) countInTable(groups []cells) {
	table := l.fillTables()
	found := 0
	for _, n := range table {
		if n > 0 {
			found++
		}
	}
	all := makeCells(found, l.causes)
	at, next := 0, 0
	for g := range groups {
		from := next
		for tick := range l.ticks {
			for cause := range l.causes {
				if n := table[at]; n > 0 {
					all.put(next, tick, n, cause)
					next++
				}
				at++
			}
		}
		groups[g] = all.part(from, next)
	}
}

// rowsPerWorker is the fewest rows worth a goroutine of their own.
const rowsPerWorker = 1 << 16

// workers returns how many tables may be filled at once, within 16 bytes a row.
func (l lane) workers() int {
	n := min(runtime.GOMAXPROCS(0), len(l.tick)/rowsPerWorker)
	if l.cells() > smallTable {
		n = min(n, 4*len(l.tick)/l.cells())
	}
	return max(n, 1)
}

// fillTables counts in parallel and returns the sum of the tables.
func (l lane) fillTables() []uint32 {
	workers := l.workers()
	tables := make([][]uint32, workers)
	numeric.InParallel(len(l.tick), workers, func(worker, from, to int) {
		tables[worker] = make([]uint32, l.cells())
		l.fill(tables[worker], from, to)
	})
	for _, t := range tables[1:] {
		for i, n := range t {
			tables[0][i] += n
		}
	}
	return tables[0]
}

// fill counts rows from to to. It is the loop that all rows go through, hence the four forms
// without a test inside.
func (l lane) fill(table []uint32, from, to int) {
	tick := l.tick[from:to]
	switch {
	case l.group == nil && l.cause == nil:
		for _, t := range tick {
			table[t]++
		}
	case l.group == nil:
		cause := l.cause[from:to][:len(tick)]
		for i, t := range tick {
			table[int(t)*l.causes+int(cause[i])]++
		}
	case l.cause == nil:
		group := l.group[from:to][:len(tick)]
		for i, t := range tick {
			table[int(group[i])*l.ticks+int(t)]++
		}
	default:
		cause, group := l.cause[from:to][:len(tick)], l.group[from:to][:len(tick)]
		perGroup, perTick := l.ticks*l.causes, l.causes
		for i, t := range tick {
			table[int(group[i])*perGroup+int(t)*perTick+int(cause[i])]++
		}
	}
}
