package disclose

import (
	"fmt"
	"slices"
	"testing"

	"deltoid/pipeline/report"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// attacker is someone who sees a cleared table and tries every table of whole numbers that agrees with it. It shares no
// code with the package: it walks through the unknown cells one by one, with the sums as its only knowledge. An insider
// knows which of them are small.
type attacker struct {
	insider    bool
	rows, cols int
	cell       []int  // the true numbers: cells by row, each row closed by its sum, closed by the row of sums
	known      []bool // shown
	below      int
	limit      int // highest value tried
	seen       []map[int]bool
	assigned   []bool
}

func (a *attacker) width() int { return a.cols + 1 }

// sums lists every equation as cell positions, the whole last.
func (a *attacker) sums() [][]int {
	var out [][]int
	for r := 0; r <= a.rows; r++ {
		var line []int
		for c := 0; c <= a.cols; c++ {
			line = append(line, r*a.width()+c)
		}
		out = append(out, line)
	}
	for c := 0; c <= a.cols; c++ {
		var line []int
		for r := 0; r <= a.rows; r++ {
			line = append(line, r*a.width()+c)
		}
		out = append(out, line)
	}
	return out
}

// walk tries all values of the unknown cells from position at on.
func (a *attacker) walk(at int, x []int, sums [][]int) {
	for at < len(x) && a.known[at] {
		at++
	}
	if at == len(x) {
		for i, v := range x {
			a.seen[i][v] = true
		}
		return
	}
	small := a.insider && a.cell[at] > 0 && a.cell[at] < a.below
	a.assigned[at] = true
	for v := 0; v <= a.limit; v++ {
		if small && (v == 0 || v > most(a.below)) {
			continue
		}
		x[at] = v
		if a.agrees(at, x, sums) {
			a.walk(at+1, x, sums)
		}
	}
	a.assigned[at] = false
}

func (a *attacker) agrees(at int, x []int, sums [][]int) bool {
	for _, s := range sums {
		holds, complete, left := false, true, 0
		for k, i := range s {
			holds = holds || i == at
			if !a.assigned[i] {
				complete = false
			} else if k == len(s)-1 {
				left += x[i]
			} else {
				left -= x[i]
			}
		}
		if holds && (complete && left != 0 || !complete && a.assigned[s[len(s)-1]] && left < 0) {
			return false
		}
	}
	return true
}

// table makes the document of a table with its row and column sums.
func table(rows, cols int, cells []int) (report.Document, []int) {
	full := make([]int, (rows+1)*(cols+1))
	for r := range rows {
		for c := range cols {
			v := cells[r*cols+c]
			for _, i := range []int{r*(cols+1) + c, r*(cols+1) + cols, rows*(cols+1) + c, rows*(cols+1) + cols} {
				full[i] += v
			}
		}
	}
	var doc report.Document
	id := func(r, c int) string { return fmt.Sprintf("cell.%d.%d", r, c) }
	for r := 0; r <= rows; r++ {
		for c := 0; c <= cols; c++ {
			doc.Estimates = append(doc.Estimates, report.Count(id(r, c), "table", "shoulders", full[r*(cols+1)+c], "shoulders"))
		}
	}
	for r := 0; r <= rows; r++ {
		t := report.Total{Whole: id(r, cols)}
		for c := range cols {
			t.Parts = append(t.Parts, id(r, c))
		}
		doc.Totals = append(doc.Totals, t)
	}
	for c := 0; c <= cols; c++ {
		t := report.Total{Whole: id(rows, c)}
		for r := range rows {
			t.Parts = append(t.Parts, id(r, c))
		}
		doc.Totals = append(doc.Totals, t)
	}
	return doc, full
}

// attack returns the possible values of each cell, given which are shown.
func attack(insider bool, rows, cols int, cells []int, known []bool, below int) []map[int]bool {
	a := &attacker{insider: insider, rows: rows, cols: cols, cell: cells, known: known, below: below, assigned: append([]bool(nil), known...)}
	x := make([]int, len(cells))
	for i, v := range cells {
		a.limit = max(a.limit, v+below)
		a.seen = append(a.seen, map[int]bool{})
		if known[i] {
			x[i] = v
		}
	}
	a.walk(0, x, a.sums())
	return a.seen
}

// TestAttack lets the attacker loose on random tables. A hidden small count must keep every value from 1 to below-1,
// and any other hidden count as many values. Against an insider they keep them as far as they would in a table hidden to the
// last cell, since nothing more can be done. Against anybody else only such a table itself is excused.
func TestAttack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows, cols := rapid.IntRange(1, 2).Draw(t, "rows"), rapid.IntRange(2, 3).Draw(t, "columns")
		below := rapid.IntRange(2, 4).Draw(t, "below")
		cells := rapid.SliceOfN(rapid.IntRange(0, 7), rows*cols, rows*cols).Draw(t, "cells")
		doc, full := table(rows, cols, cells)
		c, err := Clear(doc, Policy{MaskBelow: below})
		if err != nil {
			t.Fatal(err)
		}
		known := make([]bool, len(full))
		for i, e := range c.Document().Estimates {
			known[i] = e.Status != report.Masked
			if known[i] && full[i] > 0 && full[i] < below {
				t.Fatalf("%s is %d and shown", e.ID, full[i])
			}
		}
		if !slices.Contains(known, true) {
			return
		}
		best := allHidden(rows, cols, full, below)
		inside := attack(true, rows, cols, full, known, below)
		outside := attack(false, rows, cols, full, known, below)
		for i := range full {
			if !known[i] && !(enough(inside[i], best[i], full[i], below) && enough(outside[i], nil, full[i], below)) {
				t.Fatalf("cell %d, which is %d, can only be %v of %v, or %v for an outsider\ntable %v\nshown %v",
					i, full[i], inside[i], best[i], outside[i], full, known)
			}
		}
	})
}

