package ingest

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
	second "github.com/parquet-go/parquet-go"
	"pgregory.net/rapid"

	"deltoid/schemas"
)

// encodeRuns writes values as the format's page describes runs: bit by bit, in runs of one value and packed groups by turns.
func encodeRuns(values []uint32, width int, same func() bool) (b []byte) {
	for len(values) > 0 {
		if same() {
			n := 1
			for n < len(values) && values[n] == values[0] {
				n++
			}
			b = binary.AppendUvarint(b, uint64(n)<<1)
			for i := range (width + 7) / 8 {
				b = append(b, byte(values[0]>>(8*i)))
			}
			values = values[n:]
			continue
		}
		n := min(len(values), 24)
		groups := (n + 7) / 8
		b = binary.AppendUvarint(b, uint64(groups)<<1|1)
		packed := make([]byte, groups*width)
		for i, v := range values[:n] {
			for k := range width {
				packed[(i*width+k)/8] |= byte(v>>k&1) << ((i*width + k) % 8)
			}
		}
		b, values = append(b, packed...), values[n:]
	}
	return b
}

// The twin writes single bits; any width, any mixture of runs, read in batches of any size.
func TestRunsAreReadAsTheyAreWritten(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		width := rapid.IntRange(0, 32).Draw(rt, "width")
		values := rapid.SliceOfN(rapid.Uint32Range(0, uint32(uint64(1)<<width-1)), 1, 200).Draw(rt, "values")
		if rapid.Bool().Draw(rt, "runs") {
			for i := range values {
				values[i] = values[i/20*20]
			}
		}
		// Only the last packed group may be filled up: what follows one begins at a value that is a multiple of eight.
		r := &runs{b: encodeRuns(values, width, func() bool { return false }), width: width}
		if rapid.Bool().Draw(rt, "same") {
			r.b = encodeRuns(values, width, func() bool { return true })
		}
		var got []uint32
		for len(got) < len(values) {
			some := make([]uint32, min(rapid.IntRange(1, 70).Draw(rt, "batch"), len(values)-len(got)))
			if !r.fill(some) {
				rt.Fatalf("the runs end after %d of %d", len(got), len(values))
			}
			got = append(got, some...)
		}
		if fmt.Sprint(got) != fmt.Sprint(values) {
			rt.Fatalf("width %d: %v, want %v", width, got, values)
		}
		if more := make([]uint32, 9); r.fill(more) {
			rt.Fatal("there are more values than were written")
		}
	})
}

// Moments of twelve bytes do not say whether they are meant in UTC: with a zone in the plan they are.
func TestOldMoments(t *testing.T) {
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	b := array.NewTimestampBuilder(memory.DefaultAllocator, &arrow.TimestampType{Unit: arrow.Nanosecond, TimeZone: "UTC"})
	for _, at := range []time.Time{time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2020, 7, 1, 0, 0, 0, 0, lisbon), time.Date(1960, 2, 29, 0, 0, 0, 0, time.UTC),
		time.Date(2020, 1, 1, 0, 0, 0, 1, time.UTC)} {
		b.Append(arrow.Timestamp(at.UnixNano()))
	}
	b.AppendNull()
	record := array.NewRecord(arrow.NewSchema([]arrow.Field{{Name: "operated", Type: b.Type(), Nullable: true}}, nil), []arrow.Array{b.NewArray()}, 5)
	var file bytes.Buffer
	w, err := pqarrow.NewFileWriter(record.Schema(), &file, parquet.NewWriterProperties(), pqarrow.NewArrowWriterProperties(pqarrow.WithDeprecatedInt96Timestamps(true)))
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(record); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	s := &schemas.Schema{Name: "few", Fields: []schemas.Field{{Name: "operated", Type: schemas.Date}}}
	table, found := mustRead(t, s, export(t, schemas.Source{}, [2]string{"a.parquet", file.String()}), 1)
	same(t, "without a zone", dump(table), []string{"a.parquet:1|1970-01-01", "a.parquet:2||aside", "a.parquet:3|1960-02-29", "a.parquet:4||aside", "a.parquet:5|"})
	same(t, "findings", places(found), []string{`a.parquet:2:1 time-of-day "2020-06-30T23:00:00" (a date written YYYY-MM-DD)`,
		`a.parquet:4:1 time-of-day "2020-01-01T00:00:00.000001" (a date written YYYY-MM-DD)`})
	table, found = mustRead(t, s, export(t, schemas.Source{Zones: map[string]string{"operated": "Europe/Lisbon"}}, [2]string{"a.parquet", file.String()}), 1)
	same(t, "with a zone", dump(table), []string{"a.parquet:1|1970-01-01", "a.parquet:2|2020-07-01", "a.parquet:3|1960-02-29", "a.parquet:4|2020-01-01", "a.parquet:5|"})
	same(t, "findings with a zone", places(found), []string(nil))
}

// splitRow has its numbers split into streams by the second library.
type splitRow struct {
	Single float32  `parquet:"single,split"`
	Double *float64 `parquet:"double,optional,split"`
}

