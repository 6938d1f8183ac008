package analyses

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"

	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// fewest is how many rows a year must have to be singled out.
const fewest = 20

// noteworthy is by how much a field must be less complete in one year than in the others to be told.
const noteworthy = 0.10

// mostColumns is how many fields the table of years shows.
const mostColumns = 6

// years is a table by calendar year of its main day: how many rows each year has, and how many of them hold each column.
type years struct {
	first   int
	rows    []int
	present map[*schemas.Column][]int
}

// yearsOf counts a table by year, nil when it has no calendar days.
func yearsOf(t *schemas.Table) *years {
	day := t.Column("day")
	if day == nil || day.Days() == nil || t.Offsets {
		return nil
	}
	year, first, last := eachYear(day.Days())
	if last < first {
		return nil
	}
	y := &years{first: first, rows: make([]int, last-first+1), present: map[*schemas.Column][]int{}}
	for _, at := range year {
		if at >= 0 {
			y.rows[at]++
		}
	}
	for _, c := range t.Columns() {
		if c == day || c.Missing() == 0 {
			continue
		}
		n := make([]int, len(y.rows))
		for row, at := range year {
			if at >= 0 && !c.IsMissing(row) {
				n[at]++
			}
		}
		y.present[c] = n
	}
	return y
}

// eachYear returns the year of each day as a place counted from the first year, -1 where the day is missing.
func eachYear(days []int32) (year []int16, first, last int) {
	low, high := int32(math.MaxInt32), int32(math.MinInt32)
	for _, d := range days {
		if d != schemas.NoDay {
			low, high = min(low, d), max(high, d)
		}
	}
	if high < low {
		return nil, 0, -1
	}
	first, last = yearOf(float64(low)), yearOf(float64(high))
	begins := make([]int32, last-first+1)
	for i := range begins {
		begins[i] = int32(time.Date(first+i, 1, 1, 0, 0, 0, 0, time.UTC).Unix() / 86400)
	}
	year = make([]int16, len(days))
	for row, d := range days {
		year[row] = -1
		if d != schemas.NoDay {
			at, exact := slices.BinarySearch(begins, d)
			if !exact {
				at--
			}
			year[row] = int16(at)
		}
	}
	return year, first, last
}

func yearOf(day float64) int { return time.Unix(int64(day)*86400, 0).UTC().Year() }

// shown returns the columns that lack most values, in the order of the table.
func (y *years) shown(t *schemas.Table) []*schemas.Column {
	var columns []*schemas.Column
	for _, c := range t.Columns() {
		if y.present[c] != nil {
			columns = append(columns, c)
		}
	}
	if len(columns) > mostColumns {
		byMissing := slices.Clone(columns)
		slices.SortStableFunc(byMissing, func(a, b *schemas.Column) int { return cmp.Compare(b.Missing(), a.Missing()) })
		columns = slices.DeleteFunc(columns, func(c *schemas.Column) bool { return !slices.Contains(byMissing[:mostColumns], c) })
	}
	return columns
}

// trend shows for each year its rows, and which part of them holds each field.
func (q *portion) trend(y *years) report.Sheet {
	if y == nil {
		return report.Sheet{}
	}
	columns := y.shown(q.table)
	sheet := report.Sheet{ID: q.table.Schema.Name + "-years", Title: "Complete by year", Columns: []string{"Year", "Rows"},
		Notes: []report.Text{report.Words("The part of each year's rows in which the field has a value; the fields that lack most are shown.")}}
	for _, c := range columns {
		sheet.Columns = append(sheet.Columns, title(c))
	}
	for i, n := range y.rows {
		if n == 0 {
			continue // a mistyped century would make hundreds of these
		}
		year := strconv.Itoa(y.first + i)
		row := report.SheetRow{Label: year, Cells: []report.Cell{number(q.count("year."+year+".rows", "rows of "+year, n, "rows"))}}
		for _, c := range columns {
			row.Cells = append(row.Cells, number(q.share("year."+year+"."+c.Field.Name, c.Field.Name+" given in "+year, y.present[c][i], n)))
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	return sheet
}

// fallen says in which year which field is least complete against all other years, when the difference is worth a look.
func (q *portion) fallen(y *years) (report.Text, bool) {
	if y == nil {
		return nil, false
	}
	total := 0
	for _, n := range y.rows {
		total += n
	}
	var worst struct {
		column   *schemas.Column
		year     int
		gap      float64
		in, of   int
		out, off int
	}
	for _, c := range q.table.Columns() {
		held := 0
		for _, n := range y.present[c] {
			held += n
		}
		for i, n := range y.present[c] {
			if y.rows[i] < fewest || total-y.rows[i] < fewest {
				continue
			}
			gap := float64(held-n)/float64(total-y.rows[i]) - float64(n)/float64(y.rows[i])
			if gap >= noteworthy && gap > worst.gap {
				worst.column, worst.year, worst.gap = c, y.first+i, gap
				worst.in, worst.of, worst.out, worst.off = n, y.rows[i], held-n, total-y.rows[i]
			}
		}
	}
	if worst.column == nil {
		return nil, false
	}
	name := worst.column.Field.Name
	in := q.share("worst.in", name+" given in "+strconv.Itoa(worst.year), worst.in, worst.of)
	out := q.share("worst.out", name+" given in all other years", worst.out, worst.off)
	return say("Look at "+strconv.Itoa(worst.year)+" first: "+title(worst.column)+" is given in ", value(in), " of its rows, against ", value(out), " in all other years."), true
}
