package schemas

import (
	"io"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
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
	record := asRecord(t)
	defer record.Release()
	props := parquet.NewWriterProperties(
		parquet.WithCompression(compress.Codecs.Zstd),
		parquet.WithCreatedBy("deltoid"),
		parquet.WithMaxRowGroupLength(rowGroup))
	f, err := pqarrow.NewFileWriter(record.Schema(), keepOpen{w}, props, pqarrow.DefaultWriterProps())
	if err != nil {
		return err
	}
	for from := 0; from < t.Rows(); from += rowGroup {
		slice := record.NewSlice(int64(from), int64(min(from+rowGroup, t.Rows())))
		err := f.Write(slice)
		slice.Release()
		if err != nil {
			_ = f.Close()
			return err
		}
	}
	return f.Close()
}

// keepOpen hides a writer's Close, which the Parquet writer would otherwise call: who opened a file closes it.
type keepOpen struct{ io.Writer }

func asRecord(t *Table) arrow.Record {
	fields := make([]arrow.Field, len(t.order))
	arrays := make([]arrow.Array, len(t.order))
	for i, c := range t.order {
		arrays[i] = c.data
		if t.Offsets && c.days != nil {
			arrays[i] = offsetArray(c.data)
		}
		fields[i] = arrow.Field{Name: c.Field.Name, Type: arrays[i].DataType(), Nullable: true}
	}
	return array.NewRecord(arrow.NewSchema(fields, nil), arrays, int64(t.Rows()))
}

// offsetArray shows the days of a column as plain whole numbers; both are int32 in memory.
func offsetArray(days arrow.Array) arrow.Array {
	d := days.Data()
	return array.NewInt32Data(array.NewData(arrow.PrimitiveTypes.Int32, d.Len(), d.Buffers(), nil, d.NullN(), d.Offset()))
}
