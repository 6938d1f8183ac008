package ingest

import (
	"fmt"
	"math"
	"slices"

	"deltoid/schemas"
)

// wide says how a row of a file that holds a shoulder becomes rows of a table that hold a score. Every cell of a score
// that holds something becomes a row, with the day of its visit and everything that is told once for the shoulder.
//
// A wrong cell must not be lost with the row that it would have been in: where it belongs to no score, and for a row with
// too few or too many cells, there is one row more, which is set aside.
type wide struct {
	shared []int // for each column of the table, the place of its spec; -1 for instrument, day and value
	scores []wideScore
	days   []int // places of the specs of the columns with days
}

// wideScore is one column of scores, or one set of columns of items that a score is worked out from.
type wideScore struct {
	spec  int   // its own place among the specs; that of the first item
	day   int   // that of its day
	code  int16 // place of the instrument among the codes of the field
	after int64 // days from that day to the visit
	items *itemSet
}

// unfolded counts what became of the rows of a file.
type unfolded struct{ rows, scores, empty, ragged, wrong int }

// the fields of a score that a wide table has no column for.
var unfoldedFields = []string{"instrument", "day", "value"}

// makeWide replaces the specs that are read: one for each column of scores and of days, in place of one for all. Scores
// of one day stand together, so that the rows of a cell with a day do too.
func (r *reader) makeWide() (ps schemas.Problems) {
	w := &wide{}
	r.wide, r.specs = w, nil
	for _, sp := range r.made {
		if slices.Contains(unfoldedFields, sp.field.Name) {
			w.shared = append(w.shared, -1)
			continue
		}
		w.shared = append(w.shared, len(r.specs))
		r.specs = append(r.specs, sp)
	}
	days := map[string]int{}
	dayOf := func(name string) int {
		if days[name] == 0 {
			days[name] = r.addWide("day", name)
			w.days = append(w.days, days[name]-1)
		}
		return days[name] - 1
	}
	for _, score := range r.src.Wide {
		w.scores = append(w.scores, wideScore{day: dayOf(score.Day), code: r.instrument(score.Instrument, &ps),
			after: daysOf(score.After), spec: r.addWide("value", score.Column) - 1})
	}
	for _, score := range r.src.Items {
		items := r.itemSet(score)
		w.scores = append(w.scores, wideScore{day: dayOf(score.Day), code: r.instrument(score.Instrument, &ps),
			after: daysOf(score.After), spec: items.specs[0], items: items})
	}
	slices.SortStableFunc(w.scores, func(a, b wideScore) int { return a.day - b.day })
	return ps
}

func daysOf(l schemas.Length) int64 {
	perUnit, _ := schemas.DaysPer(l.Unit)
	return int64(math.Round(float64(l.Number) * perUnit))
}

// addWide adds the spec of a column that one of a field's values stands in, and returns how many specs there are then.
// The field is not required: where there is no score there is no row to require it.
func (r *reader) addWide(field, header string) int {
	i := slices.IndexFunc(r.made, func(sp *spec) bool { return sp.field.Name == field })
	if i < 0 {
		return len(r.specs) // a schema that has no scores; the instrument is missed and reported
	}
	sp, f := *r.made[i], *r.made[i].field
	f.Required = false
	sp.field, sp.header, sp.must, sp.mapped = &f, header, true, true
	r.specs = append(r.specs, &sp)
	return len(r.specs)
}

func (r *reader) instrument(code string, ps *schemas.Problems) int16 {
	if f := r.schema.Field("instrument"); f != nil {
		if i := slices.IndexFunc(f.Codes, func(c schemas.CodeValue) bool { return c.Value == code }); i >= 0 {
			return int16(i)
		}
	}
	*ps = append(*ps, planProblem(r.src, fmt.Sprintf("%s has no instrument %q for a column of scores", r.src.Table, code),
		"the codes of the field instrument", "correct the code in the study plan"))
	return schemas.NoCode
}

// placeColumns finds the columns of the table in those of a file.
func (r *reader) placeColumns(b *binding) {
	if b.madeAt = b.at; r.wide != nil {
		b.madeAt = r.wide.places(r.made, b.at)
	}
}

// places returns, for each column of the table, the place in the file of what it is made of; the first of several.
func (w *wide) places(made []*spec, at []int) []int {
	places := make([]int, len(made))
	for i, sp := range made {
		switch {
		case w.shared[i] >= 0:
			places[i] = at[w.shared[i]]
		case sp.field.Name == "day":
			places[i] = at[w.scores[0].day]
		default:
			places[i] = at[w.scores[0].spec]
		}
	}
	return places
}

// placeCells tells the table in which column of the file each score and its day stand.
func (r *reader) placeCells(t *schemas.Table) {
	if r.wide == nil {
		return
	}
	value, day := &schemas.Cells{Which: make([]uint16, 0, t.Rows())}, &schemas.Cells{}
	first := map[*binding]uint16{}
	for _, b := range r.bindings {
		first[b] = uint16(len(value.Headers))
		for _, s := range r.wide.scores {
			value.Headers, value.Positions = append(value.Headers, b.header[b.at[s.spec]]), append(value.Positions, b.at[s.spec]+1)
			day.Headers, day.Positions = append(day.Headers, b.header[b.at[s.day]]), append(day.Positions, b.at[s.day]+1)
		}
	}
	for _, c := range r.chunks {
		for _, s := range c.which {
			value.Which = append(value.Which, first[c.file]+s)
		}
	}
	day.Which = value.Which
	t.Column("value").Cells, t.Column("instrument").Cells, t.Column("day").Cells = value, value, day
}

// fileRows returns the number of rows of a file that has given a table so many.
func (r *reader) fileRows(b *binding, rows int) int {
	if r.wide == nil {
		return rows
	}
	return r.unfolded(b).rows
}

// unfolded adds up what became of the rows of a file.
func (r *reader) unfolded(b *binding) (n unfolded) {
	for _, c := range r.chunks {
		if c.file == b {
			n.rows, n.scores, n.empty = n.rows+c.unfold.rows, n.scores+c.unfold.scores, n.empty+c.unfold.empty
			n.ragged, n.wrong = n.ragged+c.unfold.ragged, n.wrong+c.unfold.wrong
		}
	}
	return n
}

// wideNote is the account of a file whose scores stand in columns: rows times columns is scores and empty cells.
func (r *reader) wideNote(b *binding) string {
	n := r.unfolded(b)
	what, empty := "columns", "cells"
	if len(r.src.Items) > 0 {
		what, empty = "columns or sets of items", "ones"
	}
	note := fmt.Sprintf("scores in columns: %d rows times %d %s = %d scores + %d empty %s", n.rows-n.ragged, len(r.wide.scores), what,
		n.scores, n.empty, empty)
	if n.ragged > 0 {
		note += fmt.Sprintf("; rows with too few or too many cells, each set aside as one row: %d", n.ragged)
	}
	if n.wrong > 0 {
		note += fmt.Sprintf("; wrong cells without a score, each set aside as a row of its own: %d", n.wrong)
	}
	return note
}
