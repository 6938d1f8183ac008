package disclose

import (
	"slices"

	"deltoid/pipeline/report"
)

// hideSmall masks what is small, as much more as it takes to keep each hidden number from being worked out, and what is
// worked out from masked estimates. Of two orders in which more can be hidden it takes the one that masks less.
func (b *board) hideSmall(derived []report.Derived) {
	b.addRests()
	b.maskSmallGroups()
	var small []int
	for n := range b.numbers {
		if b.numbers[n].small {
			small = append(small, n)
			b.hide(n)
		}
	}
	slices.SortStableFunc(small, b.byName)
	b.maskFractions()
	b.maskBesideSmallRisk()
	start := b.masked
	for i, closely := range []bool{true, false} {
		c := *b
		c.masked, c.closely = slices.Clone(start), closely
		c.protect(slices.Clone(small))
		c.maskDerived(derived)
		if i == 0 || count(c.masked) < count(b.masked) {
			b.masked = c.masked
		}
	}
}

func count(masked []bool) (n int) {
	for _, m := range masked {
		if m {
			n++
		}
	}
	return n
}

// protect hides more until every number of the queue is safe.
//
// Hiding more never makes a safe number unsafe, since every table that fitted before still fits. Each hidden number is
// therefore looked at once, and the work ends because numbers are finite.
func (b *board) protect(queue []int) {
	b.solver = newSolver(b)
	b.seen, b.fresh = make([][]int, len(b.numbers)), nil
	for i := 0; i < len(queue); i++ {
		for !b.safe(queue[i]) {
			b.keep()
			next := b.hideFor(queue[i])
			if next < 0 {
				break
			}
			queue = append(queue, next)
		}
		b.keep()
	}
}

// safe says whether a hidden number keeps enough possible values: all of 1 to most if it is small, else that many, itself
// among them. Values that an earlier table showed need no search.
func (b *board) safe(n int) bool {
	values := b.wanted(n)
	need := b.most() - 1
	if b.numbers[n].small {
		need = len(values)
	}
	var open []int
	for _, v := range values {
		if slices.Contains(b.seen[n], v) {
			need--
		} else {
			open = append(open, v)
		}
	}
	for i, v := range open {
		if need <= 0 || len(open)-i < need {
			break
		}
		if b.solver.possible(n, v) {
			need--
			b.fresh = append(b.fresh, b.solver.found...)
		}
	}
	return need <= 0
}

// wanted lists the values besides its own that a number should keep.
func (b *board) wanted(n int) (values []int) {
	truth := b.numbers[n].value
	if b.numbers[n].small {
		for v := 1; v <= b.most(); v++ {
			if v != truth {
				values = append(values, v)
			}
		}
		return values
	}
	for d := 1; d <= 2*b.below; d++ {
		values = append(values, truth-d, truth+d)
	}
	return values
}

// keep remembers what the tables found so far show. They go on to fit when more is hidden.
func (b *board) keep() {
	for _, f := range b.fresh {
		off := f.value - b.numbers[f.number].value
		if max(off, -off) <= 2*b.below && !slices.Contains(b.seen[f.number], f.value) {
			b.seen[f.number] = append(b.seen[f.number], f.value)
		}
	}
	b.fresh = b.fresh[:0]
}
