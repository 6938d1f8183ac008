package ingest

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"deltoid/schemas"
)

// chunkSize is how much of a text file one goroutine reads at a time. Measured between 1 and 16 MiB: flat.
const chunkSize = 4 << 20

// Read reads all files of one source into one table. It reads the columns of the schema's fields and of src.Extra, by
// their names; the names of other columns are stated in the note of each file ([schemas.Piece]), as are the delimiter of
// a text file, blank lines, fields without a column, and how many lengths of time were rounded.
//
// Every row of the files is a row of the table. What is wrong with a cell or a row is added to found, and the row is set
// aside. When there is an error the findings may be those of a part. An optional field without a column in any file has no column in the table; one that only some files have is
// missing in the rows of the others.
//
// The error is a [schemas.Problem], or [schemas.Problems] with everything that keeps the files from being read: a file
// that is not there, a folder in its place, a header that lacks a required or a named column, a damaged file. When ctx
// is cancelled the error is ctx.Err.
//
// progress, if not nil, is told how many bytes of all files are done; calls do not overlap. The table does not depend on
// GOMAXPROCS, on which the number of goroutines does.
func Read(ctx context.Context, s *schemas.Schema, src schemas.Source, found *schemas.Findings,
	progress func(bytesDone, bytesTotal int64)) (*schemas.Table, error) {
	r := &reader{schema: s, src: &src, progress: progress, chunkSize: chunkSize, workers: runtime.GOMAXPROCS(0), patience: patience, memory: childMemory}
	return r.read(ctx, found)
}

// reader reads one source.
type reader struct {
	schema    *schemas.Schema
	src       *schemas.Source
	specs     []*spec // of the columns that are read
	made      []*spec // of the columns of the table; the same, unless scores stand in columns
	wide      *wide   // nil unless scores stand in columns
	chunkSize int
	workers   int
	patience  time.Duration // with a child that says nothing
	memory    int64         // that a child may take, however small its file
	bindings  []*binding
	chunks    []*chunk
	whole     []*column // of a table that is one Parquet file: for each spec the room for all its rows, of which the chunks have parts
	found     *schemas.Findings
	details   []map[flaw]string          // for each spec, what was said of values that are not allowed
	part      func(*schemas.Table) error // takes the rows in parts; nil when they become one table
	progress  func(bytesDone, bytesTotal int64)
	lock      sync.Mutex // guards the chunks of a file and what follows while goroutines work
	waiting   int        // bytes of joined chunks that were not given back
	done      int64
	total     int64
}

func (r *reader) read(ctx context.Context, found *schemas.Findings) (*schemas.Table, error) {
	r.found = found
	ps := append(r.makeSpecs(), r.stat()...)
	if len(ps) > 0 {
		return nil, ps
	}
	for i := range r.src.Files {
		err := r.readFile(ctx, i)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		var back handedBack
		if errors.As(err, &back) {
			return nil, back.error
		}
		if err := collect(&ps, err); err != nil {
			return nil, err
		}
	}
	if len(ps) == 0 {
		ps = r.mixedDays()
	}
	if len(ps) > 0 {
		return nil, ps
	}
	if r.part != nil {
		return nil, nil
	}
	t, ps := r.merge()
	if len(ps) > 0 {
		return nil, ps
	}
	r.setAside(t)
	return t, nil
}

// collect gathers problems and hands back any other error.
func collect(ps *schemas.Problems, err error) error {
	var one *schemas.Problem
	var many schemas.Problems
	switch {
	case errors.As(err, &many):
		*ps = append(*ps, many...)
	case errors.As(err, &one):
		*ps = append(*ps, one)
	default:
		return err
	}
	return nil
}

