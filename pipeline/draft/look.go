package draft

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"deltoid/pipeline/ingest"
	"deltoid/pipeline/record"
	"deltoid/schemas"
)

// Draft is what was seen in some exports, ready to be written as a plan.
type Draft struct {
	folder string
	groups []*group
}

// group is the files that have one header: the parts of one table.
type group struct {
	files    []seen
	header   []string
	format   schemas.Format
	encoding schemas.Encoding
	sheet    string
	note     string
	rows     int
	columns  []*profile
	suspects []schemas.Suspect
}

// seen is one file.
type seen struct {
	path, shown, hash string
}

// Look looks at exports, each a path; the sheet of a workbook with several stands behind it, as in "clinic.xlsx#Operations".
// The plan will lie in folder, and every file must lie in it or below it, because a
// plan names no file elsewhere. The error is a [schemas.Problem], or [schemas.Problems] with everything that keeps files
// from being read.
func Look(ctx context.Context, folder string, paths []string) (*Draft, error) {
	d := &Draft{folder: folder}
	var problems schemas.Problems
	for _, path := range paths {
		path, sheet := cutSheet(path)
		shown, p := within(folder, path)
		if p == nil {
			p = there(path)
		}
		if p == nil {
			p = d.add(ctx, seen{path: path, shown: shown}, sheet)
		}
		switch p := p.(type) {
		case nil:
		case *schemas.Problem:
			problems = append(problems, p)
		case schemas.Problems:
			problems = append(problems, p...)
		default:
			return nil, p
		}
	}
	if len(problems) > 0 {
		return nil, problems
	}
	for _, g := range d.groups {
		if err := g.look(ctx); err != nil {
			return nil, err
		}
	}
	return d, nil
}

// cutSheet cuts the name of a sheet from the path of a workbook.
func cutSheet(path string) (file, sheet string) {
	if at := strings.LastIndexByte(path, '#'); at > 0 && schemas.FormatOf(path[:at]) == schemas.Workbook {
		return path[:at], path[at+1:]
	}
	return path, ""
}

// there says whether a file is there to be read. Whoever drafts has no plan yet, so nothing here speaks of one.
func there(path string) error {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &schemas.Problem{Kind: schemas.ExportProblem, Where: path, What: "there is no such file", Remedy: "correct the name, or put the file there", Cause: err}
	case err == nil && info.IsDir():
		return &schemas.Problem{Kind: schemas.ExportProblem, Where: path, What: "this is a folder", Remedy: "name the files in it, as in " + filepath.Join(path, "*.csv")}
	}
	return nil
}

// within returns a path as the plan will name it.
func within(folder, path string) (string, error) {
	base, errBase := filepath.Abs(folder)
	file, errFile := filepath.Abs(path)
	if errBase == nil && errFile == nil {
		if rel, err := filepath.Rel(base, file); err == nil && filepath.IsLocal(rel) {
			return filepath.ToSlash(rel), nil
		}
	}
	return "", &schemas.Problem{Kind: schemas.PlanProblem, Where: path, What: "the file does not lie in the folder of the plan or below it",
		Allowed: "files below " + folder, Remedy: "copy the export there, or name a folder above it with --out"}
}

// add reads the header of a file and puts the file to those that have the same.
func (d *Draft) add(ctx context.Context, f seen, sheet string) error {
	g := &group{files: []seen{f}, format: schemas.FormatOf(f.shown), sheet: sheet}
	t, _, err := g.read(ctx, nil)
	var p *schemas.Problem
	if g.format == schemas.Workbook && sheet == "" && errors.As(err, &p) {
		return &schemas.Problem{Kind: p.Kind, Where: p.Where, What: p.What, Allowed: p.Allowed, Cause: err,
			Remedy: "write the sheet behind the file, as in " + f.shown + "#Name, when it has several"}
	}
	if err != nil {
		return err
	}
	g.header, g.note = t.Sources[0].Header, t.Sources[0].Note
	if f.hash, _, err = record.HashFile(f.path); err != nil {
		return err
	}
	g.files[0] = f
	for _, other := range d.groups {
		if slices.Equal(other.header, g.header) && other.format == g.format && other.encoding == g.encoding && other.sheet == g.sheet {
			other.files = append(other.files, f)
			return nil
		}
	}
	d.groups = append(d.groups, g)
	return nil
}

// read reads columns of the group's files as texts. When a text is not UTF-8 it is read once more as Windows-1252, which
// nearly every other western export is.
func (g *group) read(ctx context.Context, header []string) (*schemas.Table, *schemas.Findings, error) {
	source := schemas.Source{Table: "draft", Format: g.format, Encoding: g.encoding, Sheet: g.sheet, Columns: map[string]string{}, Plan: "draft"}
	for _, f := range g.files {
		source.Files, source.Shown = append(source.Files, f.path), append(source.Shown, f.shown)
	}
	for i, h := range header {
		name := fmt.Sprintf("c%d", i)
		source.Extra, source.Columns[name] = append(source.Extra, schemas.Field{Name: name, Type: schemas.Text}), h
	}
	found := &schemas.Findings{}
	t, err := ingest.Read(ctx, &schemas.Schema{Name: "draft"}, source, found, nil)
	if g.encoding == "" && g.format == schemas.CSV && (foreign(found) || err != nil && strings.Contains(err.Error(), "UTF-8")) {
		again := *g
		again.encoding = schemas.Windows1252
		if t, found, err := again.read(ctx, header); err == nil {
			g.encoding = schemas.Windows1252
			return t, found, nil
		}
	}
	return t, found, err
}

// foreign reports texts that are not UTF-8.
func foreign(found *schemas.Findings) bool {
	for _, c := range found.Counts() {
		if c.Rule.ID == schemas.RuleBadText.ID {
			return true
		}
	}
	return false
}

// atOnce is how many columns are read at a time: all of a file would need as much memory as the file is large.
const atOnce = 8

// look reads all columns and takes their profiles.
func (g *group) look(ctx context.Context) error {
	for first := 0; first < len(g.header); first += atOnce {
		part := g.header[first:min(first+atOnce, len(g.header))]
		t, found, err := g.read(ctx, part)
		if err != nil {
			return err
		}
		g.rows = t.Rows()
		for _, h := range part {
			g.columns = append(g.columns, profileOf(t, h, g.format))
		}
		for _, s := range schemas.Scan(t, found) {
			if first == 0 || slices.Contains(part, s.Header) {
				g.suspects = append(g.suspects, s)
			}
		}
	}
	// A column of dates is full of full dates, and a pseudonym tells every patient apart: there only the name can tell more.
	g.suspects = slices.DeleteFunc(g.suspects, func(s schemas.Suspect) bool {
		byRight := g.column(s.Header).isDated() || len(g.column(s.Header).families) > 0 || slices.Contains(append(words["patient"], "patient"), plainName(s.Header))
		return byRight && (s.Identifier.Letter == "C" || s.Identifier.Letter == "R") && !strings.Contains(s.Why, "its name")
	})
	return nil
}

func (g *group) column(header string) *profile {
	return g.columns[slices.Index(g.header, header)]
}

// suspect returns why a column may identify people, empty when nothing says so.
func (g *group) suspect(header string) string {
	var why []string
	for _, s := range g.suspects {
		if s.Header == header && !slices.Contains(why, s.Identifier.Title) {
			why = append(why, s.Identifier.Title)
		}
	}
	return strings.Join(why, "; ")
}
