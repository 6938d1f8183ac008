package analyses

import (
	"strings"

	"github.com/go-gota/gota/dataframe"
	"github.com/go-gota/gota/series"

	"deltoid/pipeline/report"
)

// long is one cell of a table before it is spread out: which row, which column, which text.
type long struct {
	row, column string
	cell        report.Cell
}

// mark stands before every name in the data frame, which would take a name such as "NaN" for a missing value.
const mark = "="

// widen spreads long cells into the rows of a sheet, one for each row name, one cell for each column in the order
// given. It is the only adapter to gota, and hands it names and cell numbers only: no figure of the report passes through
// a data frame, whose floats come out with six decimals.
func widen(cells []long, columns []string) (map[string][]report.Cell, error) {
	rows := make([]string, len(cells))
	cols := make([]string, len(cells))
	index := make([]int, len(cells))
	for i, c := range cells {
		rows[i], cols[i], index[i] = mark+c.row, mark+c.column, i
	}
	frame := dataframe.New(series.New(rows, series.String, "row"), series.New(cols, series.String, "column"),
		series.New(index, series.Int, "cell"))
	if frame.Err != nil {
		return nil, frame.Err
	}
	at := map[string]int{}
	for i, c := range columns {
		at[c] = i
	}
	wide := map[string][]report.Cell{}
	groups := frame.GroupBy("row")
	if groups.Err != nil {
		return nil, groups.Err
	}
	for _, g := range groups.GetGroups() {
		name := strings.TrimPrefix(g.Col("row").Elem(0).String(), mark)
		wide[name] = make([]report.Cell, len(columns))
		for i := range g.Nrow() {
			n, err := g.Col("cell").Elem(i).Int()
			if err != nil {
				return nil, err
			}
			wide[name][at[strings.TrimPrefix(g.Col("column").Elem(i).String(), mark)]] = cells[n].cell
		}
	}
	return wide, nil
}
