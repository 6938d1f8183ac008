package cohorts_test

import (
	"encoding/csv"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// export is the text of one table: the header and the rows, each with the line it stands on.
type export struct {
	name   string
	header []string
	rows   [][]string
	lines  []int32
}

// newExport makes an export whose rows stand on the lines 2, 3, ….
func newExport(name, header string, rows ...string) export {
	e := export{name: name, header: strings.Split(header, ",")}
	for i, row := range rows {
		e.rows = append(e.rows, strings.Split(row, ","))
		e.lines = append(e.lines, int32(i+2))
	}
	return e
}

func readExport(tb testing.TB, path string) export {
	tb.Helper()
	f, err := os.Open(path)
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		tb.Fatal(err)
	}
	e := export{name: strings.TrimSuffix(filepath.Base(path), ".csv"), header: records[0], rows: records[1:]}
	for i := range e.rows {
		e.lines = append(e.lines, int32(i+2))
	}
	return e
}

// permuted returns the export with its rows in another order; every row keeps its line.
func (e export) permuted(order []int) export {
	out := export{name: e.name, header: e.header}
	for _, i := range order {
		out.rows = append(out.rows, e.rows[i])
		out.lines = append(out.lines, e.lines[i])
	}
	return out
}

// table makes a table of day offsets from the export. Columns beyond the schema are texts, or whole numbers when their
// name begins with "n_".
func (e export) table(tb testing.TB) *schemas.Table {
	tb.Helper()
	s, err := schemas.Shipped(e.name)
	if err != nil {
		tb.Fatal(err)
	}
	var columns []*schemas.Column
	for i, name := range e.header {
		f := s.Field(name)
		if f == nil {
			f = &schemas.Field{Name: name, Type: schemas.Text}
			if strings.HasPrefix(name, "n_") {
				f.Type = schemas.Integer
			}
		}
		cells := make([]string, len(e.rows))
		for row := range cells {
			cells[row] = e.rows[row][i]
		}
		c := columnOf(tb, f, cells)
		c.Header, c.Position = name, i+1
		columns = append(columns, c)
	}
	t := schemas.NewTable(s, []schemas.Piece{{File: e.name + ".csv", Rows: len(e.rows)}}, slices.Clone(e.lines), columns)
	t.Offsets = true
	return t
}

func columnOf(tb testing.TB, f *schemas.Field, cells []string) *schemas.Column {
	tb.Helper()
	switch f.Type {
	case schemas.Code:
		return codeColumn(f, cells)
	case schemas.Text:
		offsets, data := []int32{0}, []byte{}
		for _, c := range cells {
			data = append(data, c...)
			offsets = append(offsets, int32(len(data)))
		}
		return schemas.TextColumn(f, offsets, data)
	case schemas.Number:
		return schemas.NumberColumn(f, parsed(tb, cells, math.NaN(), func(s string) (float64, error) { return strconv.ParseFloat(s, 64) }))
	case schemas.Integer:
		return schemas.IntegerColumn(f, parsed(tb, cells, schemas.NoInt, func(s string) (int64, error) { return strconv.ParseInt(s, 10, 64) }))
	default:
		return schemas.DateColumn(f, parsed(tb, cells, schemas.NoDay, func(s string) (int32, error) {
			n, err := strconv.ParseInt(s, 10, 32)
			return int32(n), err
		}))
	}
}

// codeColumn numbers the codes in the order in which the rows bring them, as a reader may.
func codeColumn(f *schemas.Field, cells []string) *schemas.Column {
	var levels []string
	codes := make([]int16, len(cells))
	for i, c := range cells {
		at := slices.Index(levels, c)
		switch {
		case c == "":
			at = schemas.NoCode
		case at < 0:
			at = len(levels)
			levels = append(levels, c)
		}
		codes[i] = int16(at)
	}
	return schemas.CodeColumn(f, levels, codes)
}

func parsed[T any](tb testing.TB, cells []string, missing T, parse func(string) (T, error)) []T {
	tb.Helper()
	out := make([]T, len(cells))
	for i, c := range cells {
		out[i] = missing
		if c == "" {
			continue
		}
		v, err := parse(c)
		if err != nil {
			tb.Fatal(err)
		}
		out[i] = v
	}
	return out
}

// study is the exports of one study by name.
type study map[string]export

func studyOf(exports ...export) study {
	s := study{}
	for _, e := range exports {
		s[e.name] = e
	}
	return s
}

func (s study) tables(tb testing.TB) map[string]*schemas.Table {
	tables := map[string]*schemas.Table{}
	for _, name := range slices.Sorted(maps.Keys(s)) {
		tables[name] = s[name].table(tb)
	}
	return tables
}

// link links a study that must link.
func (s study) link(tb testing.TB, f cohorts.FollowUp) (*cohorts.Registry, *schemas.Findings) {
	tb.Helper()
	found := &schemas.Findings{}
	r, err := cohorts.Link(s.tables(tb), f, found)
	if err != nil {
		tb.Fatal(err)
	}
	return r, found
}

// everyone is the definition without criteria.
var everyone = cohorts.Definition{Name: "everyone"}

// The endpoints that most tests ask for.
var (
	anyRevision = cohorts.Endpoint{ID: "any", Label: "revision for any reason", Competing: []cohorts.Cause{cohorts.Died, cohorts.OtherEvent}}
	infection   = cohorts.Endpoint{ID: "infection", Label: "revision for infection", Event: cohorts.Revised,
		Reasons: []string{"infection"}, Competing: []cohorts.Cause{cohorts.OtherRevision, cohorts.Died}}
	exchanged = cohorts.Endpoint{ID: "exchanged", Label: "exchange of a component", Counts: cohorts.ComponentExchanged,
		Competing: []cohorts.Cause{cohorts.Died}}
)

func define(tb testing.TB, r *cohorts.Registry, d cohorts.Definition, f cohorts.FollowUp) (*cohorts.Cohort, *cohorts.Flow) {
	tb.Helper()
	c, flow, err := cohorts.Define(r, d, f)
	if err != nil {
		tb.Fatal(err)
	}
	return c, flow
}

func episodes(tb testing.TB, c *cohorts.Cohort, e cohorts.Endpoint, f cohorts.FollowUp, g cohorts.Grouping) *cohorts.Episodes {
	tb.Helper()
	eps, err := c.Episodes(e, f, g)
	if err != nil {
		tb.Fatal(err)
	}
	return eps
}
