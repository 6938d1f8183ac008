package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"

	"deltoid/schemas"
)

// sampleCSV is a table of the hand-made schema, right in every cell, with missing cells first, last and in between.
func sampleCSV(rows int) string {
	rng := rand.New(rand.NewPCG(1, 2))
	var b strings.Builder
	b.WriteString(header)
	for row := range rows {
		pick := func(s string) string {
			if row == 0 || row == rows-1 || rng.IntN(4) == 0 {
				return ""
			}
			return s
		}
		day := schemas.FormatDay(int32(rng.IntN(20000)))
		fmt.Fprintf(&b, "%d,%s,%s,%s,%s,%s,%s\n", row, pick([]string{"left", "right"}[rng.IntN(2)]), pick(day), pick(fmt.Sprint(rng.IntN(9))),
			pick(fmt.Sprint(rng.Float64()*100)), pick(fmt.Sprintf("AB%d", rng.IntN(50))), pick(fmt.Sprint(rng.IntN(5000))))
	}
	return b.String()
}

func sampleTable(t testing.TB, rows int) *schemas.Table {
	table, found := mustRead(t, few(), export(t, schemas.Source{}, [2]string{"a.csv", sampleCSV(rows)}), 1<<20)
	if len(found) > 0 {
		t.Fatal(places(found))
	}
	return table
}

func sampleParquet(t testing.TB, rows int) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := schemas.WriteParquet(&b, sampleTable(t, rows)); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// cellsOnly is dump without the places, which differ between a text file and a Parquet file.
func cellsOnly(t *schemas.Table) []string {
	rows := dump(t)
	for i := range rows {
		_, rows[i], _ = strings.Cut(rows[i], "|")
	}
	return rows
}

func TestTablesSurviveBothFormats(t *testing.T) {
	for _, rows := range []int{0, 1, 2, 3000} {
		table := sampleTable(t, rows)
		var text, parquet bytes.Buffer
		if err := schemas.WriteCSV(&text, table); err != nil {
			t.Fatal(err)
		}
		if err := schemas.WriteParquet(&parquet, table); err != nil {
			t.Fatal(err)
		}
		for name, b := range map[string][]byte{"a.csv": text.Bytes(), "a.parquet": parquet.Bytes()} {
			again, found := mustRead(t, few(), export(t, schemas.Source{}, [2]string{name, string(b)}), 100)
			same(t, name, cellsOnly(again), cellsOnly(table))
			same(t, name+" findings", places(found), []string(nil))
		}
	}
}

// withoutZone makes the test's writer mark timestamps as lacking a zone: it marks those without a zone as UTC, and those
// of another zone as lacking one. What counts in a file is the mark.
func withoutZone(a arrow.Array) arrow.Array {
	typ, ok := a.DataType().(*arrow.TimestampType)
	if !ok {
		return a
	}
	d := a.Data()
	return array.MakeFromData(array.NewData(&arrow.TimestampType{Unit: typ.Unit, TimeZone: "Etc/GMT"}, d.Len(), d.Buffers(), nil, d.NullN(), 0))
}

// Several row groups, and enough rows for the library's writer to lose its place if it were handed dictionaries.
func TestLargeTablesSurviveParquet(t *testing.T) {
	const rows = 1<<17 + 1234
	src := export(t, schemas.Source{}, [2]string{"a.parquet", string(sampleParquet(t, rows))})
	got, found := mustRead(t, few(), src, 1)
	want := cellsOnly(sampleTable(t, rows))
	if len(found) > 0 || !slices.Equal(cellsOnly(got), want) {
		t.Errorf("%d findings, %d rows that differ from those written", len(found), len(want))
	}
}

