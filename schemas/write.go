package schemas

import (
	"io"
	"strconv"
	"strings"
)

// WriteOption changes how [WriteCSV] writes.
type WriteOption uint8

// ForSharing neutralises cells that a spreadsheet would run as a formula: a text, a code or a header that begins with
// = + - @, a tab or a carriage return gets an apostrophe in front. Numbers and days are left as they are, negative ones
// too. A file written so may not read back to the same table; leave the option out where it must.
const ForSharing WriteOption = 1

// writeBlock is how much of a file is put together before it is handed to the writer.
const writeBlock = 1 << 16

// WriteCSV writes a table as UTF-8 text: a header, commas, line feeds, an empty cell for a missing value, quotes only
// where a cell needs them (also around leading or trailing spaces, which a reader takes away otherwise). Columns come in
// the order of [Table.Columns] under the names of their fields; numbers in the shortest form that reads back to the same
// float64; days as YYYY-MM-DD, or as whole numbers in a table of day offsets. The same table gives the same bytes.
func WriteCSV(w io.Writer, t *Table, options ...WriteOption) error {
	c := csvWriter{table: t}
	for _, o := range options {
		c.guarded = c.guarded || o == ForSharing
	}
	c.header()
	for row := range t.Rows() {
		c.row(row)
		if len(c.out) >= writeBlock {
			if _, err := w.Write(c.out); err != nil {
				return err
			}
			c.out = c.out[:0]
		}
	}
	_, err := w.Write(c.out)
	return err
}

type csvWriter struct {
	table   *Table
	guarded bool
	out     []byte
}

func (w *csvWriter) header() {
	for i, c := range w.table.Columns() {
		if i > 0 {
			w.out = append(w.out, ',')
		}
		w.text(c.Field.Name)
	}
	w.out = append(w.out, '\n')
}

func (w *csvWriter) row(row int) {
	start := len(w.out)
	for i, c := range w.table.Columns() {
		if i > 0 {
			w.out = append(w.out, ',')
		}
		w.cell(c, row)
	}
	if len(w.out) == start { // a blank line would not be read as a row
		w.out = append(w.out, '"', '"')
	}
	w.out = append(w.out, '\n')
}

func (w *csvWriter) cell(c *Column, row int) {
	if c.IsMissing(row) {
		return
	}
	switch c.Field.Type {
	case Date:
		w.day(c.days[row])
	case Integer:
		w.out = strconv.AppendInt(w.out, c.ints[row], 10)
	case Number:
		w.out = strconv.AppendFloat(w.out, c.numbers[row], 'g', -1, 64)
	case Code:
		w.text(c.levels[c.codes[row]])
	default:
		w.text(c.texts.Value(row))
	}
}

func (w *csvWriter) day(day int32) {
	if w.table.Offsets {
		w.out = strconv.AppendInt(w.out, int64(day), 10)
		return
	}
	w.out = append(w.out, FormatDay(day)...)
}

// text writes a text with its quotes.
func (w *csvWriter) text(s string) {
	if w.guarded && beginsLikeFormula(s) {
		s = "'" + s
	}
	if !needsQuotes(s) {
		w.out = append(w.out, s...)
		return
	}
	w.out = append(w.out, '"')
	w.out = append(w.out, strings.ReplaceAll(s, `"`, `""`)...)
	w.out = append(w.out, '"')
}

func beginsLikeFormula(s string) bool {
	return s != "" && strings.IndexByte("=+-@\t\r", s[0]) >= 0
}

func needsQuotes(s string) bool {
	return s != strings.Trim(s, " \t") || strings.ContainsAny(s, "\",\r\n")
}
