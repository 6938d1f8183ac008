package ingest

import (
	"fmt"
	"slices"
	"strings"

	"deltoid/schemas"
)

// binding says which column of one file holds which field.
type binding struct {
	file   int      // place in the source
	shown  string   // the file as messages show it
	header []string // the names of its columns
	at     []int    // for each spec, the place in header, or -1
	delim  byte     // of a text file
	first  int      // line on which the records begin, counted from 0
	notes  []string
}

// bind finds the columns of the fields by their names, which must agree exactly. All that is wrong with a header is
// found in one go.
func bind(b *binding, specs []*spec) schemas.Problems {
	ps := b.checkNames()
	b.at = make([]int, len(specs))
	used := map[int]bool{}
	var absent []string
	for i, sp := range specs {
		b.at[i] = slices.Index(b.header, sp.header)
		switch {
		case b.at[i] >= 0:
			used[b.at[i]] = true
		case sp.must:
			ps = append(ps, b.noColumn(sp))
		default:
			absent = append(absent, sp.field.Name)
		}
	}
	var unused []string
	for i, h := range b.header {
		if !used[i] {
			unused = append(unused, h)
		}
	}
	b.noteNames("not used", unused)
	b.noteNames("no column for", absent)
	return ps
}

// checkNames finds blank names and names that stand twice.
func (b *binding) checkNames() (ps schemas.Problems) {
	seen := map[string]int{}
	for i, h := range b.header {
		if h == "" {
			ps = append(ps, b.problem(fmt.Sprintf("column %d has no name", i+1), "every column has a name",
				"give it a name or take it out"))
			continue
		}
		if before, ok := seen[h]; ok {
			ps = append(ps, b.problem(fmt.Sprintf("columns %d and %d are both called %q", before+1, i+1, h), "every name once",
				"rename one of the two"))
			continue
		}
		seen[h] = i
	}
	return ps
}

func (b *binding) noColumn(sp *spec) *schemas.Problem {
	what := fmt.Sprintf("no column %q for the field %s", sp.header, sp.field.Name)
	remedy := fmt.Sprintf("name the column that holds %s in the study plan, or export the column", sp.field.Name)
	if sp.mapped {
		remedy = "correct the name in the study plan, or export the column"
	}
	if near, ok := schemas.Nearest(sp.header, b.header); ok {
		remedy = fmt.Sprintf("write %q in the study plan if that is the column you mean", near)
	}
	return b.problem(what, strings.Join(b.header, ", "), remedy)
}

func (b *binding) noteNames(what string, names []string) {
	if len(names) > 0 {
		b.notes = append(b.notes, what+": "+strings.Join(names, ", "))
	}
}

func (b *binding) problem(what, allowed, remedy string) *schemas.Problem {
	return &schemas.Problem{Kind: schemas.ExportProblem, Where: b.shown, What: what, Allowed: allowed, Remedy: remedy}
}
