package disclose

// searchSteps bounds one search. A search that ends without a table counts as "no such table", so that a puzzle that is
// too large to search is masked further and never shown by mistake. Most tables take fewer than ten steps.
const searchSteps = 100

// possible says whether a table is found in which a number has value v. What the table changes is left in found.
func (s *solver) possible(number, v int) bool {
	s.found, s.steps = s.found[:0], searchSteps
	if v == s.truth[number] {
		return true
	}
	if v < s.ranges[number].lo || v > s.ranges[number].hi {
		return false
	}
	keep := len(s.trail)
	defer s.undo(keep)
	s.assume(number, span{v, v})
	return s.search(keep)
}

// ruledOut says whether there is certainly no table in which a number has value v.
func (s *solver) ruledOut(number, v int) bool { return !s.possible(number, v) && s.steps >= 0 }

// search looks for a table within the ranges, close to the true one: it takes the true numbers as far as the ranges
// allow, and where a relation is then broken it branches on the number of that relation with the least room. From says
// where on the trail the search began.
func (s *solver) search(from int) bool {
	s.steps--
	if s.steps < 0 || !s.narrow() {
		return false
	}
	broken, off := s.broken(from)
	if broken == nil {
		s.note(from)
		return true
	}
	var pick term
	room := 0
	for _, t := range broken.terms {
		if r := s.ranges[t.number]; r.hi > r.lo && (room == 0 || r.hi-r.lo < room) {
			pick, room = t, r.hi-r.lo
		}
	}
	return room > 0 && s.branch(from, pick.number, s.near(pick.number)-off/pick.factor)
}

// branch divides the range of one number: the value that mends the broken relation, the present one, what lies between
// them, and what lies beyond on either side.
func (s *solver) branch(from, number, mended int) bool {
	s.blame.choice(s, number)
	now, r := s.near(number), s.ranges[number]
	mended = min(max(mended, r.lo), r.hi)
	pieces := [5]span{{mended, mended}, {now, now}, {min(now, mended) + 1, max(now, mended) - 1},
		{r.lo, min(now, mended) - 1}, {max(now, mended) + 1, r.hi}}
	for i, p := range pieces {
		if p.lo > p.hi || i == 1 && now == mended {
			continue
		}
		keep := len(s.trail)
		s.assume(number, p)
		if s.search(from) {
			return true
		}
		s.undo(keep)
	}
	return false
}

// near is the value within a number's range that is nearest to the true one.
func (s *solver) near(number int) int {
	r := s.ranges[number]
	return min(max(s.truth[number], r.lo), r.hi)
}

// broken returns the first relation that the nearest values break and by how much. Only relations of a number that
// cannot keep its true value come into question.
func (s *solver) broken(from int) (*relation, int) {
	for _, n := range s.trail[from:] {
		if s.near(n.number) == s.truth[n.number] {
			continue
		}
		for _, row := range s.rowsOf[n.number] {
			r, sum := &s.rows[row], 0
			for _, t := range r.terms {
				sum += t.factor * s.near(t.number)
			}
			if sum > 0 || sum < 0 && !r.atMost {
				return r, sum
			}
		}
	}
	return nil, 0
}

// note keeps what a table has different from the true one.
func (s *solver) note(from int) {
	for _, n := range s.trail[from:] {
		if v := s.near(n.number); v != s.truth[n.number] {
			s.found = append(s.found, sighting{n.number, v})
		}
	}
}

// sighting is a value of a number in some table.
type sighting struct{ number, value int }
