package disclose

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// puzzle is a random set of relations that hold of some true numbers between 0 and 4, with each number's range.
type puzzle struct {
	truth  []int
	ranges []span
	rows   []relation
}

const puzzleTop = 5

func drawPuzzle(t *rapid.T) puzzle {
	n := rapid.IntRange(2, 5).Draw(t, "numbers")
	p := puzzle{truth: rapid.SliceOfN(rapid.IntRange(0, puzzleTop-1), n, n).Draw(t, "truth")}
	for i := range n {
		v := p.truth[i]
		lo, hi := rapid.IntRange(0, v).Draw(t, "least"), rapid.IntRange(v, puzzleTop).Draw(t, "most")
		p.ranges = append(p.ranges, span{lo, hi})
	}
	for range rapid.IntRange(1, 5).Draw(t, "relations") {
		var terms []term
		for i := range n {
			if f := rapid.SampledFrom([]int{0, 1, 1, -1, -1, 2}).Draw(t, "factor"); f != 0 {
				terms = append(terms, term{i, f})
			}
		}
		p.rows = append(p.rows, relation{terms: terms, atMost: rapid.Bool().Draw(t, "at most")})
	}
	p.rows = slices.DeleteFunc(p.rows, func(r relation) bool { return !holds(r, p.truth) })
	return p
}

func holds(r relation, x []int) bool {
	sum := 0
	for _, t := range r.terms {
		sum += t.factor * x[t.number]
	}
	return sum == 0 || sum < 0 && r.atMost
}

// solver makes a board of the puzzle without any document behind it.
func (p puzzle) solver() *solver {
	b := &board{}
	for _, v := range p.truth {
		b.addNumber("", v)
	}
	for i, r := range p.rows {
		b.relations = append(b.relations, r)
		for _, t := range r.terms {
			b.relatedBy[t.number] = append(b.relatedBy[t.number], i)
		}
	}
	return newSolver(b, func(i int) span { return p.ranges[i] })
}

// exists tries all tables one by one: the slow and obvious twin of the search.
func (p puzzle) exists(number, v int) bool {
	x := make([]int, len(p.truth))
	var try func(i int) bool
	try = func(i int) bool {
		if i == len(x) {
			return !slices.ContainsFunc(p.rows, func(r relation) bool { return !holds(r, x) })
		}
		for x[i] = p.ranges[i].lo; x[i] <= p.ranges[i].hi; x[i]++ {
			if (i != number || x[i] == v) && try(i+1) {
				return true
			}
		}
		return false
	}
	return try(0)
}

// With puzzles so small the search never gives up: it finds a table exactly where there is one, and leaves the ranges as
// they were. Without the relations that it does not blame there is still none.
func TestSearchAgainstAllTables(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPuzzle(t)
		s := p.solver()
		for number := range p.truth {
			for v := p.ranges[number].lo; v <= p.ranges[number].hi; v++ {
				s.blame = &blame{isIn: make([]bool, len(p.rows))}
				found := s.possible(number, v)
				if found != p.exists(number, v) || !found != s.ruledOut(number, v) {
					t.Fatalf("number %d as %d: found %v; %+v", number, v, found, p)
				}
				if !slices.Equal(s.ranges, p.ranges) || len(s.trail) > 0 || slices.Contains(s.isDue, true) {
					t.Fatalf("the search left %+v", s)
				}
				if found {
					checkTable(t, p, s, number, v)
				} else if blamed := p.only(s.blame.rows); blamed.exists(number, v) {
					t.Fatalf("number %d as %d: the blamed relations %v do not rule it out; %+v", number, v, s.blame.rows, p)
				}
			}
		}
	})
}

// checkTable sees that the table found is one.
func checkTable(t *rapid.T, p puzzle, s *solver, number, v int) {
	s.possible(number, v)
	x := slices.Clone(p.truth)
	for _, f := range s.found {
		x[f.number] = f.value
	}
	if x[number] != v || slices.ContainsFunc(p.rows, func(r relation) bool { return !holds(r, x) }) {
		t.Fatalf("number %d as %d: %v is not a table of %+v", number, v, x, p)
	}
	for i, r := range p.ranges {
		if x[i] < r.lo || x[i] > r.hi {
			t.Fatalf("%v is out of range in %+v", x, p)
		}
	}
}

func (p puzzle) only(rows []int) puzzle {
	out := p
	out.rows = nil
	for _, i := range rows {
		out.rows = append(out.rows, p.rows[i])
	}
	return out
}
