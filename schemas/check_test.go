package schemas

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// tableOf makes a table of one file, "export.csv", from rows of texts; an empty text is a missing value. The first row
// stands on line 2. Codes that the schema does not know become missing and set their row aside, as reading does it.
func tableOf(t interface{ Fatalf(string, ...any) }, schema string, fields []string, rows ...[]string) *Table {
	s, err := Shipped(schema)
	if err != nil {
		t.Fatalf("%v", err)
	}
	lines := make([]int32, len(rows))
	for i := range lines {
		lines[i] = int32(i + 2)
	}
	var columns []*Column
	var aside []int
	for at, name := range fields {
		cells := make([]string, len(rows))
		for i := range rows {
			cells[i] = rows[i][at]
			if cells[i] == "?" {
				cells[i] = ""
				aside = append(aside, i)
			}
		}
		c := columnOf(s.Field(name), cells)
		c.Header, c.Position = strings.ToUpper(name), at+1
		columns = append(columns, c)
	}
	table := NewTable(s, []Piece{{File: "export.csv", Rows: len(rows)}}, lines, columns)
	for _, row := range aside {
		table.SetAside(row)
	}
	return table
}

func columnOf(f *Field, cells []string) *Column {
	switch f.Type {
	case Integer, Date:
		ints, days := make([]int64, len(cells)), make([]int32, len(cells))
		for i, c := range cells {
			ints[i], days[i] = NoInt, NoDay
			if c != "" {
				fmt.Sscan(c, &ints[i])
				days[i] = int32(ints[i])
			}
		}
		if f.Type == Date {
			return DateColumn(f, days)
		}
		return IntegerColumn(f, ints)
	case Code:
		codes := make([]int16, len(cells))
		levels := make([]string, len(f.Codes))
		for k := range f.Codes {
			levels[k] = f.Codes[k].Value
		}
		for i, c := range cells {
			codes[i] = NoCode
			for k := range levels {
				if levels[k] == c {
					codes[i] = int16(k)
				}
			}
		}
		return CodeColumn(f, levels, codes)
	default:
		offsets := []int32{0}
		for _, c := range cells {
			offsets = append(offsets, offsets[len(offsets)-1]+int32(len(c)))
		}
		return TextColumn(f, offsets, []byte(strings.Join(cells, "")))
	}
}

// told returns the findings as "line rule detail".
func told(fs *Findings) []string {
	var out []string
	for _, f := range fs.All() {
		out = append(out, fmt.Sprintf("%d %s %s", f.Line, f.Rule.ID, f.Detail))
	}
	return out
}

func checked(t *Table) []string {
	var fs Findings
	Check(t, &fs)
	return told(&fs)
}

// The worked cases below were written out by hand.
func TestCheckWorkedCases(t *testing.T) {
	revisions := []string{"patient", "side", "day", "reason"}
	ready := []string{"patient", "side", "entry_day", "follow_up", "outcome"}
	const key = "the key is patient, side, day; the other row is "
	for name, c := range map[string]struct {
		table *Table
		found []string
		aside []int
	}{
		"nothing wrong": {table: tableOf(t, "revisions", revisions,
			[]string{"p1", "left", "10", "infection"}, []string{"p1", "right", "10", "infection"}, []string{"p1", "left", "11", "infection"})},
		"no rows": {table: tableOf(t, "revisions", revisions)},
		"the same row twice": {table: tableOf(t, "revisions", revisions,
			[]string{"p1", "left", "10", "infection"}, []string{"p1", "left", "10", "infection"}),
			found: []string{"3 same-row-twice " + key + "export.csv:2"}, aside: []int{1}},
		"one key, two reasons": {table: tableOf(t, "revisions", revisions,
			[]string{"p1", "left", "10", "infection"}, []string{"p1", "left", "10", "wear"}, []string{"p1", "left", "10", "infection"}),
			found: []string{"3 duplicate-key " + key + "export.csv:2; they differ in reason", "4 same-row-twice " + key + "export.csv:2"}, aside: []int{1, 2}},
		"the first row is not usable": {table: tableOf(t, "revisions", revisions,
			[]string{"p1", "left", "10", "?"}, []string{"p1", "left", "10", "?"}, []string{"p1", "left", "10", "wear"}),
			found: []string{"2 duplicate-key " + key + "export.csv:4; they differ in reason", "3 duplicate-key " + key + "export.csv:4; they differ in reason"}, aside: []int{0, 1}},
		"a part of the key is missing": {table: tableOf(t, "revisions", revisions,
			[]string{"p1", "?", "10", "wear"}, []string{"p1", "?", "10", "wear"}), aside: []int{0, 1}},
		"two shoulders without a side": {table: tableOf(t, "shoulders", ready,
			[]string{"p1", "", "", "900", "revised"}, []string{"p1", "", "", "900", "revised"}, []string{"p1", "left", "", "900", "revised"}),
			found: []string{"3 not-told-apart the other row is export.csv:2"}},
		"one shoulder twice": {table: tableOf(t, "shoulders", ready,
			[]string{"p1", "left", "", "900", "revised"}, []string{"p1", "left", "", "901", "revised"}),
			found: []string{"3 duplicate-key the key is patient, side; the other row is export.csv:2; they differ in follow_up"}, aside: []int{1}},
		"follow-up ends before it begins": {table: tableOf(t, "shoulders", ready,
			[]string{"p1", "left", "30", "20", "died"}, []string{"p2", "left", "30", "30", "died"}, []string{"p3", "left", "30", "31", "died"},
			[]string{"p4", "left", "0", "0", "died"}, []string{"p5", "left", "", "0", "died"}, []string{"p6", "left", "5", "?", "died"}),
			found: []string{"2 follow-up-order observation begins on day 30", "3 follow-up-order observation begins on day 30"}, aside: []int{0, 1, 5}},
	} {
		if diff := cmp.Diff(c.found, checked(c.table)); diff != "" {
			t.Errorf("%s: findings (-want +got):\n%s", name, diff)
		}
		if diff := cmp.Diff(c.aside, asideRows(c.table)); diff != "" {
			t.Errorf("%s: rows set aside (-want +got):\n%s", name, diff)
		}
	}
}

