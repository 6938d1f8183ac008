package schemas

import (
	"math"
	"math/bits"
	"strconv"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
)

// Column is one typed column, held as an Arrow array. The slices it hands out share the array's memory and must not be
// changed. A missing value is null in the array and a sentinel in the slice: [NoDay], [NoInt], [NoCode], NaN, or an
// empty text.
type Column struct {
	Field    *Field
	Header   string // the column's name in the file
	Position int    // the column's place in the file, counted from 1; 0 when unknown
	Cells    *Cells // nil unless the rows come from several columns of a file
	data     arrow.Array
	codes    []int16
	levels   []string
	days     []int32
	ints     []int64
	numbers  []float64
	texts    *array.String
}

// Cells says in which column of the file the value of each row stands, for a column of the table that is made of several.
type Cells struct {
	Headers   []string
	Positions []int
	Which     []uint16 // for each row, the place in the other two
}

// Cell returns the name and the place, counted from 1, of the column of the file in which the value of a row stands.
func (c *Column) Cell(row int) (header string, position int) {
	if c.Cells == nil {
		return c.Header, c.Position
	}
	at := c.Cells.Which[row]
	return c.Cells.Headers[at], c.Cells.Positions[at]
}

// DateColumn makes a column of days. It takes over the slice.
func DateColumn(f *Field, days []int32) *Column {
	v := above(days, NoDay)
	d := array.NewData(arrow.FixedWidthTypes.Date32, len(days),
		[]*memory.Buffer{v.buffer(), memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(days))}, nil, v.nulls, 0)
	return &Column{Field: f, data: array.NewDate32Data(d), days: days}
}

// IntegerColumn makes a column of whole numbers. It takes over the slice.
func IntegerColumn(f *Field, ints []int64) *Column {
	v := above(ints, NoInt)
	d := array.NewData(arrow.PrimitiveTypes.Int64, len(ints),
		[]*memory.Buffer{v.buffer(), memory.NewBufferBytes(arrow.Int64Traits.CastToBytes(ints))}, nil, v.nulls, 0)
	return &Column{Field: f, data: array.NewInt64Data(d), ints: ints}
}

// NumberColumn makes a column of real numbers, NaN where missing. It takes over the slice.
func NumberColumn(f *Field, numbers []float64) *Column {
	v := numbered(numbers)
	d := array.NewData(arrow.PrimitiveTypes.Float64, len(numbers),
		[]*memory.Buffer{v.buffer(), memory.NewBufferBytes(arrow.Float64Traits.CastToBytes(numbers))}, nil, v.nulls, 0)
	return &Column{Field: f, data: array.NewFloat64Data(d), numbers: numbers}
}

// CodeColumn makes a column of codes: levels[codes[i]] is the code of row i. It takes over the slices.
func CodeColumn(f *Field, levels []string, codes []int16) *Column {
	v := above(codes, NoCode)
	index := array.NewData(arrow.PrimitiveTypes.Int16, len(codes),
		[]*memory.Buffer{v.buffer(), memory.NewBufferBytes(arrow.Int16Traits.CastToBytes(codes))}, nil, v.nulls, 0)
	b := array.NewStringBuilder(memory.DefaultAllocator)
	b.AppendValues(levels, nil)
	typ := &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int16, ValueType: arrow.BinaryTypes.String}
	d := array.NewDictionaryArray(typ, array.NewInt16Data(index), b.NewArray())
	return &Column{Field: f, data: d, codes: codes, levels: levels}
}

// TextColumn makes a column of texts: the text of row i is data[offsets[i]:offsets[i+1]]. An empty text is a missing
// one. It takes over the slices.
func TextColumn(f *Field, offsets []int32, data []byte) *Column {
	n := len(offsets) - 1
	v := filled(offsets)
	d := array.NewData(arrow.BinaryTypes.String, n, []*memory.Buffer{v.buffer(),
		memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(offsets)), memory.NewBufferBytes(data)}, nil, v.nulls, 0)
	a := array.NewStringData(d)
	return &Column{Field: f, data: a, texts: a}
}

