package survival

import (
	"math"
	"runtime"

	"deltoid/stats/numeric"
)

// byGroupPays says whether to sort by group before counting: there are too many combinations for a
// table in fast memory, but not so many that going through those of each group would cost more than
// the rows do.
func (l lane) byGroupPays() bool {
	perGroup := float64(l.ticks) * float64(l.causes)
	cells := float64(l.groups) * perGroup
	return l.groups > 1 && l.group != nil && cells > smallTable && cells <= 16*float64(len(l.tick)) && perGroup <= math.MaxUint32
}

// countByGroup packs tick and cause of each row, sorts what it packed by group, and counts each
// group in a table of the ticks and causes. Groups are shared out among processors.
func countByGroup[K uint16 | uint32](l lane, groups []cells) {
	start := l.groupStarts()
	packed := scatter[K](l, start)
	workers := max(1, min(runtime.GOMAXPROCS(0), len(l.tick)/rowsPerWorker, l.groups))
	numeric.InParallel(l.groups, workers, func(_, first, last int) {
		table := make([]uint32, l.ticks*l.causes)
		for g := first; g < last; g++ {
			for _, at := range packed[start[g]:start[g+1]] {
				table[at]++
			}
			groups[g] = l.takeCells(table)
		}
	})
}

// groupStarts returns where each group starts once rows are sorted by group.
func (l lane) groupStarts() []int {
	start := make([]int, l.groups+1)
	for _, g := range l.group {
		start[g+1]++
	}
	for g := range l.groups {
		start[g+1] += start[g]
	}
	return start
}

func scatter[K uint16 | uint32](l lane, start []int) []K {
	next := append([]int(nil), start...)
	packed := make([]K, len(l.tick))
	for i, g := range l.group {
		at := K(int(l.tick[i]) * l.causes)
		if l.cause != nil {
			at += K(l.cause[i])
		}
		packed[next[g]] = at
		next[g]++
	}
	return packed
}

// takeCells returns the cells of a table that occur, and clears it. Every cell is written and kept
// only if it occurs: a branch that nobody can foresee would cost more.
func (l lane) takeCells(table []uint32) cells {
	found := 0
	for _, n := range table {
		if n > 0 {
			found++
		}
	}
	out := makeCells(found+1, l.causes)
	next, tick, cause := 0, 0, 0
	for _, n := range table {
		out.put(next, tick, n, cause)
		if n > 0 {
			next++
		}
		if cause++; cause == l.causes {
			tick, cause = tick+1, 0
		}
	}
	clear(table)
	return out.part(0, found)
}
