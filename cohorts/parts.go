package cohorts

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// partSize is how many items one piece of parallel work has. It is fixed, so that what is made of the pieces, one after
// the other, does not depend on the number of processors.
const partSize = 1 << 15

// inParts calls work once for every part of 0 … n-1, in parallel.
func inParts(n int, work func(part, from, to int)) {
	parts := countParts(n)
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(parts, runtime.GOMAXPROCS(0)) {
		wait.Go(func() {
			for part := int(next.Add(1)) - 1; part < parts; part = int(next.Add(1)) - 1 {
				work(part, part*partSize, min((part+1)*partSize, n))
			}
		})
	}
	wait.Wait()
}

func countParts(n int) int { return (n + partSize - 1) / partSize }

// buckets are the rows of a table by key, found by counting.
type buckets struct {
	start []int32 // start[k] … start[k+1] are the rows of key k
	rows  []int32
}

// newBuckets puts every row into the bucket of its key, 0 … n-1; a row with a negative key is in none.
func newBuckets(keys []int32, n int) buckets {
	b := buckets{start: make([]int32, n+1)}
	for _, k := range keys {
		if k >= 0 {
			b.start[k+1]++
		}
	}
	for k := range n {
		b.start[k+1] += b.start[k]
	}
	b.rows = make([]int32, b.start[n])
	next := append([]int32(nil), b.start[:n]...)
	for row, k := range keys {
		if k >= 0 {
			b.rows[next[k]] = int32(row)
			next[k]++
		}
	}
	return b
}

// of returns the rows of a key. The zero value of buckets has none.
func (b buckets) of(key int32) []int32 {
	if b.start == nil {
		return nil
	}
	return b.rows[b.start[key]:b.start[key+1]]
}
