package schemas

import (
	"fmt"
	"io"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
)

// rowGroup is the number of rows in a row group of a file we write: small enough to be read in parallel and in little
// memory, large enough that dictionaries pay.
const rowGroup = 1 << 17

// WriteParquet writes a table as Parquet: the columns of [Table.Columns] under the names of their fields, all nullable,
// days as DATE (as INT32 in a table of day offsets), codes and texts as UTF-8 with a dictionary, compressed by zstd,
// whose frames carry a checksum of their own. The same table gives the same bytes.
func WriteParquet(w io.Writer, t *Table) error {
	out := &sink{w: w}
	if err := writeParquet(out, t); out.err == nil {
		return err
	}
	return out.err
}

// writeParquet turns the library's panic at a writer that fails into an error.
func writeParquet(out *sink, t *Table) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("writing Parquet: %v", v)
		}
	}()
	props := parquet.NewWriterProperties(
		parquet.WithCompression(compress.Codecs.Zstd),
		parquet.WithCreatedBy("deltoid"),
		parquet.WithMaxRowGroupLength(rowGroup))
	f, err := pqarrow.NewFileWriter(asRecord(t, 0, 0).Schema(), out, props, pqarrow.DefaultWriterProps())
	if err != nil {
		return err
	}
	for from := 0; from < t.Rows(); from += rowGroup {
		if err := f.Write(asRecord(t, from, min(from+rowGroup, t.Rows()))); err != nil {
			return err
		}
	}
	return f.Close()
}

// sink keeps the first error of a writer, after which it writes nothing more. It has no Close, which the library would
// call: who opened a file closes it.
type sink struct {
	w   io.Writer
	err error
}

func (s *sink) Write(p []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	n, err := s.w.Write(p)
	s.err = err
	return n, err
}

func asRecord(t *Table, from, to int) arrow.Record {
	fields := make([]arrow.Field, len(t.order))
	arrays := make([]arrow.Array, len(t.order))
	for i, c := range t.order {
		switch {
		case c.codes != nil:
			arrays[i] = spelled(c, from, to)
		case t.Offsets && c.days != nil:
			arrays[i] = array.NewSlice(offsetArray(c.data), int64(from), int64(to))
		default:
			arrays[i] = array.NewSlice(c.data, int64(from), int64(to))
		}
		fields[i] = arrow.Field{Name: c.Field.Name, Type: arrays[i].DataType(), Nullable: true}
	}
	return array.NewRecord(arrow.NewSchema(fields, nil), arrays, int64(to-from))
}

// spelled writes out the codes of some rows. The Parquet writer of Arrow 15 takes indices from the wrong place when a
// dictionary array has more than 1,024 rows, or does not begin at the first row of its column; from texts it makes the
// dictionary in the file itself.
func spelled(c *Column, from, to int) arrow.Array {
	b := array.NewStringBuilder(memory.DefaultAllocator)
	defer b.Release()
	b.Reserve(to - from)
	for _, code := range c.codes[from:to] {
		if code == NoCode {
			b.AppendNull()
		} else {
			b.Append(c.levels[code])
		}
	}
	return b.NewArray()
}

// offsetArray shows the days of a column as plain whole numbers; both are int32 in memory.
func offsetArray(days arrow.Array) arrow.Array {
	d := days.Data()
	return array.NewInt32Data(array.NewData(arrow.PrimitiveTypes.Int32, d.Len(), d.Buffers(), nil, d.NullN(), d.Offset()))
}
