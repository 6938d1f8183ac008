package ingest

import (
	"math"
	"strconv"

	"deltoid/schemas"
)

// add adds the row to the columns that are read, and returns how many cells stand in columns without a name.
func (s *sheetRows) add(fields [][]*column, covered areas) (beside int) {
	next := 0
	for at, columns := range fields {
		for next < len(s.cells) && s.cells[next].column < at+1 {
			next++
		}
		cell := sheetCell{column: at + 1}
		if next < len(s.cells) && s.cells[next].column == at+1 {
			cell = s.cells[next]
		}
		for _, c := range columns {
			if covered.hides(at+1, s.row) {
				c.bad(schemas.RuleMergedCell, []byte(cell.value))
				continue
			}
			c.sheetCell(&cell)
		}
	}
	for i := range s.cells {
		if s.cells[i].column > len(fields) && s.cells[i].kind != emptyCell {
			beside++
		}
	}
	return beside
}

// sheetCell adds one cell of a sheet. A text is taken as an unquoted cell of a text file.
func (c *column) sheetCell(cell *sheetCell) {
	switch cell.kind {
	case emptyCell:
		c.text(nil)
	case textCell:
		c.text([]byte(cell.trimmed()))
	case truthCell:
		c.text([]byte(cell.value))
	case errorCell:
		c.bad(schemas.RuleErrorCell, []byte(cell.value))
	default:
		c.sheetNumber(cell.value)
	}
}

// keptDigits is up to where a workbook keeps every digit of a whole number.
const keptDigits = 1e15

func (c *column) sheetNumber(text string) {
	v, err := strconv.ParseFloat(text, 64)
	wordy := c.field.Type == schemas.Text || c.field.Type == schemas.Code
	switch {
	case err != nil || math.IsInf(v, 0) || math.IsNaN(v):
		c.bad(schemas.RuleBadNumber, []byte(text))
	case wordy && math.Abs(v) >= keptDigits:
		c.bad(schemas.RuleRoundedNumber, []byte(text))
	case c.serial:
		c.serialDate(v)
	default:
		c.double(v)
	}
}

// The first days of the two date systems of workbooks, counted from 1970-01-01. The older one counts a 29 February 1900
// that there was not, as number 60 (ISO/IEC 29500, part 1, section 18.17.4.1).
const (
	day1900 = -25567 // 1900-01-01 has the number 1
	day1904 = -24107 // 1904-01-01 has the number 0
	noDay60 = 60
)

func (c *column) serialDate(v float64) {
	shown := strconv.AppendFloat(nil, v, 'f', -1, 64)
	if !c.direct {
		if _, done := c.replaced(shown); done {
			return
		}
	}
	day := math.Floor(v)
	switch {
	case c.since04:
		day += day1904
	case day < noDay60:
		day += day1900 - 1
	default:
		day += day1900 - 2
	}
	switch {
	case v < 0 || !c.since04 && (v < 1 || math.Floor(v) == noDay60) || day > lastDay:
		c.bad(schemas.RuleBadDate, shown)
	case v != math.Floor(v):
		c.bad(schemas.RuleTimeOfDay, shown)
	default:
		c.day(int32(day), shown)
	}
}
