package ingest

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"slices"
	"strings"

	"deltoid/schemas"
)

// A workbook is a zip archive of XML files (ISO/IEC 29500, part 1). It is read here and not by a library, because the
// libraries' ways to read a sheet row by row hand out every cell as a text: a number and the text that looks like it, an
// error and its name, the covered part of a merged area and an empty cell are then one and the same.

// workbook is an open workbook.
type workbook struct {
	archive *zip.Reader
	limit   int64 // how long a part of the archive may be when it is unpacked
	texts   []string
	since04 bool   // days are counted from 1904
	sheet   string // path of the sheet in the archive
}

// The most that a part of a workbook may grow when it is unpacked: a small file must not ask for all memory.
const (
	smallPart  = 64 << 20
	mostGrowth = 100
)

// readWorkbook reads one sheet.
func (r *reader) readWorkbook(ctx context.Context, f *os.File, size int64, b *binding) error {
	w, p := openWorkbook(f, size, b, r.src.Sheet)
	if p != nil {
		return p
	}
	merged, err := w.merged()
	if err != nil {
		return b.damaged(err)
	}
	rows, err := w.rows()
	if err != nil {
		return b.damaged(err)
	}
	defer rows.close()
	if err := r.sheetHeader(rows, b); err != nil {
		return err
	}
	c, err := r.readSheet(ctx, rows, b, merged)
	if err != nil {
		return b.damaged(err)
	}
	return r.settle(c)
}

// sheetHeader takes the first row that holds anything for the header.
func (r *reader) sheetHeader(rows *sheetRows, b *binding) error {
	for rows.next() {
		for _, c := range rows.cells {
			if c.kind == emptyCell {
				continue
			}
			b.header = append(b.header, slices.Repeat([]string{""}, max(0, c.column-len(b.header)))...)
			b.header[c.column-1] = c.trimmed()
		}
		if len(b.header) > 0 {
			break
		}
	}
	if rows.err != nil {
		return b.damaged(rows.err)
	}
	if len(b.header) == 0 {
		return b.problem("the sheet is empty", "a row with the names of the columns", "export the table again, or name another sheet")
	}
	if ps := bind(b, r.specs); len(ps) > 0 {
		return ps
	}
	return nil
}

// readSheet reads the rows under the header.
func (r *reader) readSheet(ctx context.Context, rows *sheetRows, b *binding, merged areas) (*chunk, error) {
	c := &chunk{file: b, columns: make([]*column, len(r.specs))}
	fields := make([][]*column, len(b.header)) // those that are read from each column of the sheet
	for i, at := range b.at {
		if at >= 0 {
			c.columns[i] = newColumn(r.specs[i], 0)
			c.columns[i].since04 = rows.book.since04
			fields[at] = append(fields[at], c.columns[i])
		}
	}
	beside := 0
	for rows.next() {
		if len(c.lines)%1024 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		covered := merged.covering(rows.row)
		if !rows.holdsAny() && len(covered) == 0 {
			c.blank++
			continue
		}
		beside += rows.add(fields, covered)
		c.lines = append(c.lines, int32(rows.row))
	}
	if rows.err != nil {
		return nil, rows.err
	}
	if c.blank > 0 {
		b.notes = append(b.notes, fmt.Sprintf("blank rows skipped: %d", c.blank))
	}
	if beside > 0 {
		b.notes = append(b.notes, fmt.Sprintf("cells in columns without a name, not used: %d", beside))
	}
	return c, nil
}

// openWorkbook finds the sheet and reads the texts that the sheets share.
func openWorkbook(f io.ReaderAt, size int64, b *binding, sheet string) (*workbook, *schemas.Problem) {
	var begin [8]byte
	if _, err := f.ReadAt(begin[:], 0); err == nil && bytes.Equal(begin[:], []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")) {
		return nil, b.problem("the file is protected by a password, or a workbook of the old form .xls", "an .xlsx file without a password",
			"save it as .xlsx without a password")
	}
	archive, err := zip.NewReader(f, size)
	if err != nil {
		return nil, b.problem("the file is not a workbook: "+cause(err), "an .xlsx file", "save it again as .xlsx, or declare its format")
	}
	w := &workbook{archive: archive, limit: smallPart + mostGrowth*size}
	return w, w.open(b, sheet)
}

