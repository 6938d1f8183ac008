package ingest

import (
	"fmt"
	"math"
	"runtime/debug"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"deltoid/schemas"
)

// merge joins the chunks to one table, column by column, and gives back each chunk's memory as it goes.
func (r *reader) merge() (*schemas.Table, schemas.Problems) {
	if ps := r.tooLarge(); len(ps) > 0 {
		return nil, ps
	}
	lines, pieces := r.mergeRows()
	columns := make([]*schemas.Column, len(r.made))
	var g errgroup.Group
	g.SetLimit(r.workers)
	for i := range r.made {
		g.Go(func() error {
			columns[i] = r.mergeColumn(i, len(lines))
			r.giveBack(r.made[i], len(lines))
			return nil
		})
	}
	_ = g.Wait() // no error is possible
	present := slices.DeleteFunc(columns, func(c *schemas.Column) bool { return c == nil })
	t := schemas.NewTable(r.schema, pieces, lines, present)
	r.placeCells(t)
	t.Follow(r.src)
	t.Recoded = r.recoded()
	t.Offsets = slices.ContainsFunc(r.made, func(sp *spec) bool { return sp.offsets && t.Column(sp.field.Name) != nil })
	return t, nil
}

// muchMemory is how much of the chunks' memory may wait to be given back while the columns of a large table are joined.
const muchMemory = 96 << 20

// giveBack gives the memory of joined chunks back. They lie between those that are still needed, so that no column fits
// where they were, and without this a table takes twice its memory for a moment.
func (r *reader) giveBack(sp *spec, rows int) {
	width := map[schemas.Type]int{schemas.Date: 4, schemas.Integer: 8, schemas.Number: 8, schemas.Code: 2}[sp.field.Type]
	if width == 0 {
		width = 12 // a text: where it ends, and some letters
	}
	r.lock.Lock()
	defer r.lock.Unlock()
	if r.waiting += width * rows; r.waiting >= muchMemory {
		r.waiting = 0
		debug.FreeOSMemory()
	}
}

// tooLarge finds columns that cannot be held.
func (r *reader) tooLarge() (ps schemas.Problems) {
	for i, sp := range r.made {
		full, size := false, 0
		levels := map[string]bool{}
		for _, c := range r.chunks {
			if col := c.made[i]; col != nil {
				full = full || col.tooLarge
				size += len(col.bytes)
				if col.levels != nil {
					for _, k := range col.levels.keys {
						levels[k] = true
					}
				}
			}
		}
		if full || size > math.MaxInt32 || len(levels) > mostLevels {
			ps = append(ps, &schemas.Problem{Kind: schemas.ExportProblem, Where: r.src.Plan,
				What:    fmt.Sprintf("the column %q holds more than a column can hold", sp.header),
				Allowed: fmt.Sprintf("%d different codes, 2 GiB of text", mostLevels),
				Remedy:  "declare a column with so many codes as text, or leave it out"})
		}
	}
	return ps
}

// mergeRows joins the lines and describes the files.
func (r *reader) mergeRows() ([]int32, []schemas.Piece) {
	rows := 0
	pieces := make([]schemas.Piece, len(r.bindings))
	for i, b := range r.bindings {
		pieces[i] = schemas.Piece{File: b.shown, First: rows, Header: b.header}
		for _, c := range r.chunks {
			if c.file == b {
				pieces[i].Rows += len(c.lines)
			}
		}
		rows += pieces[i].Rows
		pieces[i].Note = r.note(b)
		pieces[i].FileRows = r.fileRows(b, pieces[i].Rows)
	}
	lines := make([]int32, 0, rows)
	for _, c := range r.chunks {
		lines = append(lines, c.lines...)
	}
	return lines, pieces
}

func (r *reader) note(b *binding) string {
	notes := slices.Clone(b.notes)
	for i, sp := range r.specs {
		rounded := 0
		for _, c := range r.chunks {
			if c.file == b && c.columns[i] != nil {
				rounded += c.columns[i].rounded
			}
		}
		if sp.factor != 0 && b.at[i] >= 0 {
			notes = append(notes, fmt.Sprintf("%s: %s turned into days, %d values rounded to whole days", sp.field.Name, sp.unit, rounded))
		}
	}
	notes = append(notes, r.layoutNotes(b)...)
	if r.wide != nil {
		notes = append(notes, r.wideNote(b))
	}
	return strings.Join(notes, "; ")
}

// layoutNotes says how many dates of a column are written in each of its layouts, where several are declared.
func (r *reader) layoutNotes(b *binding) (notes []string) {
	for i, sp := range r.specs {
		written := make([]int, len(sp.layouts))
		several := false
		for _, c := range r.chunks {
			if c.file == b && c.columns[i] != nil && c.columns[i].written != nil {
				several = true
				for k, n := range c.columns[i].written {
					written[k] += n
				}
			}
		}
		if !several {
			continue
		}
		counts := make([]string, len(written))
		for k, n := range written {
			counts[k] = fmt.Sprintf("%d written %s", n, sp.layouts[k].text)
		}
		notes = append(notes, fmt.Sprintf("%s: dates %s", sp.header, strings.Join(counts, ", ")))
	}
	return notes
}

