package ingest

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"

	"deltoid/schemas"
)

// binding says which column of one file holds which field.
type binding struct {
	file   int      // place in the source
	shown  string   // the file as messages show it
	header []string // the names of its columns
	at     []int    // for each spec, the place in header, or -1
	madeAt []int    // for each column of the table, the place in header of what it is made of, or -1
	delim  byte     // of a text file
	first  int      // line on which the records begin, counted from 0
	notes  []string

	encoding schemas.Encoding // of a text file
	taken    atomic.Int64     // bytes of the file read since progress was told
}

// bind finds the columns of the fields by their names, which must agree exactly. All that is wrong with a header is
// found in one go. A column without a name, or with the name of another, is in nobody's way until a field asks for it.
func bind(b *binding, specs []*spec) (ps schemas.Problems) {
	b.at = make([]int, len(specs))
	used := map[int]bool{}
	var absent []string
	for i, sp := range specs {
		b.at[i] = slices.Index(b.header, sp.header)
		switch {
		case b.at[i] >= 0:
			used[b.at[i]] = true
			ps = append(ps, b.twice(sp, b.at[i])...)
		case sp.must:
			ps = append(ps, b.noColumn(sp))
		default:
			absent = append(absent, sp.field.Name)
		}
	}
	var unused, unnamed []string
	for i, h := range b.header {
		switch {
		case h == "":
			unnamed = append(unnamed, strconv.Itoa(i+1))
		case !used[i]:
			unused = append(unused, h)
		}
	}
	b.noteNames("not used", unused)
	b.noteNames("columns without a name, not used", unnamed)
	b.noteNames("no column for", absent)
	return ps
}

// twice reports a field whose column has the name of another column.
func (b *binding) twice(sp *spec, first int) schemas.Problems {
	again := slices.Index(b.header[first+1:], sp.header)
	if again < 0 {
		return nil
	}
	return schemas.Problems{b.problem(fmt.Sprintf("columns %d and %d are both called %q, and the field %s is read from it", first+1,
		first+again+2, sp.header, sp.field.Name), "one column of this name", "rename one of the two")}
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
