package survival

import "runtime"

// checkRows returns the largest exit, or the first bad row.
func checkRows(d Data) (last int32, err error) {
	workers := max(1, min(runtime.GOMAXPROCS(0), len(d.Exit)/rowsPerWorker))
	lasts := make([]int32, workers)
	bad := make([]int, workers)
	inParallel(len(d.Exit), workers, func(worker, from, to int) {
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
	// The sign bit of trouble is set once any column went out of its range.
	var trouble int32
	for _, t := range d.Exit[from:to] {
		trouble |= t
		last = max(last, t)
	}
	causes := int32(d.Causes)
	for _, c := range d.Cause[from:to] {
		trouble |= causes - int32(c)
	}
	if d.Group != nil {
		top := int32(d.Groups - 1)
		for _, g := range d.Group[from:to] {
			trouble |= g | (top - g)
		}
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
