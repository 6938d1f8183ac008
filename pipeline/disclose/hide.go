package disclose

import (
	"cmp"
	"slices"

	"deltoid/pipeline/report"
)

// hideSmall masks what is small and then as much more as it takes to keep each hidden number from being worked out.
//
// Hiding more never makes a safe number unsafe, since every table that fitted before still fits. Each hidden number is
// therefore looked at once, and the work ends because numbers are finite.
func (b *board) hideSmall() {
	b.addRests()
	b.maskSmallGroups()
	var queue []int
	for n := range b.numbers {
		if b.numbers[n].small {
			queue = append(queue, n)
			b.hide(n)
		}
	}
	slices.SortStableFunc(queue, b.byName)
	b.maskFractions()
	b.maskBesideSmallRisk()
	for i := 0; i < len(queue); i++ {
		for !b.safe(queue[i]) {
			next := b.nextToHide(queue[i])
			if next < 0 {
				break
			}
			b.hide(next)
			queue = append(queue, next)
		}
	}
}

// maskDerived masks what is worked out from a masked estimate, and what is worked out from that.
func (b *board) maskDerived(derived []report.Derived) {
	for again := true; again; {
		again = false
		for _, d := range derived {
			i, ok := b.index[d.Estimate]
			if !ok || b.masked[i] || !slices.ContainsFunc(d.From, b.isMasked) {
				continue
			}
			b.masked[i], again = true, true
		}
	}
}

// isMasked says whether an estimate was masked here or came in masked.
func (b *board) isMasked(id string) bool {
	i, ok := b.index[id]
	return ok && (b.masked[i] || b.estimates[i].Status == report.Masked)
}

func (b *board) byName(x, y int) int { return cmp.Compare(b.numbers[x].name, b.numbers[y].name) }

func (b *board) hide(n int) {
	for _, e := range b.numbers[n].shownIn {
		b.masked[e] = true
	}
}

// addRests adds N-Events behind each probability where it is small: it is printed nowhere, but who sees both sees it.
func (b *board) addRests() {
	for i, e := range b.estimates {
		p := b.prints[i]
		if e.Unit != "probability" || p.n < 0 || p.events < 0 {
			continue
		}
		if rest := b.numbers[p.n].value - b.numbers[p.events].value; b.small(float64(rest)) {
			n := b.addNumber(e.ID, rest)
			b.numbers[n].small = true
			b.addsUp(p.n, []int{p.events, n})
			b.masked[i] = true
		}
	}
}

// maskFractions masks estimates with a small N or Events that is no whole number, such as a sum of weights.
func (b *board) maskFractions() {
	for i, e := range b.estimates {
		counted := ofPeople(e) && b.small(e.Value.X)
		if counted || b.small(known(e.N)) || b.small(known(e.Events)) {
			b.masked[i] = true
		}
	}
}

func known(o report.Optional) float64 {
	if !o.Known {
		return 0
	}
	return o.X
}

// maskSmallGroups masks the estimates without an N of their own in a group that the same analysis shows to be small.
func (b *board) maskSmallGroups() {
	type group struct{ analysis, cohort, endpoint, group string }
	small := map[group]bool{}
	for _, e := range b.estimates {
		if b.small(known(e.N)) {
			small[group{e.Analysis, e.Cohort, e.Endpoint, e.Group}] = true
		}
	}
	for i, e := range b.estimates {
		if !e.N.Known && e.Value.Known && !isCount(e) && small[group{e.Analysis, e.Cohort, e.Endpoint, e.Group}] {
			b.masked[i] = true
		}
	}
}

// maskBesideSmallRisk masks the estimates of a group at a time at which few of it are at risk.
func (b *board) maskBesideSmallRisk() {
	type moment struct {
		line
		at float64
	}
	few := map[moment]bool{}
	for _, e := range b.estimates {
		if isAtRisk(e) && b.small(e.Value.X) {
			few[moment{line{e.Cohort, e.Group, e.Endpoint, e.AtUnit}, e.At.X}] = true
		}
	}
	for i, e := range b.estimates {
		if e.Status == report.Masked || !e.At.Known || isCount(e) {
			continue
		}
		for _, endpoint := range []string{e.Endpoint, ""} {
			if few[moment{line{e.Cohort, e.Group, endpoint, e.AtUnit}, e.At.X}] {
				b.masked[i] = true
			}
		}
	}
}

// safe says whether a hidden number keeps enough possible values: all of 1 to most if it is small, else that many, itself
// among them.
func (b *board) safe(n int) bool {
	p := b.puzzleOf(n)
	if b.numbers[n].small {
		for v := 1; v <= b.most(); v++ {
			if !p.possible(v) {
				return false
			}
		}
		return true
	}
	count := 1
	for d := 1; d <= 2*b.below && count < b.most(); d++ {
		for _, v := range []int{p.truth[0] - d, p.truth[0] + d} {
			if p.possible(v) {
				count++
			}
		}
	}
	return count >= b.most()
}

// candidate is a shown number that could be hidden next.
type candidate struct {
	number  int
	alone   bool // stands in a sum in which one number only is unknown
	isWhole bool
}

// candidateLimit bounds how many are tried on their own before the first is taken; beyond it the order alone decides.
const candidateLimit = 40

// nextToHide returns the first shown number that makes n safe when hidden; failing that, the first at all; -1 if nothing
// is left.
func (b *board) nextToHide(n int) int {
	cs := b.candidates(n)
	for i, c := range cs {
		if i == candidateLimit {
			break
		}
		before := slices.Clone(b.masked)
		b.hide(c.number)
		enough := b.safe(n)
		b.masked = before
		if enough {
			return c.number
		}
	}
	if len(cs) == 0 {
		return -1
	}
	return cs[0].number
}

// candidates returns the shown numbers related to n through hidden ones, in the order of the package comment, those in
// sums with a single unknown first.
func (b *board) candidates(n int) []candidate {
	var cs []candidate
	at := map[int]int{}
	for _, x := range b.puzzleOf(n).numbers {
		for _, r := range b.relatedBy[x] {
			alone := !b.relations[r].atMost && b.unknowns(b.relations[r]) == 1
			for _, t := range b.relations[r].terms {
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
				cs[i].isWhole = cs[i].isWhole && (t.factor > 0) != b.relations[r].atMost
			}
		}
	}
	slices.SortFunc(cs, b.compare)
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