func (r *reader) recoded() (list []schemas.Recoded) {
	for i, sp := range r.specs {
		for j, rc := range sp.recodes {
			n := 0
			for _, c := range r.chunks {
				if c.columns[i] != nil {
					n += c.columns[i].recoded[j]
				}
			}
			list = append(list, schemas.Recoded{Field: sp.field.Name, From: rc.from, To: rc.to, N: n})
		}
	}
	slices.SortStableFunc(list, func(a, b schemas.Recoded) int { return strings.Compare(a.Field, b.Field) })
	return list
}

// mergeColumn joins the parts of one column; nil when no file has it.
func (r *reader) mergeColumn(i, rows int) *schemas.Column {
	sp := r.made[i]
	header, position := r.origin(i)
	if position == 0 {
		return nil
	}
	var c *schemas.Column
	switch sp.field.Type {
	case schemas.Date:
		c = schemas.DateColumn(sp.field, join(r, i, rows, schemas.NoDay, func(c *column) *[]int32 { return &c.days }))
	case schemas.Integer:
		c = schemas.IntegerColumn(sp.field, join(r, i, rows, schemas.NoInt, func(c *column) *[]int64 { return &c.ints }))
	case schemas.Number:
		c = schemas.NumberColumn(sp.field, join(r, i, rows, math.NaN(), func(c *column) *[]float64 { return &c.numbers }))
	case schemas.Code:
		levels := r.mergeLevels(i)
		c = schemas.CodeColumn(sp.field, levels, join(r, i, rows, schemas.NoCode, func(c *column) *[]int16 { return &c.places }))
	default:
		c = schemas.TextColumn(sp.field, r.mergeEnds(i, rows), r.mergeBytes(i))
	}
	c.Header, c.Position = header, position
	return c
}

// origin returns a field's column in the first file that has it.
func (r *reader) origin(i int) (header string, position int) {
	for _, b := range r.bindings {
		if at := b.madeAt[i]; at >= 0 {
			return b.header[at], at + 1
		}
	}
	return "", 0
}

// join joins the values of one column and puts missing ones where a file has no such column.
func join[T any](r *reader, i, rows int, missing T, part func(*column) *[]T) []T {
	if r.whole != nil {
		return *part(r.whole[i])
	}
	all := make([]T, 0, rows)
	for _, c := range r.chunks {
		if col := c.made[i]; col != nil {
			values := part(col)
			all = append(all, *values...)
			*values = nil
			continue
		}
		for range c.lines {
			all = append(all, missing)
		}
	}
	return all
}

// mergeLevels returns the codes of a column. For a Code without a list it sorts those that occur and moves the chunks'
// places to theirs.
func (r *reader) mergeLevels(i int) []string {
	if r.made[i].codes != nil {
		levels := make([]string, len(r.made[i].field.Codes))
		for k := range levels {
			levels[k] = r.made[i].field.Codes[k].Value
		}
		return levels
	}
	var levels []string
	for _, c := range r.chunks {
		if col := c.made[i]; col != nil {
			levels = append(levels, col.levels.keys...)
		}
	}
	slices.Sort(levels)
	levels = slices.Compact(levels)
	for _, c := range r.chunks {
		if col := c.made[i]; col != nil {
			move(col, levels)
		}
	}
	return levels
}

func move(col *column, levels []string) {
	to := make([]int16, len(col.levels.keys))
	for k, key := range col.levels.keys {
		at, _ := slices.BinarySearch(levels, key)
		to[k] = int16(at)
	}
	for row, p := range col.places {
		if p >= 0 {
			col.places[row] = to[p]
		}
	}
}

func (r *reader) mergeEnds(i, rows int) []int32 {
	offsets := make([]int32, 1, rows+1)
	base := int32(0)
	for _, c := range r.chunks {
		col := c.made[i]
		if col == nil {
			for range c.lines {
				offsets = append(offsets, base)
			}
			continue
		}
		for _, end := range col.ends {
			offsets = append(offsets, base+end)
		}
		base += int32(len(col.bytes))
		col.ends = nil
	}
	return offsets
}

func (r *reader) mergeBytes(i int) []byte {
	size := 0
	for _, c := range r.chunks {
		if col := c.made[i]; col != nil {
			size += len(col.bytes)
		}
	}
	all := make([]byte, 0, size)
	for _, c := range r.chunks {
		if col := c.made[i]; col != nil {
			all = append(all, col.bytes...)
			col.bytes = nil
		}
	}
	return all
}
