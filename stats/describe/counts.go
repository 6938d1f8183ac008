package describe

// totalOf checks that a table has rows of the same length, width, and no negative count, and returns its total.
func totalOf(table [][]int64, width int) (int64, Status) {
	total := int64(0)
	for _, row := range table {
		if len(row) != width {
			return 0, NotCounts
		}
		for _, c := range row {
			if c < 0 {
				return 0, NotCounts
			}
			total += c
		}
	}
	if total == 0 {
		return 0, NoRows
	}
	return total, Estimated
}

// filled returns a table without its empty rows and columns, and its margins.
type filled struct {
	cells      [][]int64
	rows, cols []int64
	total      int64
	status     Status
}

func fill(table [][]int64) filled {
	var f filled
	width := 0
	if len(table) > 0 {
		width = len(table[0])
	}
	if f.total, f.status = totalOf(table, width); f.status != Estimated {
		return f
	}
	cols := make([]int64, width)
	for _, row := range table {
		for j, c := range row {
			cols[j] += c
		}
	}
	for _, row := range table {
		var kept []int64
		sum := int64(0)
		for j, c := range row {
			if cols[j] > 0 {
				kept, sum = append(kept, c), sum+c
			}
		}
		if sum > 0 {
			f.cells, f.rows = append(f.cells, kept), append(f.rows, sum)
		}
	}
	for _, c := range cols {
		if c > 0 {
			f.cols = append(f.cols, c)
		}
	}
	if len(f.rows) < 2 || len(f.cols) < 2 {
		f.status = NoSpread
	}
	return f
}

// expected is the count of a cell if rows and columns had nothing to do with each other.
func (f filled) expected(i, j int) float64 {
	return float64(f.rows[i]) / float64(f.total) * float64(f.cols[j])
}
