package schemas

import (
	"cmp"
	"encoding/csv"
	"io"
	"regexp"
	"strconv"
)

// setAsideHeader names the columns of the file that WriteSetAside writes.
var setAsideHeader = []string{"file", "line", "column", "header", "field", "value", "rule", "sentence", "detail",
	"remedy", "effect"}

// WriteSetAside writes every finding about one table as CSV, one finding a line, by file, line and column. The last
// column says what the finding did to the row: "set aside", "unlinked", or "warning" when it did nothing. The file is
// private: values of identifiers are written as they were found. Cells that a spreadsheet would take for a formula are
// written with an apostrophe in front.
func WriteSetAside(w io.Writer, table string, fs *Findings) error {
	return writeFindings(w, setAsideHeader, fs, func(f *Finding) []string {
		if f.Table != table {
			return nil
		}
		return f.cells()
	})
}

// WriteFindings writes every finding about every table, as [WriteSetAside] does for one, with the name of the table in
// front. It is as private.
func WriteFindings(w io.Writer, fs *Findings) error {
	return writeFindings(w, append([]string{"table"}, setAsideHeader...), fs, func(f *Finding) []string {
		return append([]string{f.Table}, f.cells()...)
	})
}

// WriteRecodes writes the recode log of some tables: how many cells of each field held one of the export's own codes, and
// what it became. In a table of one row a shoulder these are counts of shoulders, so the list is private.
func WriteRecodes(w io.Writer, tables []*Table) error {
	out := csv.NewWriter(w)
	lines := [][]string{{"table", "field", "from", "to", "cells"}}
	for _, t := range tables {
		for _, r := range t.Recoded {
			lines = append(lines, []string{t.Schema.Name, r.Field, harmless(r.From), harmless(r.To), strconv.Itoa(r.N)})
		}
	}
	return out.WriteAll(lines)
}

// writeFindings writes one line for each finding that has cells.
func writeFindings(w io.Writer, header []string, fs *Findings, cells func(*Finding) []string) error {
	out := csv.NewWriter(w)
	if err := out.Write(header); err != nil {
		return err
	}
	for f := range fs.Each() {
		if line := cells(&f); line != nil {
			if err := out.Write(line); err != nil {
				return err
			}
		}
	}
	out.Flush()
	return cmp.Or(out.Error(), fs.Err())
}

// effects says what a finding of each severity does to its row.
var effects = map[Severity]string{SetsAside: "set aside", Warns: "warning", Unlinks: "unlinked"}

func (f *Finding) cells() []string {
	cells := []string{f.File, number(f.Line), number(f.Column), f.Header, f.Field, f.Value, f.Rule.ID, f.Rule.Sentence,
		f.Detail, f.Rule.Remedy, effects[f.Rule.Severity]}
	for i, c := range cells {
		cells[i] = harmless(c)
	}
	return cells
}

// number writes a line or a column, empty when unknown.
func number(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

var plainNumber = regexp.MustCompile(`^[+-]?[0-9]+([.,][0-9]+)?$`)

// harmless puts an apostrophe in front of a cell that a spreadsheet would take for a formula. A number as it was found
// in the export is text here, and stays as it is.
func harmless(cell string) string {
	if beginsLikeFormula(cell) && !plainNumber.MatchString(cell) {
		return "'" + cell
	}
	return cell
}