// everyType is a record of all types that a field can be read from, three rows, the middle one null.
func everyType(nullable bool) (arrow.Record, string) {
	mem := memory.DefaultAllocator
	var fields []arrow.Field
	var columns []arrow.Array
	add := func(name string, typ arrow.DataType, values string) {
		b := array.NewBuilder(mem, typ)
		for _, v := range strings.Split(values, "|") {
			if v == "" && nullable {
				b.AppendNull()
			} else if err := b.AppendValueFromString(v); err != nil {
				panic(fmt.Sprintf("%s: %v", name, err))
			}
		}
		a := withoutZone(b.NewArray())
		fields = append(fields, arrow.Field{Name: name, Type: a.DataType(), Nullable: nullable})
		columns = append(columns, a)
	}
	middle := func(with string) string { return map[bool]string{true: "", false: with}[nullable] }
	for _, c := range []struct {
		name string
		typ  arrow.DataType
		a, b string
		c    string
	}{
		{"i8", arrow.PrimitiveTypes.Int8, "-128", "7", "127"}, {"i16", arrow.PrimitiveTypes.Int16, "-32768", "7", "32767"},
		{"i32", arrow.PrimitiveTypes.Int32, "-2147483648", "7", "2147483647"},
		{"i64", arrow.PrimitiveTypes.Int64, "-9223372036854775807", "7", "9223372036854775807"},
		{"u8", arrow.PrimitiveTypes.Uint8, "0", "7", "255"}, {"u16", arrow.PrimitiveTypes.Uint16, "0", "7", "65535"},
		{"u32", arrow.PrimitiveTypes.Uint32, "0", "7", "4294967295"}, {"u64", arrow.PrimitiveTypes.Uint64, "0", "7", "9223372036854775807"},
		{"wide", arrow.PrimitiveTypes.Float64, "3", "7", "-9007199254740992"},
		{"f32", arrow.PrimitiveTypes.Float32, "0.1", "7.5", "-3.4e38"}, {"f64", arrow.PrimitiveTypes.Float64, "0.1", "7.5", "-1.7e308"},
		{"d128", &arrow.Decimal128Type{Precision: 18, Scale: 4}, "0.0001", "7.5", "-99999999999999.9999"},
		{"d9", &arrow.Decimal128Type{Precision: 9, Scale: 2}, "1.5", "7.25", "-0.01"},
		{"d38", &arrow.Decimal128Type{Precision: 38, Scale: 4}, "12", "7.5", "-0.5"},
		{"text", arrow.BinaryTypes.String, "007", "b", " é,\"\n "},
		{"code", arrow.BinaryTypes.String, "x", "y", "x"}, {"open", arrow.BinaryTypes.String, "z", "y", "x"},
		{"yes", arrow.FixedWidthTypes.Boolean, "true", "true", "false"},
		{"date", arrow.FixedWidthTypes.Date32, "1969-12-31", "2000-02-29", "9999-12-31"},
		{"ms", &arrow.TimestampType{Unit: arrow.Millisecond}, "1969-12-31", "2000-02-29", "2024-02-29"},
		{"us", &arrow.TimestampType{Unit: arrow.Microsecond}, "1969-12-31", "2000-02-29", "2024-02-29"},
		{"ns", &arrow.TimestampType{Unit: arrow.Nanosecond}, "1969-12-31", "2000-02-29", "2024-02-29"},
	} {
		add(c.name, c.typ, c.a+"|"+middle(c.b)+"|"+c.c)
	}
	record := array.NewRecord(arrow.NewSchema(fields, nil), columns, 3)
	csv := "i8,i16,i32,i64,u8,u16,u32,u64,wide,f32,f64,d128,d9,d38,text,code,open,yes,date,ms,us,ns\n" +
		"-128,-32768,-2147483648,-9223372036854775807,0,0,0,0,3,0.1,0.1,0.0001,1.5,12,007,x,z,true,1969-12-31,1969-12-31,1969-12-31,1969-12-31\n"
	if nullable {
		csv += strings.Repeat(",", 21) + "\n"
	} else {
		csv += "7,7,7,7,7,7,7,7,7,7.5,7.5,7.5,7.25,7.5,b,y,y,true,2000-02-29,2000-02-29,2000-02-29,2000-02-29\n"
	}
	return record, csv + "127,32767,2147483647,9223372036854775807,255,65535,4294967295,9223372036854775807,-9007199254740992,-3.4e38,-1.7e308,-99999999999999.9999,-.010,-.5," +
		"\" é,\"\"\n \",x,x,false,9999-12-31,2024-02-29,2024-02-29,2024-02-29\n"
}

