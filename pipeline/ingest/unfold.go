package ingest

import (
	"fmt"
	"math"

	"deltoid/schemas"
)

// unfolder makes the rows of one chunk.
type unfolder struct {
	*wide
	c     *chunk
	next  []int    // for each spec, the next flaw of its column
	flaws [][]flaw // for each spec, the flaws at the rows that are made
	from  []int32  // for each row that is made, the row of the file
	which []uint16 // and the place of its score
	value []float64
}

// unfold makes the rows of scores of a chunk and takes them for its own.
func (w *wide) unfold(c *chunk, made []*spec) {
	u := &unfolder{wide: w, c: c, next: make([]int, len(c.columns)), flaws: make([][]flaw, len(c.columns))}
	ragged := c.ragged
	c.unfold.rows = len(c.lines)
	for row := range c.lines {
		if len(ragged) > 0 && ragged[0].row == row {
			c.ragged[len(c.ragged)-len(ragged)].row = len(u.from)
			ragged = ragged[1:]
			c.unfold.ragged++
			u.add(row, 0, math.NaN())
			continue
		}
		u.row(row)
	}
	lines := make([]int32, len(u.from))
	for i, row := range u.from {
		lines[i] = c.lines[row]
	}
	c.lines, c.which = lines, u.which
	u.columns(made)
	for i, col := range c.columns {
		if col != nil {
			col.flaws = u.flaws[i]
		}
	}
}

func (u *unfolder) add(row, score int, value float64) {
	u.from, u.which, u.value = append(u.from, int32(row)), append(u.which, uint16(score)), append(u.value, value)
}

// flawAt returns the flaw of a column at a row of the file, nil when there is none. Rows must come in order.
func (u *unfolder) flawAt(spec, row int) *flaw {
	col := u.c.columns[spec]
	if col == nil {
		return nil
	}
	for u.next[spec] < len(col.flaws) && col.flaws[u.next[spec]].row < row {
		u.next[spec]++
	}
	if at := u.next[spec]; at < len(col.flaws) && col.flaws[at].row == row {
		return &col.flaws[at]
	}
	return nil
}

// row makes the rows of one row of the file.
func (u *unfolder) row(row int) {
	start := len(u.from)
	for s := range u.scores {
		if u.scores[s].items != nil {
			u.itemised(row, s)
			continue
		}
		spec := u.scores[s].spec
		wrong, value := u.flawAt(spec, row), u.c.columns[spec].numbers[row]
		if wrong == nil && math.IsNaN(value) {
			u.c.unfold.empty++
			continue
		}
		u.c.unfold.scores++
		u.tell(spec, wrong, len(u.from), 1)
		u.add(row, s, value)
	}
	for _, day := range u.days {
		u.day(day, row, start)
	}
	for _, spec := range u.shared {
		if spec < 0 {
			continue
		}
		if wrong := u.flawAt(spec, row); wrong != nil {
			u.carry(row, start, 0)
			u.tell(spec, wrong, start, len(u.from)-start)
		}
	}
}

// carry makes a row for a wrong cell when there is none that it belongs to.
func (u *unfolder) carry(row, start, score int) {
	if len(u.from) == start {
		u.c.unfold.wrong++
		u.add(row, score, math.NaN())
	}
}

// tell puts a flaw at the rows that were made.
func (u *unfolder) tell(spec int, f *flaw, first, rows int) {
	if f != nil {
		u.flaws[spec] = append(u.flaws[spec], flaw{row: first, rule: f.rule, value: f.value, more: rows - 1})
	}
}

// day tells what is wrong with a day, and that the day of a score is missing.
func (u *unfolder) day(spec, row, start int) {
	first, n := -1, 0
	for i := start; i < len(u.from); i++ {
		if u.scores[u.which[i]].day == spec {
			if first < 0 {
				first = i
			}
			n++
		}
	}
	wrong := u.flawAt(spec, row)
	switch {
	case n > 0 && wrong == nil && u.c.columns[spec].days[row] == schemas.NoDay:
		wrong = &flaw{rule: schemas.RuleMissingRequired}
	case n == 0 && wrong != nil:
		first, n = len(u.from), 1
		u.c.unfold.wrong++
		for s := range u.scores {
			if u.scores[s].day == spec {
				u.add(row, s, math.NaN())
				break
			}
		}
	}
	u.tell(spec, wrong, first, n)
}

// columns makes the columns of the table.
func (u *unfolder) columns(made []*spec) {
	u.c.made = make([]*column, len(made))
	for i, sp := range made {
		switch {
		case u.shared[i] >= 0:
			if col := u.c.columns[u.shared[i]]; col != nil {
				u.c.made[i] = col.gather(u.from)
			}
			continue
		case sp.field.Name == "value":
			u.c.made[i] = u.values(sp)
		case sp.field.Name == "day":
			u.c.made[i] = u.visits(sp)
		default:
			u.c.made[i] = u.instruments(sp)
		}
	}
}

func (u *unfolder) values(sp *spec) *column {
	c := newColumn(sp, len(u.from))
	c.numbers = append(c.numbers, u.value...)
	return c
}

func (u *unfolder) instruments(sp *spec) *column {
	c := newColumn(sp, len(u.from))
	for _, s := range u.which {
		c.places = append(c.places, u.scores[s].code)
	}
	return c
}

// visits counts the days from the declared day on. A visit that no calendar has is a finding about that day.
func (u *unfolder) visits(sp *spec) *column {
	low, high, rule := int64(firstDay), int64(lastDay), schemas.RuleBadDate
	if sp.offsets {
		low, high, rule = schemas.NoDay+1, math.MaxInt32, schemas.RuleOutOfRange
	}
	c := newColumn(sp, len(u.from))
	for i, row := range u.from {
		score := &u.scores[u.which[i]]
		day := u.c.columns[score.day].days[row]
		if day != schemas.NoDay && score.after != 0 {
			visit := int64(day) + score.after
			if day = int32(visit); visit < low || visit > high {
				day = schemas.NoDay
				u.flaws[score.day] = append(u.flaws[score.day], flaw{row: i, rule: rule, value: fmt.Sprintf("%d days later", score.after)})
			}
		}
		c.days = append(c.days, day)
	}
	return c
}

// gather returns the column's values at some of its rows, which may repeat.
func (c *column) gather(rows []int32) *column {
	g := &column{spec: c.spec, levels: c.levels, tooLarge: c.tooLarge}
	switch c.field.Type {
	case schemas.Date:
		g.days = taken(c.days, rows)
	case schemas.Integer:
		g.ints = taken(c.ints, rows)
	case schemas.Number:
		g.numbers = taken(c.numbers, rows)
	case schemas.Code:
		g.places = taken(c.places, rows)
	default:
		for _, row := range rows {
			begin := int32(0)
			if row > 0 {
				begin = c.ends[row-1]
			}
			g.tooLarge = g.tooLarge || len(g.bytes) > math.MaxInt32/2
			g.bytes = append(g.bytes, c.bytes[begin:c.ends[row]]...)
			g.ends = append(g.ends, int32(len(g.bytes)))
		}
	}
	return g
}

func taken[T any](values []T, rows []int32) []T {
	t := make([]T, len(rows))
	for i, row := range rows {
		t[i] = values[row]
	}
	return t
}