// validity is Arrow's bitmap of present values. Every column of every export passes here, so each kind of value has its own
// loop, which makes a byte of eight rows without a branch.
type validity struct {
	bits  []byte
	nulls int
}

// above is the bitmap of whole numbers; the one that stands for a missing value is the least there is.
func above[T int16 | int32 | int64](values []T, missing T) validity {
	bitmap := make([]byte, (len(values)+7)/8)
	for i := range bitmap {
		var b byte
		for k, v := range values[8*i : min(8*i+8, len(values))] {
			b |= bit(v > missing) << k
		}
		bitmap[i] = b
	}
	return counted(bitmap, len(values))
}

// numbered is the bitmap of real numbers.
func numbered(values []float64) validity {
	bitmap := make([]byte, (len(values)+7)/8)
	for i := range bitmap {
		var b byte
		for k, v := range values[8*i : min(8*i+8, len(values))] {
			b |= bit(!math.IsNaN(v)) << k
		}
		bitmap[i] = b
	}
	return counted(bitmap, len(values))
}

// filled is the bitmap of texts that are not empty.
func filled(offsets []int32) validity {
	n := len(offsets) - 1
	bitmap := make([]byte, (n+7)/8)
	for i := range bitmap {
		var b byte
		part := offsets[8*i : min(8*i+9, len(offsets))]
		for k, end := range part[1:] {
			b |= bit(end > part[k]) << k
		}
		bitmap[i] = b
	}
	return counted(bitmap, n)
}

func bit(set bool) byte {
	if set {
		return 1
	}
	return 0
}

// counted counts the missing among n values.
func counted(bitmap []byte, n int) validity {
	present := 0
	for _, b := range bitmap {
		present += bits.OnesCount8(b)
	}
	return validity{bitmap, n - present}
}

// buffer returns the bitmap, nil when everything is present.
func (v *validity) buffer() *memory.Buffer {
	if v.nulls == 0 {
		return nil
	}
	return memory.NewBufferBytes(v.bits)
}

// Len returns the number of rows.
func (c *Column) Len() int { return c.data.Len() }

// Missing returns the number of missing values.
func (c *Column) Missing() int { return c.data.NullN() }

// Array returns the Arrow array behind the column.
func (c *Column) Array() arrow.Array { return c.data }

// Days returns the days of a Date column, [NoDay] where missing; nil for another type.
func (c *Column) Days() []int32 { return c.days }

// Integers returns the values of an Integer column, [NoInt] where missing; nil for another type.
func (c *Column) Integers() []int64 { return c.ints }

// Numbers returns the values of a Number column, NaN where missing; nil for another type.
func (c *Column) Numbers() []float64 { return c.numbers }

// Codes returns the codes of a Code column as positions in [Column.Levels], [NoCode] where missing; nil for another type.
func (c *Column) Codes() []int16 { return c.codes }

// Levels returns the codes that [Column.Codes] points into.
func (c *Column) Levels() []string { return c.levels }

// Text returns the text of a row of a Text column, empty when missing. It shares the column's memory.
func (c *Column) Text(row int) string { return c.texts.Value(row) }

// IsMissing reports whether the value of a row is missing.
func (c *Column) IsMissing(row int) bool { return c.data.IsNull(row) }

// String returns the value of a row as text, empty when missing. Days are written as dates; in a table of day offsets
// use [Column.Days].
func (c *Column) String(row int) string {
	if c.IsMissing(row) {
		return ""
	}
	switch {
	case c.days != nil:
		return FormatDay(c.days[row])
	case c.ints != nil:
		return strconv.FormatInt(c.ints[row], 10)
	case c.numbers != nil:
		return strconv.FormatFloat(c.numbers[row], 'g', -1, 64)
	case c.levels != nil:
		return c.levels[c.codes[row]]
	default:
		return c.texts.Value(row)
	}
}

// FormatDay writes a calendar day as YYYY-MM-DD.
func FormatDay(day int32) string {
	return time.Unix(int64(day)*86400, 0).UTC().Format(time.DateOnly)
}
