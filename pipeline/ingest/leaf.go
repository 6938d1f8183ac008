package ingest

import (
	"errors"
	"fmt"
	"slices"
	"sync"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/schema"

	"deltoid/schemas"
)

// goMemory never hands out memory twice, so a text stays valid after the page it came from has gone.
var goMemory = memory.NewGoAllocator()

// meaning says what the values of a Parquet column are.
type meaning uint8

// The meanings that a field can be read from.
const (
	unknown meaning = iota
	nothing         // nulls only
	textual
	uuid
	signed
	unsigned
	fractional
	truth
	decimal
	calendarDay
	moment
	zonedMoment
	twelveBytes // of twelve bytes, which do not say whether a zone is meant
)

// leaf is a column of a Parquet file.
type leaf struct {
	index  int
	descr  *schema.Column
	means  meaning
	scale  int   // of a decimal
	perDay int64 // units of a moment in a day
}

func newLeaf(index int, descr *schema.Column) *leaf {
	l := &leaf{index: index, descr: descr}
	physical := descr.PhysicalType()
	switch t := descr.LogicalType().(type) {
	case schema.StringLogicalType, schema.EnumLogicalType, schema.JSONLogicalType:
		l.means = textual
	case schema.UUIDLogicalType:
		l.means = uuid
	case schema.NullLogicalType:
		l.means = nothing
	case schema.DateLogicalType:
		l.means = calendarDay
	case *schema.DecimalLogicalType:
		l.means, l.scale = decimal, int(t.Scale())
	case *schema.IntLogicalType:
		l.means = signed
		if !t.IsSigned() {
			l.means = unsigned
		}
	case *schema.TimestampLogicalType:
		l.means, l.perDay = moment, unitsPerDay(t.TimeUnit())
		if t.IsAdjustedToUTC() {
			l.means = zonedMoment
		}
	case schema.NoLogicalType, schema.UnknownLogicalType, nil:
		l.means = plainMeaning(physical)
	}
	return l
}

// plainMeaning is what a column without further declaration holds. Writers of old leave texts undeclared.
func plainMeaning(t parquet.Type) meaning {
	switch t {
	case parquet.Types.ByteArray:
		return textual
	case parquet.Types.Int32, parquet.Types.Int64:
		return signed
	case parquet.Types.Float, parquet.Types.Double:
		return fractional
	case parquet.Types.Boolean:
		return truth
	case parquet.Types.Int96:
		return twelveBytes
	}
	return unknown
}

func unitsPerDay(u schema.TimeUnitType) int64 {
	const seconds = 86400
	switch u {
	case schema.TimeUnitMillis:
		return seconds * 1e3
	case schema.TimeUnitMicros:
		return seconds * 1e6
	}
	return seconds * 1e9
}

// refusal says why a field cannot be read from the column, and what to do; empty when it can.
func (l *leaf) refusal(sp *spec) (what, remedy string) {
	switch {
	case l == nil:
		return "is nested", "write one plain column for each value"
	case l.means == unknown:
		return "has the type " + typeName(l.descr), "write the column with another type"
	case l.means == zonedMoment && sp.zone == nil && sp.field.Type == schemas.Date:
		return "holds moments in a time zone, and which day a moment falls on depends on the zone",
			`name the zone where the patients were treated under "zones" in the study plan, or write the column as dates`
	case l.means == moment && sp.zone != nil:
		return "holds moments without a time zone, and the study plan declares one", "take the zone out of the study plan"
	case sp.offsets && (l.means == calendarDay || l.means == moment || l.means == zonedMoment || l.means == twelveBytes):
		return "holds calendar dates where the study plan declares day numbers",
			"take the layout out of the study plan, or write the column as whole numbers"
	}
	return "", ""
}

func typeName(c *schema.Column) string {
	if t := c.LogicalType(); t != nil && !t.IsNone() {
		return t.String()
	}
	return c.PhysicalType().String()
}

// read adds the values of the column's part of one row group, and shows them to what the footer states. Encodings of
// differences and truth values are left to the library.
func (l *leaf) read(pages *checkedPages, encodings []parquet.Encoding, c *column, rows int, st *stated, pool *sync.Pool) error {
	own := !slices.ContainsFunc(encodings, func(e parquet.Encoding) bool { return !slices.Contains(ownEncodings, e) })
	if !own || l.descr.PhysicalType() == parquet.Types.Boolean {
		return l.readByLibrary(file.NewColumnReader(l.descr, pages, goMemory, pool), c, rows, st)
	}
	unsigned := l.means == unsigned
	switch l.descr.PhysicalType() {
	case parquet.Types.Int32:
		return (&decoder[int32]{physical: plainInt32, c: c, adds: l.int32s, see: st.int32s(unsigned), st: st}).decode(pages, rows)
	case parquet.Types.Int64:
		return (&decoder[int64]{physical: plainInt64, c: c, adds: l.int64s, see: st.int64s(unsigned), st: st}).decode(pages, rows)
	case parquet.Types.Float:
		return (&decoder[float32]{physical: plainSingle, c: c, adds: singles, see: st.float32s(), st: st}).decode(pages, rows)
	case parquet.Types.Double:
		return (&decoder[float64]{physical: plainDouble, c: c, adds: doubles, see: st.float64s(), st: st}).decode(pages, rows)
	case parquet.Types.Int96:
		return (&decoder[parquet.Int96]{physical: plainInt96, c: c, adds: oldMoments, st: st}).decode(pages, rows)
	case parquet.Types.ByteArray:
		d := &decoder[parquet.ByteArray]{physical: plainTexts, c: c, adds: l.byteArrays, st: st}
		if l.means != decimal {
			d.see, d.seeText = st.texts(), st.text()
		}
		return d.decode(pages, rows)
	}
	if l.descr.TypeLength() <= 0 {
		return fmt.Errorf("the footer claims values of %d bytes", l.descr.TypeLength())
	}
	return (&decoder[parquet.FixedLenByteArray]{physical: plainFixed(l.descr.TypeLength()), c: c, adds: l.fixedByteArrays, st: st}).decode(pages, rows)
}

