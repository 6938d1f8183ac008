package disclose

// puzzle is what a reader can try to solve: the numbers not shown that hang together with one of them, the range that
// each can lie in, and the relations between them with the shown numbers filled in.
type puzzle struct {
	numbers []int // of the board
	truth   []int
	lo, hi  []int
	rows    []row
	steps   int // left before the search gives up
}

// row is a relation over the puzzle's unknowns: terms + rest is zero, or at most zero.
type row struct {
	terms  []term // number is a position in the puzzle
	rest   int
	atMost bool
}

// searchSteps bounds one search. A search that ends without a table counts as "no such table", so that a puzzle that is
// too large to search is masked further and never shown by mistake. Tables of a few dozen groups take tens of steps.
const searchSteps = 400

// puzzleOf collects the unknowns connected with number x and everything known about them.
func (b *board) puzzleOf(x int) *puzzle {
	p := &puzzle{}
	place := map[int]int{}
	add := func(n int) {
		if _, ok := place[n]; !ok && !b.shown(n) {
			place[n] = len(p.numbers)
			p.numbers = append(p.numbers, n)
		}
	}
	add(x)
	taken := map[int]bool{}
	for i := 0; i < len(p.numbers); i++ {
		for _, r := range b.relatedBy[p.numbers[i]] {
			if taken[r] {
				continue
			}
			taken[r] = true
			for _, t := range b.relations[r].terms {
				add(t.number)
			}
			p.rows = append(p.rows, b.rowOf(b.relations[r], place))
		}
	}
	b.setRanges(p)
	return p
}

func (b *board) rowOf(r relation, place map[int]int) row {
	out := row{atMost: r.atMost}
	for _, t := range r.terms {
		if at, ok := place[t.number]; ok {
			out.terms = append(out.terms, term{at, t.factor})
		} else {
			out.rest += t.factor * b.numbers[t.number].value
		}
	}
	return out
}

// setRanges gives a small number the range 1 to most and any other a range from 0 to well above every number.
func (b *board) setRanges(p *puzzle) {
	for _, n := range p.numbers {
		lo, hi := 0, b.top
		if b.numbers[n].small {
			lo, hi = 1, b.most()
		}
		p.truth = append(p.truth, b.numbers[n].value)
		p.lo, p.hi = append(p.lo, lo), append(p.hi, hi)
	}
}

// possible says whether a table exists in which the puzzle's first unknown has value v.
func (p *puzzle) possible(v int) bool {
	if v < p.lo[0] || v > p.hi[0] {
		return false
	}
	if v == p.truth[0] {
		return true
	}
	p.steps = searchSteps
	lo, hi := append([]int(nil), p.lo...), append([]int(nil), p.hi...)
	lo[0], hi[0] = v, v
	return p.search(lo, hi)
}

// search looks for a table within the ranges, close to the true one: it takes the true numbers as far as the ranges
// allow, and where a row is then broken it branches on the unknown of that row with the least room.
func (p *puzzle) search(lo, hi []int) bool {
	p.steps--
	if p.steps < 0 || !p.narrow(lo, hi) {
		return false
	}
	at := make([]int, len(lo))
	for i := range at {
		at[i] = min(max(p.truth[i], lo[i]), hi[i])
	}
	broken, off := p.broken(at)
	if broken == nil {
		return true
	}
	pick, factor := -1, 0
	for _, t := range broken.terms {
		if n := t.number; lo[n] < hi[n] && (pick < 0 || hi[n]-lo[n] < hi[pick]-lo[pick]) {
			pick, factor = n, t.factor
		}
	}
	return pick >= 0 && p.branch(lo, hi, pick, at[pick], at[pick]-off/factor)
}

// branch tries values of one unknown: first the one that mends the broken row, then outwards from its present value.
func (p *puzzle) branch(lo, hi []int, pick, now, mended int) bool {
	try := func(v int) bool {
		if v < lo[pick] || v > hi[pick] {
			return false
		}
		l, h := append([]int(nil), lo...), append([]int(nil), hi...)
		l[pick], h[pick] = v, v
		return p.search(l, h)
	}
	if try(mended) || try(now) {
		return true
	}
	for d := 1; d <= max(hi[pick]-now, now-lo[pick]) && p.steps > 0; d++ {
		if try(now-d) || try(now+d) {
			return true
		}
	}
	return false
}

// broken returns the first row that does not hold and by how much.
func (p *puzzle) broken(at []int) (*row, int) {
	for i := range p.rows {
		r := &p.rows[i]
		sum := r.rest
		for _, t := range r.terms {
			sum += t.factor * at[t.number]
		}
		if sum > 0 || (sum < 0 && !r.atMost) {
			return r, sum
		}
	}
	return nil, 0
}

// narrowRounds bounds the passes over the rows; ranges that are still moving by then are narrow enough to search.
const narrowRounds = 30

// narrow tightens the ranges by each row in turn, and reports false when a range becomes empty.
func (p *puzzle) narrow(lo, hi []int) bool {
	for range narrowRounds {
		moved := false
		for i := range p.rows {
			m, ok := p.rows[i].narrow(lo, hi)
			if !ok {
				return false
			}
			moved = moved || m
		}
		if !moved {
			break
		}
	}
	return true
}

// narrow tightens the range of each unknown of a row by the least and the most that the others can add up to.
func (r *row) narrow(lo, hi []int) (moved, ok bool) {
	least, most := r.rest, r.rest
	for _, t := range r.terms {
		l, h := t.span(lo, hi)
		least, most = least+l, most+h
	}
	for _, t := range r.terms {
		l, h := t.span(lo, hi)
		// factor times x is at most this, and at least that unless the row only bounds from above.
		upper, lower := -(least - l), -(most - h)
		if r.atMost {
			lower = l
		}
		newLo, newHi := quotients(lower, upper, t.factor)
		if newLo > lo[t.number] {
			lo[t.number], moved = newLo, true
		}
		if newHi < hi[t.number] {
			hi[t.number], moved = newHi, true
		}
		if lo[t.number] > hi[t.number] {
			return moved, false
		}
		nl, nh := t.span(lo, hi)
		least, most = least+nl-l, most+nh-h
	}
	return moved, true
}

func (t term) span(lo, hi []int) (least, most int) {
	a, b := t.factor*lo[t.number], t.factor*hi[t.number]
	return min(a, b), max(a, b)
}

// quotients returns the least and the most whole x with lower <= factor*x <= upper.
func quotients(lower, upper, factor int) (lo, hi int) {
	if factor < 0 {
		lower, upper, factor = -upper, -lower, -factor
	}
	return -floorDiv(-lower, factor), floorDiv(upper, factor)
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}