func TestSplitStreamsAreReadFromAnotherWriter(t *testing.T) {
	var file bytes.Buffer
	w := second.NewGenericWriter[splitRow](&file)
	var want []string
	for i := range 5000 {
		row := splitRow{Single: float32(i) / 3}
		line := fmt.Sprintf("a.parquet:%d|%v", i+1, row.Single)
		if i%3 != 0 {
			v := math.Sqrt(float64(i))
			row.Double, line = &v, line+fmt.Sprintf("|%v", v)
		} else {
			line += "|"
		}
		if _, err := w.Write([]splitRow{row}); err != nil {
			t.Fatal(err)
		}
		want = append(want, line)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	s := &schemas.Schema{Name: "few", Fields: []schemas.Field{{Name: "single", Type: schemas.Number}, {Name: "double", Type: schemas.Number}}}
	table, found := mustRead(t, s, export(t, schemas.Source{}, [2]string{"a.parquet", file.String()}), 1)
	same(t, "findings", places(found), []string(nil))
	for i, line := range dump(table) {
		if line != want[i] {
			t.Fatalf("%s, want %s", line, want[i])
		}
	}
}

// The footer names an encoding that nobody knows beside that of the values.
func TestAnEncodingThatIsNotReadIsNotCalledDamage(t *testing.T) {
	b := array.NewInt64Builder(memory.DefaultAllocator)
	b.AppendValues([]int64{1, 2, 3}, nil)
	record := array.NewRecord(arrow.NewSchema([]arrow.Field{{Name: "patient", Type: arrow.PrimitiveTypes.Int64}}, nil), []arrow.Array{b.NewArray()}, 3)
	whole := writeRecord(t, record, parquet.WithMaxRowGroupLength(3), parquet.WithDictionaryDefault(false))
	const known, unknown = "\x25\x00\x06", "\x25\x00\x14" // lists of plain with RLE, and with number 10
	if strings.Count(whole, known) != 1 {
		t.Fatalf("the footer lists the encodings %d times", strings.Count(whole, known))
	}
	got := problems(t, export(t, schemas.Source{}, [2]string{"a.parquet", strings.Replace(whole, known, unknown, 1)}))
	if len(got) != 1 || !strings.HasPrefix(got[0], `a.parquet: the column "patient" is written in the encoding number 10, which is not read`) {
		t.Errorf("%q", got)
	}
}

// What a dictionary says once counts as often as it stands: recodes, rounded lengths, layouts, wrong values and missing ones.
func TestDictionariesCountWhatStands(t *testing.T) {
	const rows = 9000 // more than a batch, in two row groups
	names := []string{"patient", "side", "operated", "follow_up", "implant", "clinic"}
	text := strings.Join(names, ",") + "\n"
	builders := make([]*array.StringBuilder, len(names))
	fields, columns := make([]arrow.Field, len(names)), make([]arrow.Array, len(names))
	for i := range builders {
		builders[i] = array.NewStringBuilder(memory.DefaultAllocator)
		fields[i] = arrow.Field{Name: names[i], Type: arrow.BinaryTypes.String, Nullable: true}
	}
	for row := range rows {
		values := []string{fmt.Sprint("P", row%7), []string{"L", "right", "", "x"}[row%4], []string{"03/04/2020", "2020-03-04", "4.3.2020", "NA"}[row*row%4],
			[]string{"1", "12", "2", ""}[row%4], []string{"AB1", "ZZ", "AB2"}[row%3], []string{"Nord", "Süd", "West"}[row/3%3]}
		for i, v := range values {
			if v == "" {
				builders[i].AppendNull()
			} else {
				builders[i].Append(v)
			}
		}
		text += strings.Join(values, ",") + "\n"
	}
	for i := range builders {
		columns[i] = builders[i].NewArray()
	}
	file := writeRecord(t, array.NewRecord(arrow.NewSchema(fields, nil), columns, rows), parquet.WithMaxRowGroupLength(5000))
	source := schemas.Source{Recode: map[string]map[string]string{"side": {"L": "left"}, "implant": {"ZZ": "ZZ9"}, "clinic": {"West": "Nord"}}, Missing: []string{"NA"},
		Layouts: map[string][]schemas.Layout{"operated": {"DD/MM/YYYY", "YYYY-MM-DD"}}, Units: map[string]schemas.Unit{"follow_up": schemas.Months},
		Extra: []schemas.Field{{Name: "clinic", Type: schemas.Code}}}
	want, wantFound := mustRead(t, few(), export(t, source, [2]string{"a.csv", text}), 1<<16)
	got, found := mustRead(t, few(), export(t, source, [2]string{"a.parquet", file}), 1)
	same(t, "rows", cellsOnly(got), cellsOnly(want))
	same(t, "findings", len(found), len(wantFound))
	for i := range found {
		if found[i].Line != wantFound[i].Line-1 || found[i].Value != wantFound[i].Value || found[i].Rule != wantFound[i].Rule {
			t.Fatalf("finding %v, want %v", found[i], wantFound[i])
		}
	}
	same(t, "recodes", fmt.Sprint(got.Recoded), fmt.Sprint(want.Recoded))
	if note := strings.TrimPrefix(want.Sources[0].Note, "delimiter: comma; "); got.Sources[0].Note != note {
		t.Errorf("the note is %q, want %q", got.Sources[0].Note, note)
	}
}