func singles(c *column) func(float32)          { return c.single }
func doubles(c *column) func(float64)          { return c.double }
func oldMoments(c *column) func(parquet.Int96) { return c.oldMoment }

func (l *leaf) byteArrays(c *column) func(parquet.ByteArray) {
	if l.means == decimal {
		return func(v parquet.ByteArray) { c.bigDecimal(v, l.scale) }
	}
	return func(v parquet.ByteArray) { c.text(v) }
}

func (l *leaf) fixedByteArrays(c *column) func(parquet.FixedLenByteArray) {
	if l.means == uuid {
		return func(v parquet.FixedLenByteArray) { c.uuid(v) }
	}
	return func(v parquet.FixedLenByteArray) { c.bigDecimal(v, l.scale) }
}

func (l *leaf) readByLibrary(cr file.ColumnChunkReader, c *column, rows int, st *stated) error {
	unsigned := l.means == unsigned
	switch cr := cr.(type) {
	case *file.Int32ColumnChunkReader:
		return drain(cr, cr.ReadBatch, rows, c, l.int32s(c), st, st.int32s(unsigned))
	case *file.Int64ColumnChunkReader:
		return drain(cr, cr.ReadBatch, rows, c, l.int64s(c), st, st.int64s(unsigned))
	case *file.Float32ColumnChunkReader:
		return drain(cr, cr.ReadBatch, rows, c, c.single, st, st.float32s())
	case *file.Float64ColumnChunkReader:
		return drain(cr, cr.ReadBatch, rows, c, c.double, st, st.float64s())
	case *file.BooleanColumnChunkReader:
		return drain(cr, cr.ReadBatch, rows, c, c.truth, st, nil)
	case *file.ByteArrayColumnChunkReader:
		see := st.texts()
		if l.means == decimal {
			see = nil
		}
		return drain(cr, cr.ReadBatch, rows, c, l.byteArrays(c), st, see)
	case *file.FixedLenByteArrayColumnChunkReader:
		return drain(cr, cr.ReadBatch, rows, c, l.fixedByteArrays(c), st, nil)
	}
	return fmt.Errorf("the type %s cannot be read", cr.Type())
}

func (l *leaf) int32s(c *column) func(int32) {
	switch l.means {
	case calendarDay:
		return func(v int32) { c.calendar(int64(v)) }
	case decimal:
		return func(v int32) { c.decimal(int64(v), l.scale) }
	case unsigned:
		return func(v int32) { c.signed(int64(uint32(v))) }
	}
	return func(v int32) { c.signed(int64(v)) }
}

func (l *leaf) int64s(c *column) func(int64) {
	switch l.means {
	case moment:
		return func(v int64) { c.moment(v, l.perDay) }
	case zonedMoment:
		return func(v int64) { c.zoned(v, l.perDay) }
	case decimal:
		return func(v int64) { c.decimal(v, l.scale) }
	case unsigned:
		return func(v int64) { c.unsigned(uint64(v)) }
	}
	return c.signed
}

// values is what all the library's column readers can do.
type values interface {
	HasNext() bool
	Err() error
	Descriptor() *schema.Column
}

// drain takes all values of a column and adds each, with missing ones in their places. see, if not nil, is shown every
// batch of values.
func drain[T any](cr values, read func(int64, []T, []int16, []int16) (int64, int, error), rows int, c *column, add func(T),
	st *stated, see func([]T)) error {
	present := cr.Descriptor().MaxDefinitionLevel()
	buf, levels := make([]T, batch), make([]int16, batch)
	got := 0
	for got < rows && cr.HasNext() {
		n, k, err := read(int64(min(batch, rows-got)), buf, levels, nil)
		if err != nil {
			return err
		}
		if n == 0 || !spread(buf[:k], levels[:n], present, c, add) {
			return errLevels
		}
		if got, st.present = got+int(n), st.present+int64(k); see != nil {
			see(buf[:k])
		}
	}
	if err := cr.Err(); err != nil {
		return err
	}
	if got != rows {
		return fmt.Errorf("%d values read of %d", got, rows)
	}
	return nil
}

var errLevels = errors.New("values and their places do not agree")

// spread adds a batch; false when the values are not as many as the levels say.
func spread[T any](buf []T, levels []int16, present int16, c *column, add func(T)) bool {
	if present == 0 {
		for _, v := range buf {
			add(v)
		}
		return len(buf) == len(levels)
	}
	next := 0
	for _, level := range levels {
		if level != present {
			c.missing()
			continue
		}
		if next == len(buf) {
			return false
		}
		add(buf[next])
		next++
	}
	return next == len(buf)
}
