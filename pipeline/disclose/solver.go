package disclose

// span is the least and the most that a number can be.
type span struct{ lo, hi int }

// solver is what a reader can try: it knows the shown numbers, the range of each hidden one and all relations, and looks
// for tables of whole numbers that agree with them. The true numbers are always such a table, so a search starts from
// there and looks only at what must move. Its cost goes with the few numbers that a change drags along, not with the report.
type solver struct {
	truth  []int
	rows   []relation
	rowsOf [][]int // relations of each number
	ranges []span
	trail  []narrowing
	latest [][2]int // the last narrowing of each number's lower and upper end; -1 where there is none
	due    []int    // relations to look at, each once
	isDue  []bool
	steps  int        // left before a search gives up
	found  []sighting // numbers that the last table has different from the true ones
	blame  *blame     // gathers the relations that rule a value out; nil when nobody asks
}

// narrowing is one step of the reasoning: an end of a range that moved.
type narrowing struct {
	number, end int // end: lower or upper
	old         int
	row         int  // the relation that moved it, -1 if it was assumed
	byLeast     bool // by the least that the others of the row can be, not by the most
	before      int  // the narrowing of the same end before this one
}

// The ends of a range.
const (
	lower = iota
	upper
)

func newSolver(b *board, rangeOf func(number int) span) *solver {
	s := &solver{rows: b.relations, rowsOf: b.relatedBy, ranges: make([]span, len(b.numbers)),
		latest: make([][2]int, len(b.numbers)), isDue: make([]bool, len(b.relations))}
	for i, n := range b.numbers {
		s.truth = append(s.truth, n.value)
		s.ranges[i] = rangeOf(i)
		s.latest[i] = [2]int{-1, -1}
	}
	return s
}

// narrowLimit bounds the narrowings of one step of a search. Ranges that still move then creep by one in a circle, and
// the search goes on with them as they are.
const narrowLimit = 300

// narrow tightens ranges until no relation that is due tightens any more, and reports false when one cannot hold.
func (s *solver) narrow() bool {
	stop := len(s.trail) + narrowLimit
	for i := 0; i < len(s.due); i++ {
		row := s.due[i]
		s.isDue[row] = false
		if len(s.trail) < stop && !s.narrowBy(row) {
			s.forget(i + 1)
			return false
		}
	}
	s.forget(len(s.due))
	return true
}

// forget empties the list of relations that are due; those from position from on have not been looked at.
func (s *solver) forget(from int) {
	for _, row := range s.due[from:] {
		s.isDue[row] = false
	}
	s.due = s.due[:0]
}

// narrowBy tightens the range of each number of a relation by the least and the most that the others can add up to.
func (s *solver) narrowBy(row int) bool {
	r := &s.rows[row]
	least, most := 0, 0
	for _, t := range r.terms {
		l, m := t.bounds(s.ranges)
		least, most = least+l, most+m
	}
	if least > 0 || most < 0 && !r.atMost {
		s.blame.conflict(s, row, least > 0)
		return false
	}
	for _, t := range r.terms {
		l, m := t.bounds(s.ranges)
		// factor times x is at most this, and at least that unless the relation only bounds from above.
		if above := l - least; m > above && !s.tighten(row, t, above, true) {
			return false
		}
		if below := m - most; l < below && !r.atMost && !s.tighten(row, t, below, false) {
			return false
		}
		nl, nm := t.bounds(s.ranges)
		least, most = least+nl-l, most+nm-m
	}
	return true
}

// tighten moves an end of a number's range so that factor times it is at most the bound (byLeast) or at least it.
func (s *solver) tighten(row int, t term, bound int, byLeast bool) bool {
	end := t.end(byLeast)
	to := -floorDiv(-bound, t.factor)
	if end == upper {
		to = floorDiv(bound, t.factor)
	}
	r := s.ranges[t.number]
	s.move(narrowing{number: t.number, end: end, row: row, byLeast: byLeast}, to)
	if end == upper && to < r.lo || end == lower && to > r.hi {
		s.blame.choice(s, t.number)
		return false
	}
	return true
}

// move notes a narrowing, carries it out, and makes the relations of its number due.
func (s *solver) move(n narrowing, to int) {
	r := &s.ranges[n.number]
	p := &r.lo
	if n.end == upper {
		p = &r.hi
	}
	n.old, n.before = *p, s.latest[n.number][n.end]
	s.latest[n.number][n.end] = len(s.trail)
	s.trail = append(s.trail, n)
	*p = to
	for _, row := range s.rowsOf[n.number] {
		if !s.isDue[row] {
			s.isDue[row] = true
			s.due = append(s.due, row)
		}
	}
}

// assume narrows a number to a range within its present one.
func (s *solver) assume(number int, to span) {
	if s.ranges[number].lo != to.lo {
		s.move(narrowing{number: number, end: lower, row: -1}, to.lo)
	}
	if s.ranges[number].hi != to.hi {
		s.move(narrowing{number: number, end: upper, row: -1}, to.hi)
	}
}

// undo takes back the narrowings beyond the first so many.
func (s *solver) undo(keep int) {
	for i := len(s.trail) - 1; i >= keep; i-- {
		n := s.trail[i]
		if n.end == upper {
			s.ranges[n.number].hi = n.old
		} else {
			s.ranges[n.number].lo = n.old
		}
		s.latest[n.number][n.end] = n.before
	}
	s.trail = s.trail[:keep]
	s.forget(0)
	s.blame.undo(keep)
}

// end is the end of the number's range at which factor times number is least, or most.
func (t term) end(most bool) int {
	if (t.factor > 0) == most {
		return upper
	}
	return lower
}

// bounds are the least and the most of factor times number.
func (t term) bounds(ranges []span) (least, most int) {
	r := ranges[t.number]
	if t.factor > 0 {
		return t.factor * r.lo, t.factor * r.hi
	}
	return t.factor * r.hi, t.factor * r.lo
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}
