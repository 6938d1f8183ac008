package disclose

import (
	"fmt"
	"math"

	"deltoid/pipeline/report"
)

// number is one count behind the document, however often it is printed.
type number struct {
	name    string // first id among the estimates that print it; for ordering
	value   int
	shownIn []int // estimates that print it; none for a number that is only implied
	small   bool  // from 1 to below-1, and of people
}

// board holds a document's counts, what ties them together, and what is masked so far.
type board struct {
	below     int
	top       int // more than any number that a reader need consider
	estimates []report.Estimate
	index     map[string]int // estimate by id
	prints    []printed
	masked    []bool
	numbers   []number
	relations []relation
	related   map[string]bool // keys of the relations
	relatedBy [][]int         // relations of each number
	solvers   [readers]*solver
	dark      [readers]*solver // the same when no number at all is shown
	goals     []*goal          // of each number, once it was asked for
	closely   bool             // only numbers of the relations that rule a value out are hidden for it, in their order
	seen      [][]int          // values besides its own that each number has in some table
	fresh     []sighting       // those of the tables found since the last number was found safe or not
}

// printed names the numbers that one estimate prints; -1 where it prints none.
type printed struct{ value, n, events int }

// numberKey tells which N or Events of different estimates are one number.
type numberKey struct {
	cohort, group, endpoint string
	events                  bool
	value                   int
}

func newBoard(doc report.Document, below int) (*board, error) {
	b := &board{below: below, estimates: doc.Estimates, index: make(map[string]int, len(doc.Estimates)),
		prints: make([]printed, len(doc.Estimates)), masked: make([]bool, len(doc.Estimates)), related: map[string]bool{}}
	for i, e := range doc.Estimates {
		if _, twice := b.index[e.ID]; twice {
			return nil, fmt.Errorf("disclose: two estimates have the id %q", e.ID)
		}
		b.index[e.ID] = i
	}
	b.gatherNumbers()
	if err := b.relateTotals(doc.Totals); err != nil {
		return nil, err
	}
	if err := checkFigures(doc); err != nil {
		return nil, err
	}
	b.relateGroups()
	b.relateTimes()
	return b, nil
}

// gatherNumbers finds the distinct numbers. Estimates that rest on counts come first; count estimates then join the
// numbers they repeat.
func (b *board) gatherNumbers() {
	known, counted := map[numberKey]int{}, map[countKey]int{}
	for i, e := range b.estimates {
		b.prints[i] = printed{-1, -1, -1}
		if n, ok := whole(e.N); ok {
			b.prints[i].n = b.numberOf(known, numberKey{e.Cohort, e.Group, "", false, n}, e.ID)
		}
		if n, ok := whole(e.Events); ok {
			b.prints[i].events = b.numberOf(known, numberKey{e.Cohort, e.Group, e.Endpoint, true, n}, e.ID)
		}
	}
	for i, e := range b.estimates {
		if n, ok := whole(e.Value); ok && isCount(e) {
			b.prints[i].value = b.countOf(known, e, n)
			b.joinRepeated(known, counted, i)
			number := &b.numbers[b.prints[i].value]
			number.small = number.small || ofPeople(e) && b.small(e.Value.X)
		}
	}
	for i, p := range b.prints {
		for _, n := range p.all() {
			b.numbers[n].shownIn = append(b.numbers[n].shownIn, i)
		}
	}
}

func (b *board) numberOf(known map[numberKey]int, k numberKey, id string) int {
	n, ok := known[k]
	if !ok {
		n = b.addNumber(id, k.value)
		b.numbers[n].small = b.small(float64(k.value))
		known[k] = n
	}
	b.numbers[n].name = min(b.numbers[n].name, id)
	return n
}

// countOf gives the number of a count estimate. One that equals both an N and an Events of its group makes the two one
// number: which of them it repeats cannot be told, and to hide both is safe.
func (b *board) countOf(known map[numberKey]int, e report.Estimate, value int) int {
	n, isN := known[numberKey{e.Cohort, e.Group, "", false, value}]
	v, isEvents := known[numberKey{e.Cohort, e.Group, e.Endpoint, true, value}]
	switch {
	case isN && isEvents && n != v:
		b.merge(known, n, v)
	case isEvents && !isN:
		n = v
	case !isN:
		return b.addNumber(e.ID, value)
	}
	b.numbers[n].name = min(b.numbers[n].name, e.ID)
	return n
}

