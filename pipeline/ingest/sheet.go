package ingest

import (
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"
)

// cellKind is what a cell of a sheet holds.
type cellKind uint8

// The kinds of cell.
const (
	emptyCell cellKind = iota
	textCell
	numberCell
	truthCell
	errorCell // an error, or a formula whose result is not stored
)

// sheetCell is one cell. Its column is counted from 1.
type sheetCell struct {
	column int
	kind   cellKind
	value  string
}

// trimmed returns a text without the spaces around it, as in a text file.
func (c *sheetCell) trimmed() string { return strings.Trim(c.value, " \t") }

// sheetRows goes through a sheet row by row.
type sheetRows struct {
	book  *workbook
	part  io.Closer
	xml   *xml.Decoder
	row   int // its number in the sheet
	cells []sheetCell
	err   error
}

func (w *workbook) rows() (*sheetRows, error) {
	part, err := w.part(w.sheet)
	if err != nil {
		return nil, err
	}
	return &sheetRows{book: w, part: part, xml: xml.NewDecoder(bufio.NewReaderSize(part, 1<<16))}, nil
}

func (s *sheetRows) close() { _ = s.part.Close() } // nothing was written

// The bounds of a sheet, by the standard.
const (
	mostRows    = 1 << 20
	mostColumns = 1 << 14
)

var (
	errSheet    = errors.New("the sheet is not as the standard says")
	errSheetEnd = errors.New("the sheet ends too early")
)

// next goes to the next row that the sheet holds; false at the end and when the sheet is damaged.
func (s *sheetRows) next() bool {
	for s.err == nil {
		token, err := s.xml.RawToken()
		if err != nil {
			s.err = errSheetEnd
			if !errors.Is(err, io.EOF) {
				s.err = err
			}
			return false
		}
		switch t := token.(type) {
		case xml.StartElement:
			if t.Name.Local == "row" {
				s.err = s.readRow(t)
				return s.err == nil
			}
		case xml.EndElement:
			if t.Name.Local == "sheetData" {
				return false
			}
		}
	}
	return false
}

func attribute(t *xml.StartElement, name string) string {
	for _, a := range t.Attr {
		if a.Name.Local == name && a.Name.Space == "" {
			return a.Value
		}
	}
	return ""
}

func (s *sheetRows) readRow(t xml.StartElement) error {
	number := s.row + 1
	if r := attribute(&t, "r"); r != "" {
		var err error
		if number, err = strconv.Atoi(r); err != nil || number <= s.row || number > mostRows {
			return fmt.Errorf("%w: row %q follows row %d", errSheet, r, s.row)
		}
	}
	s.row, s.cells = number, s.cells[:0]
	for {
		token, err := s.xml.RawToken()
		if err != nil {
			return errSheetEnd
		}
		switch t := token.(type) {
		case xml.StartElement:
			if t.Name.Local == "c" {
				if err := s.readCell(t); err != nil {
					return err
				}
			}
		case xml.EndElement:
			if t.Name.Local == "row" {
				return nil
			}
		}
	}
}

func (s *sheetRows) readCell(t xml.StartElement) error {
	c := sheetCell{column: 1}
	if n := len(s.cells); n > 0 {
		c.column = s.cells[n-1].column + 1
	}
	if ref := attribute(&t, "r"); ref != "" {
		column, _, ok := cellPlace(ref)
		if !ok || column < c.column {
			return fmt.Errorf("%w: the cell %q in row %d", errSheet, ref, s.row)
		}
		c.column = column
	}
	value, unsolved, err := s.inside()
	if err != nil {
		return err
	}
	c.kind, c.value, err = s.book.meaning(attribute(&t, "t"), value, unsolved)
	if err != nil {
		return fmt.Errorf("%w in row %d", err, s.row)
	}
	s.cells = append(s.cells, c)
	return nil
}

// inside reads what a cell holds: the value, or that there is a formula whose result is not stored.
func (s *sheetRows) inside() (value []byte, unsolved bool, err error) {
	within, formula, stored := "", false, false
	for {
		token, err := s.xml.RawToken()
		if err != nil {
			return nil, false, errSheetEnd
		}
		switch t := token.(type) {
		case xml.StartElement:
			within = t.Name.Local
			formula, stored = formula || within == "f", stored || within == "v"
			if within == "rPh" { // how a text is spoken
				if err := s.skip("rPh"); err != nil {
					return nil, false, err
				}
				within = ""
			}
		case xml.CharData:
			if within == "v" || within == "t" {
				value = append(value, t...)
			}
		case xml.EndElement:
			if within = ""; t.Name.Local == "c" {
				return value, formula && !stored, nil
			}
		}
	}
}

func (s *sheetRows) skip(name string) error {
	for {
		token, err := s.xml.RawToken()
		if err != nil {
			return errSheetEnd
		}
		if t, ok := token.(xml.EndElement); ok && t.Name.Local == name {
			return nil
		}
	}
}

