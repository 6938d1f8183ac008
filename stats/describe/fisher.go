package describe

import "math"

// mostTables is the number of partial tables after which an exact test gives up.
const mostTables = 20_000_000

// FisherExact tests whether the rows and columns of a table of counts have to do with each other: P is the probability, with the margins held, of
// all tables that are no more likely than the one observed. Statistic is the probability of the table observed. Empty rows
// and columns are left out. A table that would take too long is TooLarge; [ChiSquare] then has enough rows to be trusted.
//
// Source: Fisher, J. R. Stat. Soc. 98 (1935) 39–54; for larger tables Freeman & Halton, Biometrika 38 (1951) 141–149.
func FisherExact(table [][]int64) Test {
	f := fill(table)
	if f.status != Estimated {
		return Test{Status: f.status}
	}
	if len(f.rows) > len(f.cols) {
		f = f.turned()
	}
	e := newEnumeration(f)
	e.column(0, 0)
	if e.steps > mostTables {
		return Test{Status: TooLarge}
	}
	return Test{Statistic: math.Exp(e.observed), P: min(1, e.p), Exact: true}
}

// turned exchanges rows and columns.
func (f filled) turned() filled {
	t := filled{rows: f.cols, cols: f.rows, total: f.total, cells: make([][]int64, len(f.cols))}
	for j := range f.cols {
		for i := range f.rows {
			t.cells[j] = append(t.cells[j], f.cells[i][j])
		}
	}
	return t
}

// enumeration walks through all tables with the margins of one, column after column, and within a column row after row.
type enumeration struct {
	left     []int64   // of each row, still to be filled
	cols     []int64   // margins
	logs     []float64 // log n!
	constant float64   // log of the product of the factorials of the margins over that of the total
	observed float64   // log probability of the table observed
	limit    float64
	p        float64
	steps    int
}

func newEnumeration(f filled) *enumeration {
	e := &enumeration{left: append([]int64(nil), f.rows...), cols: f.cols, logs: make([]float64, f.total+1)}
	for n := range e.logs {
		e.logs[n] = logFactorial(int64(n))
	}
	e.constant = -e.logs[f.total]
	for _, r := range f.rows {
		e.constant += e.logs[r]
	}
	for _, c := range f.cols {
		e.constant += e.logs[c]
	}
	e.observed = e.constant
	for _, row := range f.cells {
		for _, c := range row {
			e.observed -= e.logs[c]
		}
	}
	// Tables as likely as the observed one count; rounding must not push them out.
	e.limit = e.observed + 1e-7
	return e
}

// column fills column j. The last column is what is left of the rows.
func (e *enumeration) column(j int, spent float64) {
	if e.steps++; e.steps > mostTables {
		return
	}
	if j == len(e.cols)-1 {
		for _, n := range e.left {
			spent += e.logs[n]
		}
		if log := e.constant - spent; log <= e.limit {
			e.p += math.Exp(log)
		}
		return
	}
	e.cell(0, j, e.cols[j], spent)
}

// cell fills row i of column j, of which so much is still to be placed. The last row takes the rest.
func (e *enumeration) cell(i, j int, rest int64, spent float64) {
	if e.steps++; e.steps > mostTables {
		return
	}
	last := i == len(e.left)-1
	below := int64(0) // what the rows below can take
	for _, n := range e.left[i+1:] {
		below += n
	}
	for n := max(0, rest-below); n <= min(rest, e.left[i]); n++ {
		e.left[i] -= n
		if last {
			e.column(j+1, spent+e.logs[n])
		} else {
			e.cell(i+1, j, rest-n, spent+e.logs[n])
		}
		e.left[i] += n
	}
}
