package ingest

import (
	"math"
	"strings"
	"unicode/utf8"

	"deltoid/schemas"
)

// column is one field's part of one chunk of an export. Every cell, of whatever format, ends in one of its methods, and
// each of them adds exactly one row.
type column struct {
	*spec
	days     []int32
	ints     []int64
	numbers  []float64
	places   []int16    // places in codes, or in levels for a Code without a list
	levels   *codeIndex // nil unless the field is a Code without a list
	ends     []int32    // where the text of each row ends in bytes
	bytes    []byte
	recoded  []int // cells of each recode
	rounded  int   // lengths of time that were not whole days
	written  []int // texts read by each layout, where several are declared
	flaws    []flaw
	checked  bool // the bytes are known to be UTF-8
	quotes   bool // there may be quotes in the bytes
	since04  bool // days of a workbook are counted from 1904
	tooLarge bool // more levels, or more text, than a column can hold
}

// flaw is a cell that is not what its field allows. It becomes a finding when the table stands.
type flaw struct {
	row   int
	rule  *schemas.Rule
	value string
	more  int // rows after it that the same cell belongs to: one row of a file can hold several scores
}

// newColumn makes an empty column with room for rows.
func newColumn(sp *spec, rows int) *column {
	c := &column{spec: sp, recoded: make([]int, len(sp.recodes))}
	switch sp.field.Type {
	case schemas.Date:
		c.days = make([]int32, 0, rows)
		if len(sp.layouts) > 1 || sp.serial && len(sp.layouts) > 0 {
			c.written = make([]int, len(sp.layouts))
		}
	case schemas.Integer:
		c.ints = make([]int64, 0, rows)
	case schemas.Number:
		c.numbers = make([]float64, 0, rows)
	case schemas.Code:
		c.places = make([]int16, 0, rows)
		if sp.codes == nil {
			c.levels = newCodeIndex()
		}
	default:
		c.ends = make([]int32, 0, rows)
	}
	return c
}

// rows returns the number of rows added.
func (c *column) rows() int {
	switch c.field.Type {
	case schemas.Date:
		return len(c.days)
	case schemas.Integer:
		return len(c.ints)
	case schemas.Number:
		return len(c.numbers)
	case schemas.Code:
		return len(c.places)
	}
	return len(c.ends)
}

// skip adds a missing value and says nothing about it.
func (c *column) skip() {
	switch c.field.Type {
	case schemas.Date:
		c.days = append(c.days, schemas.NoDay)
	case schemas.Integer:
		c.ints = append(c.ints, schemas.NoInt)
	case schemas.Number:
		c.numbers = append(c.numbers, math.NaN())
	case schemas.Code:
		c.places = append(c.places, schemas.NoCode)
	default:
		c.ends = append(c.ends, int32(len(c.bytes)))
	}
}

// missing adds a missing value, which is a flaw where a value is required.
func (c *column) missing() {
	if c.field.Required {
		c.flaws = append(c.flaws, flaw{row: c.rows(), rule: schemas.RuleMissingRequired})
	}
	c.skip()
}

// bad adds a missing value in place of one that breaks a rule.
func (c *column) bad(rule *schemas.Rule, value []byte) {
	c.flaws = append(c.flaws, flaw{row: c.rows(), rule: rule, value: shorten(value)})
	c.skip()
}

// longest is how much of a bad value a finding keeps, in bytes.
const longest = 200

// shorten makes a bad value fit to be shown: valid UTF-8 and not endless.
func shorten(value []byte) string {
	cut := value[:min(len(value), longest)]
	s := strings.ToValidUTF8(string(cut), "\uFFFD")
	if len(cut) < len(value) {
		s = strings.TrimSuffix(s, "\uFFFD") + "…"
	}
	return s
}

// text adds the value that a text stands for.
func (c *column) text(b []byte) {
	if c.codes != nil {
		c.listedCode(b)
		return
	}
	if !c.checked && !utf8.Valid(b) {
		c.bad(schemas.RuleBadText, b)
		return
	}
	if b, done := c.replaced(b); !done {
		c.value(b)
	}
}

// replaced applies recodes and tokens for missing. It reports whether that was all there is to say about the cell.
func (c *column) replaced(b []byte) ([]byte, bool) {
	if i, ok := c.recodeAt[string(b)]; ok {
		c.recoded[i]++
		b = []byte(c.recodes[i].to)
	} else if c.isToken(b) {
		b = nil
	}
	if len(b) == 0 {
		c.missing()
		return nil, true
	}
	return b, false
}

