package cohorts

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"deltoid/schemas"
)

// farthest is the largest day, before or after day 0, that a record may have: some 2,700 years. No difference of two
// such days overflows.
const farthest = 1_000_000

// door is how a row left the table: a row that no rule has set aside is used or unlinked, and never both.
type door uint8

const (
	noDoor door = iota
	used
	unlinked
)

// records is one table while it is being linked.
type records struct {
	table   *schemas.Table
	patient *schemas.Column
	days    []int32
	codes   []int16 // of the side; nil for a table about patients
	sides   []Side  // by code
	doors   []door
}

// openRecords finds the columns that linking needs. The error is a [schemas.Problem] when one is missing.
func openRecords(t *schemas.Table, sided bool) (*records, error) {
	r := &records{table: t, patient: t.Column("patient"), doors: make([]door, t.Rows())}
	day, side := t.Column("day"), t.Column("side")
	switch {
	case r.patient == nil:
		return nil, noColumn(t, "patient")
	case day == nil:
		return nil, noColumn(t, "day")
	case sided && side == nil:
		return nil, noColumn(t, "side")
	}
	r.days = day.Days()
	if sided {
		r.codes, r.sides = side.Codes(), sidesOf(side)
	}
	return r, nil
}

// noColumn says that a table lacks a column without which none of its rows can be placed.
func noColumn(t *schemas.Table, field string) *schemas.Problem {
	where := t.Schema.Name
	if len(t.Sources) > 0 {
		where = t.Sources[0].File
	}
	return &schemas.Problem{Kind: schemas.ExportProblem, Where: where,
		What:   fmt.Sprintf("the table %q has no column for the field %q", t.Schema.Name, field),
		Remedy: "export the column, or name it under the table's columns in the study plan"}
}

func sidesOf(c *schemas.Column) []Side {
	sides := make([]Side, len(c.Levels()))
	for i, level := range c.Levels() {
		sides[i] = map[string]Side{"left": Left, "right": Right}[level]
	}
	return sides
}

// side returns the side of a row, [NoSide] when it is missing or no side.
func (r *records) side(row int) Side {
	if c := r.codes[row]; c >= 0 {
		return r.sides[c]
	}
	return NoSide
}

// unusable returns the rule that keeps a row from being placed at all, and the field that breaks it; nil for nearly
// every row, since the same rules have been applied when the table was read.
func (r *records) unusable(row int) (*schemas.Rule, string) {
	switch {
	case r.patient.Text(row) == "":
		return schemas.RuleMissingRequired, "patient"
	case r.codes != nil && r.codes[row] < 0:
		return schemas.RuleMissingRequired, "side"
	case r.codes != nil && r.side(row) == NoSide:
		return schemas.RuleUnknownCode, "side"
	case r.days[row] == schemas.NoDay:
		return schemas.RuleMissingRequired, "day"
	case r.days[row] < -farthest || r.days[row] > farthest:
		return schemas.RuleOutOfRange, "day"
	}
	return nil, ""
}

// inOrder sorts rows by day, and rows of one day by first (when given), then by what they say, then by their place. No
// part of that is the order in which the rows came.
func (r *records) inOrder(rows []int32, first func(row int32) int) {
	if len(rows) < 2 {
		return
	}
	slices.SortFunc(rows, func(a, b int32) int {
		if c := cmp.Compare(r.days[a], r.days[b]); c != 0 {
			return c
		}
		if first != nil && first(a) != first(b) {
			return cmp.Compare(first(a), first(b))
		}
		return byContent(r.table, a, b)
	})
}

// byContent compares two rows of a table by what they say, column after column, and then by their place. Codes come in
// the order of their list.
func byContent(t *schemas.Table, a, b int32) int {
	for _, c := range t.Columns() {
		textA, textB := c.String(int(a)), c.String(int(b))
		if textA == textB {
			continue
		}
		return cmp.Or(cmp.Compare(listed(c.Field, textA), listed(c.Field, textB)), cmp.Compare(textA, textB))
	}
	fileA, lineA := t.Place(int(a))
	fileB, lineB := t.Place(int(b))
	return cmp.Or(cmp.Compare(fileA, fileB), cmp.Compare(lineA, lineB))
}

// listed returns the position of a code in its list; what is not in it comes first.
func listed(f *schemas.Field, code string) int {
	return slices.IndexFunc(f.Codes, func(c schemas.CodeValue) bool { return c.Value == code })
}

// at says when and where a row is, for the detail of a finding about another row.
func (r *records) at(row int32) string {
	file, line := r.table.Place(int(row))
	return fmt.Sprintf("%s (%s:%d)", showDay(r.table, r.days[row]), file, line)
}

func showDay(t *schemas.Table, day int32) string {
	if t.Offsets {
		return "day " + strconv.Itoa(int(day))
	}
	return schemas.FormatDay(day)
}

// ledger closes the account of a table. The error is a fault of the program.
func (r *records) ledger() (schemas.Ledger, error) {
	l := schemas.Ledger{Table: r.table.Schema.Name, Read: r.table.Rows(), SetAside: r.table.CountAside()}
	for row, d := range r.doors {
		if r.table.IsAside(row) == (d != noDoor) {
			file, line := r.table.Place(row)
			return l, fmt.Errorf("the row at %s:%d of table %q did not leave by exactly one door; this is a fault of the "+
				"program, please report it", file, line, l.Table)
		}
		switch d {
		case used:
			l.Used++
		case unlinked:
			l.Unlinked++
		}
	}
	return l, l.Close()
}

// clerk writes down what is found in one part of the rows.
type clerk struct {
	cut   int32
	found []schemas.Finding
}

// find records that a row breaks a rule, and sends the row through the door that the rule leads to. It reports whether the
// row stays in use, because the rule only warns.
func (c *clerk) find(r *records, row int32, rule *schemas.Rule, field, detail string) (stays bool) {
	if rule.Severity == schemas.Unlinks {
		r.doors[row] = unlinked
	}
	f := r.table.Find(rule, int(row), field, detail)
	c.found = append(c.found, f)
	return f.Rule.Severity == schemas.Warns
}

// use takes a row into the registry.
func (c *clerk) use(r *records, row int32) {
	r.doors[row] = used
	if c.cut != schemas.NoDay && r.days[row] > c.cut {
		c.find(r, row, RuleAfterDataCut, "day", "the data cut is "+showDay(r.table, c.cut))
	}
}

// usable reports whether a row can be placed at all. A row that was set aside earlier is not looked at again.
func (c *clerk) usable(r *records, row int) bool {
	if r.table.IsAside(row) {
		return false
	}
	rule, field := r.unusable(row)
	if rule != nil {
		c.find(r, int32(row), rule, field, "")
	}
	return rule == nil
}
