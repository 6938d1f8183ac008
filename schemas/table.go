package schemas

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// Table is one export as it was read: typed columns, and the place every row came from. Every data row of the export
// is a row of the table, also one that a rule has set aside.
type Table struct {
	Schema  *Schema
	Sources []Piece // the files, in reading order
	Recoded []Recoded
	columns map[string]*Column
	order   []*Column
	lines   []int32 // line (or Parquet row) of each row within its file
	aside   []bool  // rows that a rule has set aside
	source  Source  // what the plan says of rules and columns; see Follow
	Offsets bool    // the Date columns hold day offsets, not calendar days
}

// Piece is the part of a table that came from one file.
type Piece struct {
	File  string // as messages show it
	First int    // its first row in the table
	Rows  int
	Note  string // what reading found out and states: "delimiter: semicolon"
	// FileRows is the number of rows of the file. It differs from Rows when scores stand in columns of the file, since each
	// score is a row of the table; the note then says how the two belong together.
	FileRows int
	// Header holds the names of all columns of the file, in its order, also of those that are not read.
	Header []string
}

// Recoded is one line of the recode log: how many cells of a field held one of the export's own codes, and the code of
// ours that the plan put in its place. N is 0 for a declared recode that met no cell.
type Recoded struct {
	Field, From, To string
	N               int
}

// NewTable makes a table of the given columns. lines holds the line of every row; its length is the number of rows,
// which every column must have.
func NewTable(s *Schema, pieces []Piece, lines []int32, columns []*Column) *Table {
	t := &Table{Schema: s, Sources: pieces, lines: lines, aside: make([]bool, len(lines)),
		columns: make(map[string]*Column, len(columns))}
	for _, c := range columns {
		if c.Len() != len(lines) {
			panic("schemas: column " + c.Field.Name + " has another length than its table")
		}
		t.columns[c.Field.Name] = c
	}
	t.order = ordered(s, columns)
	return t
}

// ordered puts the columns in the order of the schema; columns beyond it follow in the order they came.
func ordered(s *Schema, columns []*Column) []*Column {
	place := func(c *Column) int {
		for i := range s.Fields {
			if s.Fields[i].Name == c.Field.Name {
				return i
			}
		}
		return len(s.Fields)
	}
	list := slices.Clone(columns)
	slices.SortStableFunc(list, func(a, b *Column) int { return cmp.Compare(place(a), place(b)) })
	return list
}

// Columns returns the columns in the order of the schema, then those beyond it in the order of the source. The caller
// must not change the slice.
func (t *Table) Columns() []*Column { return t.order }

// Rows returns the number of rows read.
func (t *Table) Rows() int { return len(t.lines) }

// Column returns the column of a field, or nil when the export has none.
func (t *Table) Column(field string) *Column { return t.columns[field] }

// Place returns the file, and the line in it, that a row came from.
func (t *Table) Place(row int) (file string, line int) {
	if i := t.piece(row); i >= 0 {
		file = t.Sources[i].File
	}
	return file, int(t.lines[row])
}

// piece returns the place of a row's file among the sources, or -1.
func (t *Table) piece(row int) int {
	return sort.Search(len(t.Sources), func(i int) bool { return t.Sources[i].First > row }) - 1
}

// SetAside takes a row out of use. It stays in the table and is counted.
func (t *Table) SetAside(row int) { t.aside[row] = true }

// IsAside reports whether a rule has set the row aside.
func (t *Table) IsAside(row int) bool { return t.aside[row] }

// CountAside returns the number of rows set aside.
func (t *Table) CountAside() int {
	n := 0
	for _, a := range t.aside {
		if a {
			n++
		}
	}
	return n
}

// Follow takes over what the plan says of the source's rules and columns: which rules only warn, and which columns were
// reviewed, whose values no finding shows.
func (t *Table) Follow(src *Source) { t.source = *src }

// severe returns the rule as it holds for a field of the table.
func (t *Table) severe(rule *Rule, field string) *Rule {
	var f *Field
	if c := t.columns[field]; c != nil {
		f = c.Field
	}
	return t.source.severe(rule, f)
}

// Find makes a finding about a row (and, unless field is empty, one cell of it) and sets the row aside when the rule
// says so. It fills in the place; the caller adds the finding to its [Findings].
func (t *Table) Find(rule *Rule, row int, field, detail string) Finding {
	rule = t.severe(rule, field)
	if rule.Severity == SetsAside {
		t.SetAside(row)
	}
	file, line := t.Place(row)
	f := Finding{Rule: rule, Table: t.Schema.Name, File: file, Line: line, Field: field, Detail: detail, order: max(0, t.piece(row))}
	if c := t.columns[field]; c != nil {
		f.Header, f.Column = c.Cell(row)
		f.Masked = c.Field.Identifier
		f.Value = t.source.visible(f.Header, c.String(row))
	}
	return f
}

// The sentinels that stand in the slices of a column for a missing value.
const (
	NoDay  = math.MinInt32
	NoInt  = math.MinInt64
	NoCode = -1
)