func everyTypeSchema() *schemas.Schema {
	s := &schemas.Schema{Name: "every"}
	add := func(t schemas.Type, names ...string) {
		for _, n := range names {
			s.Fields = append(s.Fields, schemas.Field{Name: n, Type: t})
		}
	}
	add(schemas.Integer, "i8", "i16", "i32", "i64", "u8", "u16", "u32", "u64", "wide")
	add(schemas.Number, "f32", "f64", "d128", "d9", "d38")
	add(schemas.Text, "text")
	s.Fields = append(s.Fields, schemas.Field{Name: "code", Type: schemas.Code, Codes: []schemas.CodeValue{{Value: "y"}, {Value: "x"}}})
	add(schemas.Code, "open", "yes")
	add(schemas.Date, "date", "ms", "us", "ns")
	return s
}

// writeRecord writes a record with a writer's settings, in row groups of one row so that some hold nulls only.
func writeRecord(t testing.TB, record arrow.Record, options ...parquet.WriterProperty) string {
	t.Helper()
	var b bytes.Buffer
	options = append([]parquet.WriterProperty{parquet.WithMaxRowGroupLength(1)}, options...)
	w, err := pqarrow.NewFileWriter(record.Schema(), &b, parquet.NewWriterProperties(options...), pqarrow.DefaultWriterProps())
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(record); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// writerSettings are the ways in which the test's writer writes the same table.
var writerSettings = map[string][]parquet.WriterProperty{
	"none":       {parquet.WithCompression(compress.Codecs.Uncompressed)},
	"snappy":     {parquet.WithCompression(compress.Codecs.Snappy)},
	"gzip":       {parquet.WithCompression(compress.Codecs.Gzip)},
	"zstd":       {parquet.WithCompression(compress.Codecs.Zstd)},
	"brotli":     {parquet.WithCompression(compress.Codecs.Brotli)},
	"second":     {parquet.WithDataPageVersion(parquet.DataPageV2), parquet.WithVersion(parquet.V2_LATEST), parquet.WithCompression(compress.Codecs.Snappy)},
	"plain":      {parquet.WithDictionaryDefault(false)},
	"asIntegers": {parquet.WithStoreDecimalAsInteger(true), parquet.WithDictionaryDefault(false)},
	"deltas": {parquet.WithDictionaryDefault(false), parquet.WithEncodingFor("text", parquet.Encodings.DeltaByteArray),
		parquet.WithEncodingFor("code", parquet.Encodings.DeltaLengthByteArray), parquet.WithEncodingFor("i32", parquet.Encodings.DeltaBinaryPacked),
		parquet.WithEncodingFor("i64", parquet.Encodings.DeltaBinaryPacked), parquet.WithCompression(compress.Codecs.Uncompressed)},
	"small": {parquet.WithDataPageSize(1), parquet.WithVersion(parquet.V2_6)},
}

func TestTheSameTableThroughEveryFormatIsEqual(t *testing.T) {
	for _, nullable := range []bool{true, false} {
		record, text := everyType(nullable)
		src := export(t, schemas.Source{}, [2]string{"a.csv", text})
		want, found := mustRead(t, everyTypeSchema(), src, 16)
		same(t, "findings", places(found), []string(nil))
		for name, options := range writerSettings {
			if nullable && name == "deltas" {
				continue // the test's writer cannot write a row group of nulls so
			}
			t.Run(fmt.Sprint(name, nullable), func(t *testing.T) {
				src := export(t, schemas.Source{}, [2]string{"a.parquet", writeRecord(t, record, options...)})
				got, found := mustRead(t, everyTypeSchema(), src, 1)
				same(t, "rows", cellsOnly(got), cellsOnly(want))
				same(t, "findings", places(found), []string(nil))
				same(t, "lines", dump(got)[2][:12], "a.parquet:3|")
			})
		}
	}
}

// Differences in many blocks, with nulls between them, in both versions of data pages.
func TestDifferencesOverManyBlocksAreRead(t *testing.T) {
	const rows = 3000
	rng := rand.New(rand.NewPCG(3, 3))
	grade, patient, implant := array.NewInt64Builder(memory.DefaultAllocator), array.NewStringBuilder(memory.DefaultAllocator), array.NewStringBuilder(memory.DefaultAllocator)
	text := "grade,patient,implant\n"
	for row := range rows {
		v, id, code := int64(rng.Uint64()>>rng.IntN(64)), fmt.Sprintf("P%06d", row/3), fmt.Sprintf("AB%d", rng.IntN(1e6))
		v &= math.MaxInt64
		patient.Append(id)
		if rng.IntN(4) == 0 {
			grade.AppendNull()
			implant.AppendNull()
			text += "," + id + ",\n"
			continue
		}
		grade.Append(v)
		implant.Append(code)
		text += fmt.Sprintf("%d,%s,%s\n", v, id, code)
	}
	record := array.NewRecord(arrow.NewSchema([]arrow.Field{{Name: "grade", Type: arrow.PrimitiveTypes.Int64, Nullable: true},
		{Name: "patient", Type: arrow.BinaryTypes.String}, {Name: "implant", Type: arrow.BinaryTypes.String, Nullable: true}}, nil),
		[]arrow.Array{grade.NewArray(), patient.NewArray(), implant.NewArray()}, rows)
	want, _ := mustRead(t, few(), export(t, schemas.Source{}, [2]string{"a.csv", text}), 1000)
	for _, version := range []parquet.DataPageVersion{parquet.DataPageV1, parquet.DataPageV2} {
		file := writeRecord(t, record, parquet.WithDictionaryDefault(false), parquet.WithDataPageVersion(version),
			parquet.WithEncodingFor("grade", parquet.Encodings.DeltaBinaryPacked), parquet.WithEncodingFor("patient", parquet.Encodings.DeltaByteArray),
			parquet.WithEncodingFor("implant", parquet.Encodings.DeltaLengthByteArray), parquet.WithMaxRowGroupLength(rows))
		got, found := mustRead(t, few(), export(t, schemas.Source{}, [2]string{"a.parquet", file}), 1)
		same(t, "rows", cellsOnly(got), cellsOnly(want))
		same(t, "findings", places(found), []string(nil))
	}
}

// The same bad values through both formats: the same findings but for the line.
func TestBothFormatsFindTheSame(t *testing.T) {
	mem := memory.DefaultAllocator
	cells := [][]string{{"1", "2", ""}, {"left", "l", "NULL"}, {"31/02/2020", "2020-02-30", "2020-02-03"}, {"1.0", "-1", "99999999999999999999"},
		{"NaN", "121", "1e400"}, {"AB1x", "NULL", "AB1"}, {"1.5", "x", "NULL"}}
	s := few()
	var fields []arrow.Field
	var columns []arrow.Array
	text := header
	for i, column := range cells {
		b := array.NewStringBuilder(mem)
		for _, v := range column {
			b.Append(v)
		}
		fields = append(fields, arrow.Field{Name: s.Fields[i].Name, Type: arrow.BinaryTypes.String})
		columns = append(columns, b.NewArray())
	}
	for row := range 3 {
		for i := range cells {
			text += cells[i][row] + map[bool]string{true: "\n", false: ","}[i == len(cells)-1]
		}
	}
	src := schemas.Source{Missing: []string{"NULL"}}
	fromText, found := mustRead(t, s, export(t, src, [2]string{"a.csv", text}), 10)
	fromParquet, found2 := mustRead(t, s, export(t, src, [2]string{"a.csv.parquet", writeRecord(t, array.NewRecord(arrow.NewSchema(fields, nil), columns, 3))}), 10)
	same(t, "rows", cellsOnly(fromParquet), cellsOnly(fromText))
	same(t, "number of findings", len(found), 13)
	for i := range found {
		found[i].Line--
		found[i].File += ".parquet"
	}
	same(t, "findings", places(found2), places(found))
}

func TestTypedValuesFollowThePlanToo(t *testing.T) {
	mem := memory.DefaultAllocator
	grade := array.NewFloat64Builder(mem)
	grade.AppendValues([]float64{-9, 2, 2.5}, nil)
	age := array.NewInt32Builder(mem)
	age.AppendValues([]int32{50, -9, 121}, nil)
	operated := array.NewTimestampBuilder(mem, &arrow.TimestampType{Unit: arrow.Second})
	operated.AppendValues([]arrow.Timestamp{0, 3600, -86400}, nil)
	patient := array.NewInt64Builder(mem)
	patient.AppendValues([]int64{7, 8, 9}, nil)
	follow := array.NewFloat32Builder(mem)
	follow.AppendValues([]float32{0.1, 1, 2.5}, nil)
	side := array.NewUint8Builder(mem)
	side.AppendValues([]uint8{1, 2, 3}, nil)
	names := []string{"grade", "age", "operated", "patient", "follow_up", "side"}
	var fields []arrow.Field
	var columns []arrow.Array
	for i, b := range []array.Builder{grade, age, operated, patient, follow, side} {
		a := withoutZone(b.NewArray())
		fields = append(fields, arrow.Field{Name: names[i], Type: a.DataType()})
		columns = append(columns, a)
	}
	record := array.NewRecord(arrow.NewSchema(fields, nil), columns, 3)
	src := export(t, schemas.Source{Missing: []string{"-9"}, Units: map[string]schemas.Unit{"follow_up": schemas.Years}, Decimal: ',',
		Recode: map[string]map[string]string{"side": {"1": "left", "2": "right"}}}, [2]string{"a.parquet", writeRecord(t, record)})
	table, found := mustRead(t, few(), src, 1)
	same(t, "rows", dump(table), []string{"a.parquet:1|7|left|1970-01-01||50|37", "a.parquet:2|8|right||2||365|aside", "a.parquet:3|9||1969-12-31|||913|aside"})
	same(t, "findings", places(found), []string{
		`a.parquet:2:3 time-of-day "1970-01-01T01:00:00" (a date written YYYY-MM-DD)`,
		`a.parquet:3:1 bad-integer "2,5" (a whole number)`,
		`a.parquet:3:2 out-of-range "121" (from 0 to 120)`,
		`a.parquet:3:6 unknown-code "3" (one of: left, right)`})
	same(t, "note", table.Sources[0].Note, "no column for: implant; follow_up: years turned into days, 3 values rounded to whole days")
}

func TestColumnsThatNoFieldCanBeReadFromAreProblems(t *testing.T) {
	mem := memory.DefaultAllocator
	list := array.NewListBuilder(mem, arrow.PrimitiveTypes.Int64)
	list.Append(true)
	zoned := array.NewTimestampBuilder(mem, &arrow.TimestampType{Unit: arrow.Microsecond, TimeZone: "UTC"})
	zoned.Append(0)
	clock := array.NewTime32Builder(mem, &arrow.Time32Type{Unit: arrow.Millisecond})
	clock.Append(0)
	var fields []arrow.Field
	var columns []arrow.Array
	for i, b := range []array.Builder{list, zoned, clock} {
		fields = append(fields, arrow.Field{Name: []string{"patient", "operated", "grade"}[i], Type: b.Type(), Nullable: true})
		columns = append(columns, b.NewArray())
	}
	src := export(t, schemas.Source{}, [2]string{"a.parquet", writeRecord(t, array.NewRecord(arrow.NewSchema(fields, nil), columns, 1))})
	got := problems(t, src)
	if len(got) != 3 || !strings.HasPrefix(got[0], `a.parquet: the column "patient" is nested`) ||
		!strings.HasPrefix(got[1], `a.parquet: the column "operated" holds moments in a time zone`) ||
		!strings.HasPrefix(got[2], `a.parquet: the column "grade" has the type Time`) {
		t.Errorf("%s", strings.Join(got, "\n"))
	}
}

// readDamaged decodes a changed file, here and in no child: nothing may get so far that a child is needed. An error must
// be a problem that names the file.
func readDamaged(t *testing.T, path string, s *schemas.Schema, b []byte) error {
	t.Helper()
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	q := request{Schema: s, Source: &schemas.Source{Table: s.Name, Files: []string{path}, Shown: []string{"a.parquet"}}, Workers: 1}
	err := q.decode(t.Context(), path, &frameWriter{w: io.Discard})
	var ps schemas.Problems
	if rest := collect(&ps, err); rest != nil || err != nil && ps[0].Where != "a.parquet" {
		t.Fatalf("not a problem of the file: %v", err)
	}
	return err
}

// Every second byte changed, and the file cut at every fifth: an error or a table, never a panic. What is cut is always
// noticed; so is most of what is changed, since the pages carry the checksums of zstd.
func TestDamagedParquetIsAProblemOrATable(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.parquet")
	whole := sampleParquet(t, 40)
	if err := readDamaged(t, path, few(), whole); err != nil {
		t.Fatal(err)
	}
	refused := 0
	for i := 0; i < len(whole); i += 2 {
		b := bytes.Clone(whole)
		b[i] ^= byte(1 << (i / 2 % 8))
		if readDamaged(t, path, few(), b) != nil {
			refused++
		}
	}
	if 2*refused < len(whole)/2 {
		t.Errorf("only %d of %d changes were noticed", refused, len(whole)/2)
	}
	for n := 0; n < len(whole); n += 5 {
		if readDamaged(t, path, few(), whole[:n]) == nil {
			t.Errorf("a file cut at %d of %d was read", n, len(whole))
		}
	}
}

// The same for every type and every setting of the writer, at fewer places.
func TestDamageToAnyTypeIsAProblemOrATable(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.parquet")
	for name, options := range writerSettings {
		t.Run(name, func(t *testing.T) {
			record, _ := everyType(name != "deltas" && name != "small")
			whole := []byte(writeRecord(t, record, options...))
			for i := range 100 {
				b := bytes.Clone(whole)
				b[(i*len(whole)/100+7*i)%len(whole)] ^= byte(1 << (i % 8))
				_ = readDamaged(t, path, everyTypeSchema(), b) // either outcome is right
			}
		})
	}
}

// What the footer states and the pages do not hold is damage. Each change is of one number in the footer of an
// uncompressed file: nothing else would notice.
func TestAFooterThatStatesOtherValuesIsDamage(t *testing.T) {
	grade := array.NewInt64Builder(memory.DefaultAllocator)
	grade.AppendValues([]int64{0x11223344, 0x55667788, 0x2a2b2c2d}, []bool{true, true, false})
	patient := array.NewStringBuilder(memory.DefaultAllocator)
	patient.AppendValues([]string{"lowest", "middle", "zenith"}, nil)
	record := array.NewRecord(arrow.NewSchema([]arrow.Field{{Name: "grade", Type: arrow.PrimitiveTypes.Int64, Nullable: true},
		{Name: "patient", Type: arrow.BinaryTypes.String}}, nil), []arrow.Array{grade.NewArray(), patient.NewArray()}, 3)
	whole := writeRecord(t, record, parquet.WithMaxRowGroupLength(3), parquet.WithDictionaryDefault(false), parquet.WithCompression(compress.Codecs.Uncompressed))
	path := filepath.Join(t.TempDir(), "a.parquet")
	if err := readDamaged(t, path, few(), []byte(whole)); err != nil {
		t.Fatal(err)
	}
	for _, c := range [][2]string{{"\x44\x33\x22\x11", "\x43\x33\x22\x11"}, {"\x88\x77\x66\x55", "\x89\x77\x66\x55"}, {"lowest", "nowest"}, {"zenith", "kenith"}} {
		at := strings.LastIndex(whole, c[0])
		err := readDamaged(t, path, few(), []byte(whole[:at]+c[1]+whole[at+len(c[0]):]))
		if !errors.Is(err, errLimits) {
			t.Errorf("%q: %v", c[1], err)
		}
	}
}