// meaning says what a cell of a declared type holds.
func (w *workbook) meaning(kind string, value []byte, unsolved bool) (cellKind, string, error) {
	switch {
	case unsolved:
		return errorCell, "formula without a result", nil
	case len(value) == 0:
		return emptyCell, "", nil
	}
	switch kind {
	case "", "n":
		return numberCell, string(value), nil
	case "s":
		i, err := strconv.Atoi(string(value))
		if err != nil || i < 0 || i >= len(w.texts) {
			return 0, "", fmt.Errorf("%w: there is no text %q", errSheet, value)
		}
		if w.texts[i] == "" {
			return emptyCell, "", nil
		}
		return textCell, w.texts[i], nil
	case "b":
		return truthCell, strconv.FormatBool(flag(value).set()), nil
	case "e":
		return errorCell, string(value), nil
	}
	return textCell, unescaped(string(value)), nil
}

// hexLetter is how a workbook writes letters that XML cannot.
var hexLetter = regexp.MustCompile(`_x[0-9A-Fa-f]{4}_`)

func unescaped(s string) string {
	if !strings.Contains(s, "_x") {
		return s
	}
	return hexLetter.ReplaceAllStringFunc(s, func(m string) string {
		v, _ := strconv.ParseUint(m[2:6], 16, 16) // the form has made sure of it
		return string(utf8.AppendRune(nil, rune(v)))
	})
}

// shared reads the texts that the sheets share.
func (w *workbook) shared(name string) ([]string, error) {
	if name == "" {
		return nil, nil
	}
	part, err := w.part(name)
	if err != nil {
		return nil, err
	}
	defer part.Close()
	d := xml.NewDecoder(bufio.NewReaderSize(part, 1<<16))
	var texts []string
	var text strings.Builder
	spoken, within := false, false
	for {
		token, err := d.RawToken()
		if err == io.EOF {
			return texts, nil
		}
		if err != nil {
			return nil, err
		}
		switch t := token.(type) {
		case xml.StartElement:
			within = t.Name.Local == "t"
			spoken = spoken || t.Name.Local == "rPh"
			if t.Name.Local == "si" {
				text.Reset()
			}
		case xml.CharData:
			if within && !spoken {
				text.Write(t)
			}
		case xml.EndElement:
			within = false
			switch t.Name.Local {
			case "rPh":
				spoken = false
			case "si":
				texts = append(texts, unescaped(text.String()))
			}
		}
	}
}

// cellPlace reads the name of a cell, as AB12.
func cellPlace(ref string) (column, row int, ok bool) {
	i := 0
	for ; i < len(ref) && ref[i] >= 'A' && ref[i] <= 'Z' && column <= mostColumns; i++ {
		column = 26*column + int(ref[i]-'A') + 1
	}
	row, err := strconv.Atoi(ref[i:])
	return column, row, err == nil && column >= 1 && column <= mostColumns && row >= 1 && row <= mostRows
}

// area is a merged area of cells, its borders included.
type area struct{ left, top, right, bottom int }

// areas are the merged areas of a sheet.
type areas []area

// covering returns the areas that a row lies in.
func (a areas) covering(row int) (found areas) {
	for _, m := range a {
		if m.top <= row && row <= m.bottom {
			found = append(found, m)
		}
	}
	return found
}

// hides reports whether a cell is covered by the first cell of an area.
func (a areas) hides(column, row int) bool {
	for _, m := range a {
		if m.left <= column && column <= m.right && (column != m.left || row != m.top) {
			return true
		}
	}
	return false
}

var mergeRef = regexp.MustCompile(`mergeCell\s[^>]*ref="([A-Z]+[0-9]+):([A-Z]+[0-9]+)"`)

// merged reads the merged areas, which a sheet lists after its rows, before the rows are read.
func (w *workbook) merged() (found areas, err error) {
	part, err := w.part(w.sheet)
	if err != nil {
		return nil, err
	}
	defer part.Close()
	tags := bufio.NewReaderSize(part, 1<<16)
	for {
		tag, err := tags.ReadSlice('>')
		if bytes.Contains(tag, []byte("mergeCell")) {
			if m := mergeRef.FindSubmatch(tag); m != nil {
				left, top, ok1 := cellPlace(string(m[1]))
				right, bottom, ok2 := cellPlace(string(m[2]))
				if ok1 && ok2 {
					found = append(found, area{left, top, right, bottom})
				}
			}
		}
		if err == io.EOF {
			return found, nil
		}
		if err != nil && !errors.Is(err, bufio.ErrBufferFull) {
			return nil, err
		}
	}
}

// holdsAny reports whether any cell of the row holds something.
func (s *sheetRows) holdsAny() bool {
	for i := range s.cells {
		if s.cells[i].kind != emptyCell {
			return true
		}
	}
	return false
}