// allHidden returns the values that each cell can have when no cell is shown, by trying all tables of cells from 0 to most.
// Larger cells are not needed: without a shown cell only small sums bound the others, and those from above.
func allHidden(rows, cols int, full []int, below int) []map[int]bool {
	seen := make([]map[int]bool, len(full))
	for i := range seen {
		seen[i] = map[int]bool{}
	}
	cells := make([]int, rows*cols)
	var try func(at int)
	try = func(at int) {
		if at < len(cells) {
			for cells[at] = 0; cells[at] <= most(below); cells[at]++ {
				try(at + 1)
			}
			return
		}
		_, x := table(rows, cols, cells)
		for i, v := range x {
			if small := full[i] > 0 && full[i] < below; small && (v < 1 || v > most(below)) {
				return
			}
		}
		for i, v := range x {
			seen[i][v] = true
		}
	}
	try(0)
	return seen
}

// most is the largest value that must stay possible for a small count; a single possible value hides nothing.
func most(below int) int { return max(below-1, 2) }

// enough says whether the possible values of a cell are enough. Best, unless it is nil, are those it could have at all.
func enough(possible, best map[int]bool, value, below int) bool {
	need := most(below)
	if value == 0 || value >= below {
		if best != nil {
			need = min(need, len(best))
		}
		return len(possible) >= need
	}
	for v := 1; v <= need; v++ {
		if !possible[v] && (best == nil || best[v]) {
			return false
		}
	}
	return true
}

// The attacker must be able to win, or the test above proves nothing: with only the small counts masked it solves most
// tables with one small cell.
func TestAttackerSolvesNaiveMasking(t *testing.T) {
	cells := []int{3, 9, 8, 7, 6, 9}
	_, full := table(2, 3, cells)
	known := make([]bool, len(full))
	for i, v := range full {
		known[i] = v >= 5
	}
	if got := attack(true, 2, 3, full, known, 5)[0]; len(got) != 1 || !got[3] {
		t.Errorf("the attacker finds %v for the lone 3", got)
	}
}

// A 3 by 3 table with one small cell needs a rectangle: its row mate, its column mate and the corner, four in all. By
// hand: (0,0) is 2; masking needs one more in its row, one more in its column, and then one where those two cross.
func TestRectangle(t *testing.T) {
	doc, _ := table(3, 3, []int{2, 20, 30, 25, 40, 50, 35, 45, 60})
	wantMasked(t, cleared(t, doc, 5), "cell.0.0", "cell.0.1", "cell.1.0", "cell.1.1")
}

func TestSameTwiceAndStable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows, cols := rapid.IntRange(1, 6).Draw(t, "rows"), rapid.IntRange(2, 6).Draw(t, "columns")
		cells := rapid.SliceOfN(rapid.IntRange(0, 40), rows*cols, rows*cols).Draw(t, "cells")
		doc, _ := table(rows, cols, cells)
		p := Policy{MaskBelow: rapid.IntRange(0, 11).Draw(t, "below"), Reason: "a reason"}
		first, err := Clear(doc, p)
		if err != nil {
			t.Fatal(err)
		}
		second, err := Clear(doc, p)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(first.Document(), second.Document()); diff != "" {
			t.Fatal("two runs differ: " + diff)
		}
		again, err := Clear(first.Document(), p)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(first.Document(), again.Document()); diff != "" {
			t.Fatal("clearing a cleared document changes it: " + diff)
		}
	})
}
