package ingest

import (
	"slices"

	"deltoid/schemas"
)

// settle takes a chunk in the order of its file, when all of its columns are there. What is wrong with its cells becomes
// findings at once, and their memory is given back: a file can be wrong in every cell.
func (r *reader) settle(c *chunk) error {
	b := c.file
	if b.madeAt == nil {
		r.placeColumns(b)
	}
	if c.made = c.columns; r.wide != nil {
		r.wide.unfold(c, r.made)
	}
	r.tell(c)
	if r.part != nil {
		return r.handOn(c)
	}
	r.chunks = append(r.chunks, c)
	return nil
}

// tell turns the flaws of a chunk into findings and notes the rows that are set aside.
func (r *reader) tell(c *chunk) {
	for _, rag := range c.ragged {
		c.find(r, nil, schemas.Finding{Rule: schemas.RuleRaggedRow, Detail: raggedDetail(c.file, rag.cells)}, rag.row, 0)
	}
	c.ragged = nil
	for i, col := range c.columns {
		if col == nil {
			continue
		}
		at := c.file.at[i]
		field := r.fieldOf(r.specs[i])
		for _, fl := range col.flaws {
			c.find(r, field, schemas.Finding{Rule: fl.rule, Field: r.specs[i].field.Name, Column: at + 1, Header: c.file.header[at], Value: fl.value,
				Detail: r.allowed(i, fl)}, fl.row, fl.more)
		}
		col.flaws = nil
	}
}

// find adds a finding about a row of the chunk, and notes it and the rows after it that are set aside with it.
func (c *chunk) find(r *reader, field *schemas.Field, f schemas.Finding, row, more int) {
	f.Table, f.File, f.Line = r.schema.Name, c.file.shown, int(c.lines[row])
	f = r.src.Judge(f, c.file.file, field)
	r.found.Add(f)
	if f.Rule.Severity != schemas.SetsAside {
		return
	}
	if c.aside == nil {
		c.aside = make([]bool, len(c.lines))
	}
	for k := range more + 1 {
		c.aside[row+k] = true
	}
}

// fieldOf returns the field of the table that a column is read for: that of a column of scores asks for less.
func (r *reader) fieldOf(sp *spec) *schemas.Field {
	if i := slices.IndexFunc(r.made, func(made *spec) bool { return made.field.Name == sp.field.Name }); i >= 0 {
		return r.made[i].field
	}
	return sp.field
}

// mostDetails is how many different wrong values of a column are told the nearest code. Whoever has more has not mistyped
// one, and looking each of a million up would take longer than reading.
const mostDetails = 1 << 12

// allowed says what a column allows. A file that is wrong on every row is mostly wrong in the same way.
func (r *reader) allowed(i int, fl flaw) string {
	if r.details == nil {
		r.details = make([]map[flaw]string, len(r.specs))
	}
	if r.details[i] == nil {
		r.details[i] = map[flaw]string{}
	}
	kind := flaw{rule: fl.rule, value: fl.value}
	if fl.rule != schemas.RuleUnknownCode || len(r.details[i]) >= mostDetails {
		kind.value = "" // only an unknown code is told the nearest known one
	}
	detail, ok := r.details[i][kind]
	if !ok {
		detail = r.specs[i].allowed(fl.rule, kind.value)
		r.details[i][kind] = detail
	}
	return detail
}

// setAside takes the rows out of use that were noted.
func (r *reader) setAside(t *schemas.Table) {
	first := 0
	for _, c := range r.chunks {
		for row, aside := range c.aside {
			if aside {
				t.SetAside(first + row)
			}
		}
		c.aside = nil
		first += len(c.lines)
	}
}