func (w *workbook) open(b *binding, sheet string) *schemas.Problem {
	list, err := w.list()
	if err != nil {
		return b.damaged(err).(*schemas.Problem)
	}
	at := slices.IndexFunc(list.Sheets, func(s listedSheet) bool { return s.Name == sheet })
	if sheet == "" && len(list.Sheets) == 1 {
		at = 0
	}
	if at < 0 {
		return b.noSheet(list, sheet)
	}
	w.since04, w.sheet = list.Properties.Date1904.set(), list.Sheets[at].path
	b.notes = append(b.notes, "sheet: "+list.Sheets[at].Name)
	if w.texts, err = w.shared(list.texts); err != nil {
		return b.damaged(err).(*schemas.Problem)
	}
	return nil
}

func (b *binding) noSheet(list *sheetList, sheet string) *schemas.Problem {
	names := make([]string, len(list.Sheets))
	for i := range names {
		names[i] = list.Sheets[i].Name
	}
	what, remedy := fmt.Sprintf("the workbook has no sheet %q", sheet), "correct the name in the study plan"
	if near, ok := schemas.Nearest(sheet, names); ok {
		remedy = fmt.Sprintf("write %q in the study plan if that is the sheet you mean", near)
	}
	if sheet == "" {
		what, remedy = fmt.Sprintf("the workbook has %d sheets", len(names)), `name one with "sheet" in the study plan`
	}
	return b.problem(what, strings.Join(names, ", "), remedy)
}

// sheetList is the list of the sheets of a workbook.
type sheetList struct {
	Properties struct {
		Date1904 flag `xml:"date1904,attr"`
	} `xml:"workbookPr"`
	Sheets []listedSheet `xml:"sheets>sheet"`
	texts  string        // path of the texts that the sheets share; empty when there are none
}

type listedSheet struct {
	Name  string     `xml:"name,attr"`
	Attrs []xml.Attr `xml:",any,attr"`
	path  string
}

// flag is a truth value of XML.
type flag string

func (f flag) set() bool { return f == "1" || f == "true" }

// relations says which part of the archive each id of another part stands for.
type relations struct {
	List []struct {
		ID     string `xml:"Id,attr"`
		Type   string `xml:"Type,attr"`
		Target string `xml:"Target,attr"`
	} `xml:"Relationship"`
}

// list reads the list of the sheets and where their parts are.
func (w *workbook) list() (*sheetList, error) {
	book := "xl/workbook.xml"
	if top, err := w.relations("_rels/.rels"); err == nil {
		for _, rel := range top.List {
			if strings.HasSuffix(rel.Type, "/officeDocument") {
				book = strings.TrimPrefix(path.Clean("/"+rel.Target), "/")
			}
		}
	}
	list := &sheetList{}
	if err := w.unmarshal(book, list); err != nil {
		return nil, err
	}
	rels, err := w.relations(path.Join(path.Dir(book), "_rels", path.Base(book)+".rels"))
	if err != nil {
		return nil, err
	}
	for _, rel := range rels.List {
		target := rel.Target
		if !strings.HasPrefix(target, "/") {
			target = path.Join(path.Dir(book), target)
		}
		target = strings.TrimPrefix(path.Clean(target), "/")
		if strings.HasSuffix(rel.Type, "/sharedStrings") {
			list.texts = target
		}
		for i := range list.Sheets {
			for _, a := range list.Sheets[i].Attrs {
				if a.Name.Local == "id" && a.Value == rel.ID {
					list.Sheets[i].path = target
				}
			}
		}
	}
	return list, nil
}

func (w *workbook) relations(name string) (rels relations, err error) {
	return rels, w.unmarshal(name, &rels)
}

func (w *workbook) unmarshal(name string, into any) error {
	part, err := w.part(name)
	if err != nil {
		return err
	}
	defer part.Close()
	return xml.NewDecoder(part).Decode(into)
}

// part opens a part of the archive.
func (w *workbook) part(name string) (io.ReadCloser, error) {
	f, err := w.archive.Open(name)
	if err != nil {
		return nil, fmt.Errorf("the part %q is missing", name)
	}
	return &limited{f, w.limit}, nil
}

var errGrows = errors.New("a part of the workbook is much longer than the file can hold")

// limited ends with an error where a part is longer than it should be.
type limited struct {
	io.ReadCloser
	left int64
}

func (l *limited) Read(p []byte) (int, error) {
	n, err := l.ReadCloser.Read(p)
	if l.left -= int64(n); l.left < 0 {
		return 0, errGrows
	}
	return n, err
}