// listedCode adds a code of the field's list. The index also holds the recodes and the tokens for missing.
func (c *column) listedCode(b []byte) {
	if len(b) == 0 {
		c.missing()
		return
	}
	i := c.codes.find(b)
	if i < 0 {
		rule := schemas.RuleUnknownCode
		if !c.checked && !utf8.Valid(b) {
			rule = schemas.RuleBadText
		}
		c.bad(rule, b)
		return
	}
	t := c.codes.targets[i]
	if t.recode != notRecoded {
		c.recoded[t.recode]++
	}
	if t.code == schemas.NoCode {
		c.missing()
		return
	}
	c.places = append(c.places, t.code)
}

// value adds a value of the field's type from its text, which is not empty.
func (c *column) value(b []byte) {
	switch c.field.Type {
	case schemas.Date:
		c.date(b)
	case schemas.Integer:
		c.integer(b)
	case schemas.Number:
		if v, ok := parseNumber(b, c.mark); ok {
			c.real(v, b)
		} else {
			c.bad(schemas.RuleBadNumber, b)
		}
	case schemas.Code:
		c.openCode(b)
	default:
		c.plain(b)
	}
}

func (c *column) date(b []byte) {
	if c.offsets {
		c.integer(b)
		return
	}
	day, layout, ok := c.parseDate(b)
	if !ok {
		c.bad(schemas.RuleBadDate, b)
		return
	}
	if c.written != nil {
		c.written[layout]++
	}
	c.day(day, b)
}

// integer adds a whole number or, where a unit is declared, a length of time in whole days.
func (c *column) integer(b []byte) {
	if c.factor != 0 {
		if v, ok := parseNumber(b, c.mark); ok {
			c.length(v, b)
		} else {
			c.bad(schemas.RuleBadNumber, b)
		}
		return
	}
	if v, ok := parseInteger(b); ok {
		c.whole(v, b)
	} else {
		c.bad(schemas.RuleBadInteger, b)
	}
}

// length adds a length of time, rounded to whole days, half away from zero.
func (c *column) length(v float64, shown []byte) {
	exact := v * c.factor
	days := math.Round(exact)
	if math.Abs(days) > 1<<53 {
		c.bad(schemas.RuleOutOfRange, shown)
		return
	}
	before := len(c.flaws)
	c.whole(int64(days), shown)
	if days != exact && len(c.flaws) == before {
		c.rounded++
	}
}

// whole adds a whole number, or a day where the field has day numbers.
func (c *column) whole(v int64, shown []byte) {
	switch {
	case c.outside(float64(v)):
		c.bad(schemas.RuleOutOfRange, shown)
	case c.field.Type == schemas.Integer:
		c.ints = append(c.ints, v)
	default:
		c.days = append(c.days, int32(v))
	}
}

func (c *column) real(v float64, shown []byte) {
	if c.outside(v) {
		c.bad(schemas.RuleOutOfRange, shown)
		return
	}
	c.numbers = append(c.numbers, v)
}

func (c *column) day(day int32, shown []byte) {
	if c.outside(float64(day)) {
		c.bad(schemas.RuleOutOfRange, shown)
		return
	}
	c.days = append(c.days, day)
}

func (c *column) outside(v float64) bool { return c.bounded && (v < c.low || v > c.high) }

// mostLevels is how many different codes a column can hold: its places are int16.
const mostLevels = math.MaxInt16 + 1

func (c *column) openCode(b []byte) {
	i := c.levels.find(b)
	if i < 0 {
		if len(c.levels.keys) == mostLevels {
			c.tooLarge = true
			c.skip()
			return
		}
		i = c.levels.insert(string(b))
	}
	c.places = append(c.places, int16(i))
}

func (c *column) plain(b []byte) {
	if c.pattern != nil && !c.pattern.Match(b) {
		c.bad(schemas.RulePattern, b)
		return
	}
	if len(c.bytes)+len(b) > math.MaxInt32 {
		c.tooLarge = true
		c.skip()
		return
	}
	c.bytes = append(c.bytes, b...)
	c.ends = append(c.ends, int32(len(c.bytes)))
}
