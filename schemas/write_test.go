package schemas

import (
	"bytes"
	"encoding/csv"
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// written is a table with one column of each type; the schema has them in another order than the source.
func written(offsets bool) *Table {
	s := &Schema{Name: "few", Fields: []Field{{Name: "patient", Type: Text}, {Name: "side", Type: Code}, {Name: "day", Type: Date},
		{Name: "count", Type: Integer}, {Name: "age", Type: Number}}}
	extra := Field{Name: "=note", Type: Text}
	texts := func(f *Field, list ...string) *Column {
		ends := []int32{0}
		for _, s := range list {
			ends = append(ends, ends[len(ends)-1]+int32(len(s)))
		}
		return TextColumn(f, ends, []byte(strings.Join(list, "")))
	}
	t := NewTable(s, []Piece{{File: "a.csv", Rows: 4}}, []int32{2, 3, 4, 5}, []*Column{
		texts(&extra, "=1+1", "-x", "", " kept "),
		NumberColumn(s.Field("age"), []float64{0.1, -1e-12, math.NaN(), 1e300}),
		IntegerColumn(s.Field("count"), []int64{-5, NoInt, 0, math.MaxInt64}),
		DateColumn(s.Field("day"), []int32{-1, 19782, NoDay, 2932896}),
		CodeColumn(s.Field("side"), []string{"left", "@right"}, []int16{1, 0, NoCode, 0}),
		texts(s.Field("patient"), "007", "a,\"b\"\nc", "", "\ttab"),
	})
	t.Offsets = offsets
	return t
}

func csvOf(t *testing.T, table *Table, options ...WriteOption) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteCSV(&b, table, options...); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// The forms are those of RFC 4180 and of ISO 8601; 2024-02-29 is day 19782 (date -d 2024-02-29 +%s / 86400).
func TestWriteCSVKeepsEveryDigit(t *testing.T) {
	want := "patient,side,day,count,age,=note\n" +
		"007,@right,1969-12-31,-5,0.1,=1+1\n" +
		"\"a,\"\"b\"\"\nc\",left,2024-02-29,,-1e-12,-x\n" +
		",,,0,,\n" +
		"\"\ttab\",left,9999-12-31,9223372036854775807,1e+300,\" kept \"\n"
	if d := cmp.Diff(want, csvOf(t, written(false))); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
	if got := strings.Split(csvOf(t, written(true)), "\n")[1]; got != "007,@right,-1,-5,0.1,=1+1" {
		t.Errorf("day offsets: %s", got)
	}
}

// The characters are those that the OWASP page "CSV Injection" lists. Negative numbers are no formulas.
func TestSharedCellsDoNotBeginLikeAFormula(t *testing.T) {
	want := "patient,side,day,count,age,'=note\n" +
		"007,'@right,1969-12-31,-5,0.1,'=1+1\n" +
		"\"a,\"\"b\"\"\nc\",left,2024-02-29,,-1e-12,'-x\n" +
		",,,0,,\n" +
		"'\ttab,left,9999-12-31,9223372036854775807,1e+300,\" kept \"\n"
	if d := cmp.Diff(want, csvOf(t, written(false), ForSharing)); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
}

// The witness is encoding/csv of the standard library. It reads a carriage return before a line feed as one line break,
// so there is none in the texts.
func TestWrittenTextsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		texts := rapid.SliceOfN(rapid.StringOfN(rapid.RuneFrom([]rune("ab ,;\n\"\t='é")), 0, 8, -1), 1, 20).Draw(t, "texts")
		ends := []int32{0}
		for _, s := range texts {
			ends = append(ends, ends[len(ends)-1]+int32(len(s)))
		}
		f := Field{Name: "a", Type: Text}
		table := NewTable(&Schema{Fields: []Field{f}}, nil, make([]int32, len(texts)), []*Column{TextColumn(&f, ends, []byte(strings.Join(texts, "")))})
		var b bytes.Buffer
		if err := WriteCSV(&b, table); err != nil {
			t.Fatal(err)
		}
		records, err := csv.NewReader(&b).ReadAll()
		if err != nil || len(records) != len(texts)+1 {
			t.Fatal(err, len(records))
		}
		for i, s := range texts {
			if records[i+1][0] != s {
				t.Fatalf("row %d: %q became %q", i, s, records[i+1][0])
			}
		}
	})
}

// The witness is the library's own reader of whole files.
func TestWriteParquetIsReadByTheLibrary(t *testing.T) {
	var b bytes.Buffer
	if err := WriteParquet(&b, written(false)); err != nil {
		t.Fatal(err)
	}
	f, err := file.NewParquetReader(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if by := f.MetaData().GetCreatedBy(); by != "deltoid" {
		t.Errorf("created by %q", by)
	}
	r, err := pqarrow.NewFileReader(f, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	if err != nil {
		t.Fatal(err)
	}
	table, err := r.ReadTable(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for i := range int(table.NumCols()) {
		got = append(got, table.Schema().Field(i).Name+" "+table.Schema().Field(i).Type.Name()+" "+table.Column(i).Data().Chunk(0).String())
	}
	want := []string{`patient utf8 ["007" "a,\"b\"\nc" (null) "\ttab"]`, `side utf8 ["@right" "left" (null) "left"]`, `day date32 [-1 19782 (null) 2932896]`,
		`count int64 [-5 (null) 0 9223372036854775807]`, `age float64 [0.1 -1e-12 (null) 1e+300]`, `=note utf8 ["=1+1" "-x" (null) " kept "]`}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
}

func TestWritingTwiceGivesTheSameBytes(t *testing.T) {
	for _, offsets := range []bool{false, true} {
		var a, b bytes.Buffer
		if err := errors.Join(WriteParquet(&a, written(offsets)), WriteParquet(&b, written(offsets))); err != nil {
			t.Fatal(err)
		}
		first, second := csvOf(t, written(offsets)), csvOf(t, written(offsets))
		if !bytes.Equal(a.Bytes(), b.Bytes()) || first != second {
			t.Error("the bytes differ")
		}
	}
}

func TestAFullDiskIsAnError(t *testing.T) {
	full := errors.New("no space left on device")
	if err := WriteCSV(&failingWriter{1, full}, written(false)); !errors.Is(err, full) {
		t.Errorf("CSV: %v", err)
	}
	var whole bytes.Buffer
	if err := WriteParquet(&whole, written(false)); err != nil {
		t.Fatal(err)
	}
	for room := 0; room < whole.Len(); room += 1 + whole.Len()/40 {
		if err := WriteParquet(&failingWriter{room, full}, written(false)); !errors.Is(err, full) {
			t.Errorf("Parquet with room for %d bytes: %v", room, err)
		}
	}
}

// failingWriter takes as many bytes as it has room for.
type failingWriter struct {
	room int
	err  error
}

func (f *failingWriter) Write(p []byte) (int, error) {
	if len(p) > f.room {
		return 0, f.err
	}
	f.room -= len(p)
	return len(p), nil
}