func asideRows(t *Table) []int {
	var rows []int
	for i := range t.Rows() {
		if t.IsAside(i) {
			rows = append(rows, i)
		}
	}
	return rows
}

func TestFindingOfTheFollowUpPointsAtItsCell(t *testing.T) {
	var fs Findings
	Check(tableOf(t, "shoulders", []string{"patient", "entry_day", "follow_up"}, []string{"p1", "30", "20"}), &fs)
	f := fs.All()[0]
	got := []any{f.File, f.Line, f.Column, f.Field, f.Header, f.Value, f.Masked}
	if diff := cmp.Diff([]any{"export.csv", 2, 3, "follow_up", "FOLLOW_UP", "20", false}, got); diff != "" {
		t.Error(diff)
	}
}

// The slow twin compares every row with every other one, straight from the words of Check's comment.
func TestCheckAgreesWithComparingEveryPair(t *testing.T) {
	fields := []string{"patient", "side", "follow_up", "outcome"}
	rapid.Check(t, func(rt *rapid.T) {
		rows := make([][]string, rapid.IntRange(0, 40).Draw(rt, "rows"))
		for i := range rows {
			rows[i] = []string{
				rapid.SampledFrom([]string{"a", "b", "ab"}).Draw(rt, "patient"),
				rapid.SampledFrom([]string{"left", "right", ""}).Draw(rt, "side"),
				rapid.SampledFrom([]string{"1", "2"}).Draw(rt, "follow-up"),
				rapid.SampledFrom([]string{"revised", "died", "?"}).Draw(rt, "outcome"),
			}
		}
		var want []string
		for i := range rows {
			if line := pairwise(rows, i); line != "" {
				want = append(want, line)
			}
		}
		var got []string
		for _, line := range checked(tableOf(rt, "shoulders", fields, rows...)) {
			line, _, _ = strings.Cut(line, "; they differ")
			got = append(got, line)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			rt.Fatalf("(-pairs +Check):\n%s", diff)
		}
	})
}

// pairwise says what is wrong with row i of the twin's rows.
func pairwise(rows [][]string, i int) string {
	usable := func(k int) bool { return rows[k][3] != "?" }
	keyed := rows[i][1] != ""
	kept := -1
	for k := range rows {
		alike := rows[k][0] == rows[i][0] && rows[k][1] == rows[i][1]
		if keyed && alike && (kept < 0 || !usable(kept) && usable(k)) {
			kept = k
		}
		if !keyed && kept < 0 && usable(k) && usable(i) && strings.Join(rows[k], "|") == strings.Join(rows[i], "|") {
			kept = k
		}
	}
	switch {
	case kept < 0 || kept == i:
		return ""
	case !keyed:
		return fmt.Sprintf("%d not-told-apart the other row is export.csv:%d", i+2, kept+2)
	case usable(i) && usable(kept) && strings.Join(rows[i], "|") == strings.Join(rows[kept], "|"):
		return fmt.Sprintf("%d same-row-twice the key is patient, side; the other row is export.csv:%d", i+2, kept+2)
	default:
		return fmt.Sprintf("%d duplicate-key the key is patient, side; the other row is export.csv:%d", i+2, kept+2)
	}
}

// Numbers that are equal must hash alike: 0 and -0, and the missing ones.
func TestRowsThatAgreeInNumbersAreFound(t *testing.T) {
	f := &Field{Name: "age", Type: Number}
	column := NumberColumn(f, []float64{0, math.Copysign(0, -1), 1, math.NaN(), -math.NaN()})
	set := newRowSet([]*Column{column}, column.Len())
	var again []bool
	for row := range column.Len() {
		_, repeated := set.add(row)
		again = append(again, repeated)
	}
	if diff := cmp.Diff([]bool{false, true, false, false, true}, again); diff != "" {
		t.Error(diff)
	}
}

// A million rows and none repeated is the common case; half of them repeated is the costly one.
func BenchmarkCheck(b *testing.B) {
	for _, distinct := range []int{1_000_000, 500_000} {
		b.Run(fmt.Sprintf("rows=1000000/distinct=%d", distinct), func(b *testing.B) {
			table := manyShoulders(b, 1_000_000, distinct)
			for b.Loop() {
				clear(table.aside)
				var fs Findings
				Check(table, &fs)
			}
		})
	}
}

func manyShoulders(b *testing.B, n, distinct int) *Table {
	s, err := Shipped("shoulders")
	if err != nil {
		b.Fatal(err)
	}
	offsets, text := make([]int32, 1, n+1), []byte{}
	side, days, lines := make([]int16, n), make([]int64, n), make([]int32, n)
	for i := range n {
		k := i % distinct
		text = fmt.Appendf(text, "P%07d", k/2)
		offsets = append(offsets, int32(len(text)))
		side[i], days[i], lines[i] = int16(k%2), int64(k%5000), int32(i+2)
	}
	return NewTable(s, []Piece{{File: "export.csv", Rows: n}}, lines, []*Column{
		TextColumn(s.Field("patient"), offsets, text),
		CodeColumn(s.Field("side"), []string{"left", "right"}, side),
		IntegerColumn(s.Field("follow_up"), days),
	})
}
