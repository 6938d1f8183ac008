package survival

import (
	"runtime"

	"deltoid/stats/numeric"
)

// checkRows returns the largest exit, or the first bad row.
func checkRows(d Data) (last int32, err error) {
	workers := max(1, min(runtime.GOMAXPROCS(0), len(d.Exit)/rowsPerWorker))
	lasts := make([]int32, workers)
	bad := make([]int, workers)
	numeric.InParallel(len(d.Exit), workers, func(worker, from, to int) {
		lasts[worker], bad[worker] = d.scan(from, to)
	})
	for w := range workers {
		if bad[w] >= 0 {
			return 0, d.rowError(bad[w])
		}
		last = max(last, lasts[w])
	}
	return last, nil
}

// scan looks at rows from to to: the largest exit, and the first bad row or −1. Whether any row
// is bad is found first, without branches; which one, only if there is one.
func (d Data) scan(from, to int) (last int32, bad int) {
	smallest, last := span(d.Exit[from:to])
	// The sign bit of trouble is set once any column went out of its range.
	trouble := smallest | (int32(d.Causes) - int32(largest(d.Cause[from:to])))
	if d.Group != nil {
		low, high := span(d.Group[from:to])
		trouble |= low | (int32(d.Groups-1) - high)
	}
	if trouble >= 0 && d.Entry == nil && d.Weight == nil && d.Cluster == nil {
		return last, -1
	}
	for i := from; i < to; i++ {
		if d.rowIsBad(i) {
			return last, i
		}
	}
	return last, -1
}

// span returns a negative number if the column has one, otherwise 0, and its largest number if
// that is positive, otherwise 0. Four run side by side, because each has to wait for the one before.
func span(column []int32) (low, high int32) {
	var or1, or2, max1, max2, max3, max4 int32
	for len(column) >= 4 {
		a, b, c, d := column[0], column[1], column[2], column[3]
		or1, or2 = or1|a|b, or2|c|d
		max1, max2, max3, max4 = max(max1, a), max(max2, b), max(max3, c), max(max4, d)
		column = column[4:]
	}
	for _, x := range column {
		or1, max1 = or1|x, max(max1, x)
	}
	return min(0, or1|or2), max(max1, max2, max3, max4)
}

// largest returns the largest number of a column.
func largest(column []uint8) uint8 {
	var max1, max2, max3, max4 uint8
	for len(column) >= 4 {
		a, b, c, d := column[0], column[1], column[2], column[3]
		max1, max2, max3, max4 = max(max1, a), max(max2, b), max(max3, c), max(max4, d)
		column = column[4:]
	}
	for _, x := range column {
		max1 = max(max1, x)
	}
	return max(max1, max2, max3, max4)
}

func (d Data) rowIsBad(i int) bool {
	if d.Exit[i] < 0 || int(d.Cause[i]) > d.Causes {
		return true
	}
	if d.Group != nil && uint32(d.Group[i]) >= uint32(d.Groups) {
		return true
	}
	if d.Weight != nil && !isWeight(d.Weight[i]) || d.Cluster != nil && d.Cluster[i] < 0 {
		return true
	}
	return d.Entry != nil && d.Entry[i] != 0 && (d.Entry[i] < 0 || d.Entry[i] >= d.Exit[i])
}