// countKey tells which count estimates of different analyses are one number.
type countKey struct {
	line
	measure, unit string
	at            report.Optional
	value         float64
}

// joinRepeated makes a count estimate one number with an equal one by which another analysis says the same. Counted holds
// the first of each.
func (b *board) joinRepeated(known map[numberKey]int, counted map[countKey]int, i int) {
	e := b.estimates[i]
	k := countKey{line{e.Cohort, e.Group, e.Endpoint, e.AtUnit}, e.Measure, e.Unit, e.At, e.Value.X}
	first, ok := counted[k]
	if !ok {
		counted[k] = i
		return
	}
	n, old := b.prints[i].value, b.prints[first].value
	if n != old && b.estimates[first].Analysis != e.Analysis {
		b.merge(known, n, old)
	}
}

func (b *board) merge(known map[numberKey]int, into, from int) {
	for k, n := range known {
		if n == from {
			known[k] = into
		}
	}
	for i, p := range b.prints {
		b.prints[i] = p.replace(from, into)
	}
	b.numbers[into].name = min(b.numbers[into].name, b.numbers[from].name)
	b.numbers[into].small = b.numbers[into].small || b.numbers[from].small
	b.numbers[from].small = false
}

func (b *board) addNumber(name string, value int) int {
	b.top = max(b.top, 2*(value+b.below))
	b.numbers = append(b.numbers, number{name: name, value: value})
	b.relatedBy = append(b.relatedBy, nil)
	return len(b.numbers) - 1
}

func (b *board) small(x float64) bool { return x > 0 && x < float64(b.below) }

// most is the largest value that a reader must think possible of a small count. At the threshold 2 that is 2: a masked
// count that can only be 1 is not hidden.
func (b *board) most() int { return max(b.below-1, 2) }

// rangeOf is what a reader takes a number to be before any reasoning.
func (b *board) rangeOf(n int, r reader) span {
	if b.shown(n) {
		return span{b.numbers[n].value, b.numbers[n].value}
	}
	return b.hiddenRange(n, r)
}

// hiddenRange is 1 to most for a small number to the insider; any other lies between 0 and well above every number.
func (b *board) hiddenRange(n int, r reader) span {
	if b.numbers[n].small && r == insider {
		return span{1, b.most()}
	}
	return span{min(b.numbers[n].value, 0), b.top}
}

// shown says whether a reader sees the number somewhere.
func (b *board) shown(n int) bool {
	for _, e := range b.numbers[n].shownIn {
		if !b.masked[e] {
			return true
		}
	}
	return false
}

func (p printed) all() []int {
	var ns []int
	for _, n := range []int{p.value, p.n, p.events} {
		if n >= 0 && (len(ns) == 0 || ns[len(ns)-1] != n) {
			ns = append(ns, n)
		}
	}
	return ns
}

func (p printed) replace(from, into int) printed {
	for _, n := range []*int{&p.value, &p.n, &p.events} {
		if *n == from {
			*n = into
		}
	}
	return p
}

// countUnits are the units in which a whole number without an interval is a count whatever its method.
var countUnits = map[string]bool{"shoulders": true, "patients": true, "rows": true, "events": true, "revisions": true,
	"deaths": true}

// notPeople are the units of counts that are shown however small: they say something about an export or a provider, not
// about a person. Such a count can still be hidden for the sake of another.
var notPeople = map[string]bool{"rows": true, "findings": true, "files": true, "columns": true, "hospitals": true,
	"surgeons": true, "missing values": true}

func isCount(e report.Estimate) bool {
	if e.Method == "count" {
		return e.Value.Known
	}
	_, isWhole := whole(e.Value)
	return isWhole && countUnits[e.Unit] && !e.Lower.Known && !e.Upper.Known
}

func ofPeople(e report.Estimate) bool { return isCount(e) && !notPeople[e.Unit] }

const atRiskMeasure = "numbers at risk"

func isAtRisk(e report.Estimate) bool { return isCount(e) && e.At.Known && e.Measure == atRiskMeasure }

// whole returns a number as an integer, if it is one of a size that a float64 holds exactly.
func whole(o report.Optional) (int, bool) {
	if !o.Known || o.X != math.Trunc(o.X) || math.Abs(o.X) > 1<<50 {
		return 0, false
	}
	return int(o.X), true
}
