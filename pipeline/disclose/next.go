package disclose

import (
	"cmp"
	"slices"
)

// candidate is a shown number that could be hidden next.
type candidate struct {
	number  int
	alone   bool // stands in a sum in which one number only is unknown
	isWhole bool
	useless bool // stands in no relation that rules a value out, so that to hide it alone changes nothing
}

// candidateLimit bounds how many are tried on their own before the first is taken; beyond it the order alone decides.
const candidateLimit = 40

// hideFor hides the first shown number that makes n safe; failing that, the first at all. It returns the number, or -1 if
// nothing is left to hide.
func (b *board) hideFor(n int) int {
	cs := b.candidates(n)
	if len(cs) == 0 {
		return -1
	}
	for _, c := range cs[:min(len(cs), candidateLimit)] {
		if c.useless {
			continue
		}
		fresh := b.release(c.number)
		if b.safe(n) {
			return c.number
		}
		b.takeBack(fresh)
	}
	b.release(cs[0].number)
	return cs[0].number
}

// release hides a number from the solvers too, with all that no estimate prints any more. It returns the estimates that
// were masked for it.
func (b *board) release(n int) []int {
	fresh := b.hide(n)
	b.tellSolvers(fresh)
	return fresh
}

// takeBack undoes a release. Tables that were found in the meantime may no longer fit and are forgotten.
func (b *board) takeBack(fresh []int) {
	for _, e := range fresh {
		b.masked[e] = false
	}
	b.tellSolvers(fresh)
	b.fresh = b.fresh[:0]
}

func (b *board) tellSolvers(estimates []int) {
	for _, e := range estimates {
		for _, n := range b.prints[e].all() {
			for r, s := range b.solvers {
				s.ranges[n] = b.rangeOf(n, reader(r))
			}
		}
	}
}

// candidates returns the shown numbers related to n through hidden ones, in the order of the package comment, those in
// sums with a single unknown first. In the closer of two orders they are only those of the relations that rule out values of n.
func (b *board) candidates(n int) []candidate {
	ruling := b.shownIn(b.ruling(n))
	cs := ruling
	if !b.closely || len(ruling) == 0 {
		cs = b.shownIn(b.connected(n))
	}
	helps := map[int]bool{}
	for _, c := range ruling {
		helps[c.number] = true
	}
	for i := range cs {
		cs[i].useless = len(ruling) > 0 && !helps[cs[i].number]
	}
	slices.SortFunc(cs, b.compare)
	return cs
}

// ruling returns the relations that rule out values of n.
func (b *board) ruling(n int) []int {
	blamed := &blame{isIn: make([]bool, len(b.relations))}
	for _, s := range b.solvers {
		s.blame = blamed
		defer func() { s.blame = nil }()
	}
	b.safe(n)
	return blamed.rows
}

// connected returns the relations of n and of all hidden numbers that hang together with it.
func (b *board) connected(n int) (rows []int) {
	taken, reached := map[int]bool{}, map[int]bool{n: true}
	for open := []int{n}; len(open) > 0; {
		x := open[0]
		open = open[1:]
		for _, r := range b.relatedBy[x] {
			if taken[r] {
				continue
			}
			taken[r] = true
			rows = append(rows, r)
			for _, t := range b.relations[r].terms {
				if !reached[t.number] && !b.shown(t.number) {
					reached[t.number] = true
					open = append(open, t.number)
				}
			}
		}
	}
	return rows
}

// shownIn returns the shown numbers of some relations.
func (b *board) shownIn(rows []int) []candidate {
	var cs []candidate
	at := map[int]int{}
	for _, row := range rows {
		r := b.relations[row]
		alone := !r.atMost && b.unknowns(r) == 1
		for _, t := range r.terms {
			if !b.shown(t.number) {
				continue
			}
			i, ok := at[t.number]
			if !ok {
				i = len(cs)
				at[t.number] = i
				cs = append(cs, candidate{number: t.number, isWhole: true})
			}
			cs[i].alone = cs[i].alone || alone
			cs[i].isWhole = cs[i].isWhole && (t.factor > 0) != r.atMost
		}
	}
	return cs
}

func (b *board) unknowns(r relation) int {
	count := 0
	for _, t := range r.terms {
		if !b.shown(t.number) {
			count++
		}
	}
	return count
}

func (b *board) byName(x, y int) int { return cmp.Compare(b.numbers[x].name, b.numbers[y].name) }

func (b *board) compare(x, y candidate) int {
	rank := func(c candidate) int {
		switch {
		case b.numbers[c.number].value == 0:
			return 2
		case c.isWhole:
			return 1
		}
		return 0
	}
	return cmp.Or(
		-compareBool(x.alone, y.alone),
		cmp.Compare(rank(x), rank(y)),
		cmp.Compare(b.numbers[x.number].value, b.numbers[y.number].value),
		b.byName(x.number, y.number),
		cmp.Compare(x.number, y.number))
}

func compareBool(x, y bool) int {
	switch {
	case x == y:
		return 0
	case x:
		return 1
	}
	return -1
}
