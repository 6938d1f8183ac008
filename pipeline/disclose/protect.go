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
	b.goals = make([]*goal, len(b.numbers))
	for r := range readers {
		b.dark[r] = newSolver(b, func(n int) span { return b.hiddenRange(n, r) })
	}
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
	for r := range readers {
		b.solvers[r] = newSolver(b, func(n int) span { return b.rangeOf(n, r) })
	}
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

// safe says whether a hidden number keeps enough possible values. Those that an earlier table showed need no search.
func (b *board) safe(n int) bool {
	g := b.goalOf(n)
	need := g.need
	var open []wish
	for _, w := range g.wishes {
		if slices.Contains(b.seen[n], w.value) {
			need--
		} else {
			open = append(open, w)
		}
	}
	for i, w := range open {
		if need <= 0 || len(open)-i < need {
			break
		}
		if b.grants(n, w) {
			need--
		}
	}
	return need <= 0
}

// grants says whether a table is found for a wish. A table of the insider tells something about every number in it; one of
// the outsider only about the wish, since other numbers may be out of their range in it.
func (b *board) grants(n int, w wish) bool {
	s := b.solvers[w.to]
	if !s.possible(n, w.value) {
		return false
	}
	if w.to == insider {
		b.fresh = append(b.fresh, s.found...)
	} else {
		b.fresh = append(b.fresh, sighting{n, w.value})
	}
	return true
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
