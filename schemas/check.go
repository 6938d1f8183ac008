package schemas

import (
	"fmt"
	"strings"
)

// Check applies the rules about a whole table to every row, in time linear in the rows, and adds what it finds to found.
//
// A key names a row once. Of the rows that share one, the first that no rule has set aside stays in use; each of the
// others is set aside and its finding names the row that stays. A row in which a part of a key is missing has no such
// key, as in the standard's section uniqueKeys; rows without any key are compared as a whole, and a repetition among
// them is a warning, because two shoulders of one patient can agree in everything that an export holds.
//
// In the ready table, follow-up must end after a late entry. Follow-up of 0 days is allowed when entry is on day 0, and
// only a follow-up that ended in a revision has a reason for one. A score must be one that its instrument can give, and
// the ages of a patient at two procedures must fit the days.
func Check(t *Table, found *Findings) {
	c := &checker{table: t, columns: t.Columns(), to: found}
	c.followUpOrder()
	c.reasons()
	c.scores()
	c.ages()
	keyed := make([]bool, t.Rows())
	for _, names := range t.Schema.keys() {
		c.key(names, keyed)
	}
	c.unkeyed(keyed)
	found.Add(c.found...)
}

// CheckRows applies those rules of [Check] that look at one row alone. It is for a table that is a part of a larger one, of
// which nobody has all rows at hand.
func CheckRows(t *Table, found *Findings) {
	c := &checker{table: t, columns: t.Columns(), to: found}
	c.followUpOrder()
	c.reasons()
	c.scores()
	found.Add(c.found...)
}

// keys returns the primary key, if there is one, and the further keys.
func (s *Schema) keys() [][]string {
	if len(s.PrimaryKey) == 0 {
		return s.UniqueKeys
	}
	return append([][]string{s.PrimaryKey}, s.UniqueKeys...)
}

type checker struct {
	table   *Table
	columns []*Column
	to      *Findings
	found   []Finding // not yet handed on
}

func (c *checker) find(rule *Rule, row int, field, detail string) {
	const atOnce = 1 << 10 // a table can be wrong on every row
	if c.found = append(c.found, c.table.Find(rule, row, field, detail)); len(c.found) == atOnce {
		c.to.Add(c.found...)
		c.found = c.found[:0]
	}
}

func (c *checker) followUpOrder() {
	entry, end := c.table.Column("entry_day"), c.table.Column("follow_up")
	if c.table.Schema.Name != "shoulders" || entry == nil || end == nil {
		return
	}
	from, to := entry.Integers(), end.Integers()
	for row := range from {
		// NoInt is below 0, so a missing entry day counts as day 0 here.
		if from[row] > 0 && to[row] != NoInt && to[row] <= from[row] {
			c.find(RuleFollowUpOrder, row, "follow_up", fmt.Sprintf("observation begins on day %d", from[row]))
		}
	}
}

// key compares the rows that have every part of one key and marks them as keyed. The findings come after the
// comparison, when it is known which row of each key stays.
func (c *checker) key(names []string, keyed []bool) {
	columns, ok := c.table.named(names)
	if !ok {
		return
	}
	seen := newRowSet(columns, c.table.Rows())
	var repeated []int
	for row := range keyed {
		if missingAny(columns, row) {
			continue
		}
		keyed[row] = true
		other, again := seen.add(row)
		if !again {
			continue
		}
		if c.table.IsAside(other) && !c.table.IsAside(row) {
			seen.replace(other, row)
			row = other
		}
		repeated = append(repeated, row)
	}
	for _, row := range repeated {
		c.repeats(names, row, seen.like(row))
	}
}

// repeats makes the finding about a row that has the key of the row kept.
func (c *checker) repeats(names []string, row, kept int) {
	detail := "the key is " + strings.Join(names, ", ") + "; the other row is " + c.place(kept)
	// A cell that broke a rule has become missing: rows with one cannot be called the same.
	differ := c.differing(row, kept)
	if len(differ) == 0 && !c.table.IsAside(row) && !c.table.IsAside(kept) {
		c.find(RuleSameRowTwice, row, "", detail)
		return
	}
	if len(differ) > 0 {
		detail += "; they differ in " + strings.Join(differ, ", ")
	}
	c.find(RuleDuplicateKey, row, "", detail)
}

// unkeyed compares the rows that have no key as a whole.
func (c *checker) unkeyed(keyed []bool) {
	var seen *rowSet
	for row, has := range keyed {
		if has || c.table.IsAside(row) {
			continue
		}
		if seen == nil {
			seen = newRowSet(c.columns, c.table.Rows())
		}
		if other, repeated := seen.add(row); repeated {
			c.find(RuleNotToldApart, row, "", "the other row is "+c.place(other))
		}
	}
}

func (c *checker) place(row int) string {
	file, line := c.table.Place(row)
	return fmt.Sprintf("%s:%d", file, line)
}

func (c *checker) differing(a, b int) []string {
	var names []string
	for _, col := range c.columns {
		if !col.equal(a, b) {
			names = append(names, col.Field.Name)
		}
	}
	return names
}

func missingAny(columns []*Column, row int) bool {
	for _, c := range columns {
		if c.missing(row) {
			return true
		}
	}
	return false
}