// stat looks at all files before any is read.
func (r *reader) stat() (ps schemas.Problems) {
	if len(r.src.Files) == 0 {
		return schemas.Problems{planProblem(r.src, r.src.Table+" has no file", "at least one", "name the file in the study plan")}
	}
	for i, path := range r.src.Files {
		info, err := os.Stat(path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			ps = append(ps, r.fileProblem(i, "there is no such file", "correct the name in the study plan, or put the file there"))
		case err != nil:
			ps = append(ps, r.fileProblem(i, "the file cannot be read: "+cause(err), "see that you may read it"))
		case info.IsDir():
			ps = append(ps, r.fileProblem(i, "this is a folder", "name the files in it in the study plan"))
		case r.format(i) == schemas.ByEnding:
			ps = append(ps, r.fileProblem(i, fmt.Sprintf("the ending %q does not say what the file is", filepath.Ext(path)),
				"declare the format in the study plan: "+strings.Join(schemas.Endings(), ", ")+" are known"))
		case r.format(i) != schemas.Workbook && r.sheetDates():
			ps = append(ps, planProblem(r.src, fmt.Sprintf("dates are declared as %q, and %s is no workbook", schemas.SheetDate, r.shown(i)),
				"a layout such as DD/MM/YYYY", "declare how the dates of this file are written"))
		default:
			r.total += info.Size()
		}
	}
	return ps
}

// sheetDates reports whether a field is declared to hold the date cells of a workbook.
func (r *reader) sheetDates() bool {
	return slices.ContainsFunc(r.specs, func(sp *spec) bool { return sp.serial })
}

// format returns the format of a file, declared or by its ending.
func (r *reader) format(i int) schemas.Format {
	if r.src.Format != schemas.ByEnding {
		return r.src.Format
	}
	return schemas.FormatOf(r.src.Files[i])
}

// shown returns a file as messages show it.
func (r *reader) shown(i int) string {
	if i < len(r.src.Shown) {
		return r.src.Shown[i]
	}
	return r.src.Files[i]
}

func (r *reader) fileProblem(i int, what, remedy string) *schemas.Problem {
	return &schemas.Problem{Kind: schemas.ExportProblem, Where: r.shown(i), What: what, Remedy: remedy}
}

// readFile reads one file. A file that changes meanwhile is a problem, whatever else became of it.
func (r *reader) readFile(ctx context.Context, i int) error {
	b := &binding{file: i, shown: r.shown(i)}
	f, err := os.Open(r.src.Files[i])
	if err != nil {
		return b.unreadable(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return b.unreadable(err)
	}
	before := r.done
	switch r.format(i) {
	case schemas.Parquet:
		err = r.readParquet(ctx, info.Size(), b)
	case schemas.Workbook:
		err = r.readWorkbook(ctx, f, info.Size(), b)
	default:
		err = r.readCSV(ctx, f, info.Size(), b)
	}
	if ctx.Err() == nil && changed(r.src.Files[i], info) {
		err = b.problem("the file changed while it was read", "a file that stays as it is", "wait until it is written, and run again")
	}
	if b.madeAt == nil && len(b.at) == len(r.specs) {
		r.placeColumns(b) // a file without rows
	}
	r.bindings = append(r.bindings, b)
	r.done = before
	r.report(info.Size())
	return err
}

// changed reports whether a file is no longer the one that was opened.
func changed(path string, opened fs.FileInfo) bool {
	now, err := os.Stat(path)
	return err != nil || now.Size() != opened.Size() || !now.ModTime().Equal(opened.ModTime()) || !os.SameFile(now, opened)
}

// report tells how far reading has come.
func (r *reader) report(bytes int64) {
	r.done += bytes
	if r.progress != nil {
		r.progress(min(r.done, r.total), r.total)
	}
}

// mixedDays refuses a table with calendar dates in one column and day numbers in another.
func (r *reader) mixedDays() schemas.Problems {
	var dates, numbers []string
	for i, sp := range r.made {
		if _, position := r.origin(i); position == 0 || sp.field.Type != schemas.Date {
			continue
		}
		if sp.offsets {
			numbers = append(numbers, sp.field.Name)
		} else {
			dates = append(dates, sp.field.Name)
		}
	}
	if len(dates) == 0 || len(numbers) == 0 {
		return nil
	}
	return schemas.Problems{planProblem(r.src, fmt.Sprintf("%s has day numbers (%s) beside calendar dates (%s)", r.src.Table,
		strings.Join(numbers, ", "), strings.Join(dates, ", ")), "one of the two in all tables of a study",
		"export all days as dates, or all as numbers")}
}
