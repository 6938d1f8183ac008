package cohorts

import (
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
)

// partSize is how many items one piece of parallel work has. It is fixed, so that what is made of the pieces, one after
// the other, does not depend on the number of processors.
const partSize = 1 << 15

// inParts calls work once for every part of 0 … n-1, in parallel.
func inParts(n int, work func(part, from, to int)) { inPartsOf(partSize, n, work) }

// inPartsOf is inParts with parts of another size, for items that are work enough each.
func inPartsOf(size, n int, work func(part, from, to int)) {
	parts := (n + size - 1) / size
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(parts, runtime.GOMAXPROCS(0)) {
		wait.Go(func() {
			for part := int(next.Add(1)) - 1; part < parts; part = int(next.Add(1)) - 1 {
				work(part, part*size, min((part+1)*size, n))
			}
		})
	}
	wait.Wait()
}

func countParts(n int) int { return (n + partSize - 1) / partSize }

// sortInParts sorts by a strict order, in parallel: parts first, then two neighbours into one until one is left. With a
// strict order the result does not depend on how the work is divided.
func sortInParts[T any](list []T, compare func(a, b T) int) {
	inParts(len(list), func(_, from, to int) { slices.SortFunc(list[from:to], compare) })
	other := make([]T, len(list))
	for width := partSize; width < len(list); width *= 2 {
		var wait sync.WaitGroup
		for from := 0; from < len(list); from += 2 * width {
			middle, to := min(from+width, len(list)), min(from+2*width, len(list))
			wait.Go(func() { merge(other[from:to], list[from:middle], list[middle:to], compare) })
		}
		wait.Wait()
		copy(list, other)
	}
}

// merge puts two sorted lists into one of their joint length.
func merge[T any](into, a, b []T, compare func(a, b T) int) {
	for i := range into {
		if len(b) == 0 || len(a) > 0 && compare(a[0], b[0]) <= 0 {
			into[i], a = a[0], a[1:]
		} else {
			into[i], b = b[0], b[1:]
		}
	}
}

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
