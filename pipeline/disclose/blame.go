package disclose

// blame gathers the relations by which a search rules a value out. To loosen any other relation would not help: the
// same reasoning would still hold.
type blame struct {
	rows   []int // each once
	isIn   []bool
	marked []bool // narrowings of the trail that were followed up
	open   []int  // narrowings still to follow up
}

// conflict blames a relation that cannot hold, with all that led to it.
func (b *blame) conflict(s *solver, row int, byLeast bool) {
	if b == nil {
		return
	}
	b.because(s, row, byLeast, -1, len(s.trail))
	b.follow(s)
}

// choice blames all that narrowed the range of a number: one that became empty, or on which a search branches.
func (b *blame) choice(s *solver, number int) {
	if b == nil {
		return
	}
	b.mark(s.latest[number][lower])
	b.mark(s.latest[number][upper])
	b.follow(s)
}

// undo forgets the narrowings beyond the first so many, as the solver does.
func (b *blame) undo(keep int) {
	if b != nil && len(b.marked) > keep {
		b.marked = b.marked[:keep]
	}
}

// because blames a relation for a narrowing that it made when the trail was so long: its other numbers were at the ends
// of the ranges that they had then.
func (b *blame) because(s *solver, row int, byLeast bool, number, length int) {
	if !b.isIn[row] {
		b.isIn[row] = true
		b.rows = append(b.rows, row)
	}
	for _, t := range s.rows[row].terms {
		if t.number == number {
			continue
		}
		i := s.latest[t.number][t.end(!byLeast)]
		for i >= length {
			i = s.trail[i].before
		}
		b.mark(i)
	}
}

func (b *blame) mark(narrowing int) {
	for len(b.marked) <= narrowing {
		b.marked = append(b.marked, false)
	}
	if narrowing >= 0 && !b.marked[narrowing] {
		b.marked[narrowing] = true
		b.open = append(b.open, narrowing)
	}
}

func (b *blame) follow(s *solver) {
	for len(b.open) > 0 {
		i := b.open[len(b.open)-1]
		b.open = b.open[:len(b.open)-1]
		if n := s.trail[i]; n.row >= 0 {
			b.because(s, n.row, n.byLeast, n.number, i)
		}
	}
}
