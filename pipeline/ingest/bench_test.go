package ingest

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	arrowcsv "github.com/apache/arrow/go/v15/arrow/csv"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"deltoid/schemas"
)

// The benchmarks read an invented procedures export of 1,000,000 rows and 20 columns: 2 identifiers, 3 dates, 8 code
// columns, 5 whole and 2 real numbers, a fifth of the cells empty. They answer: how many rows per second, on how many
// cores, and how that compares with encoding/csv filling typed builders on one core. Run with
//
//	go test ./pipeline/ingest -run '^$' -bench . -benchmem -cpu 1,2
const benchRows = 1_000_000

func broad() *schemas.Schema {
	s := &schemas.Schema{Name: "wide"}
	for i := range 2 {
		s.Fields = append(s.Fields, schemas.Field{Name: fmt.Sprint("id", i), Type: schemas.Text})
	}
	for i := range 3 {
		s.Fields = append(s.Fields, schemas.Field{Name: fmt.Sprint("date", i), Type: schemas.Date})
	}
	for i := range 8 {
		s.Fields = append(s.Fields, schemas.Field{Name: fmt.Sprint("code", i), Type: schemas.Code, Codes: benchCodes})
	}
	for i := range 5 {
		s.Fields = append(s.Fields, schemas.Field{Name: fmt.Sprint("whole", i), Type: schemas.Integer})
	}
	for i := range 2 {
		s.Fields = append(s.Fields, schemas.Field{Name: fmt.Sprint("real", i), Type: schemas.Number})
	}
	return s
}

var benchCodes = []schemas.CodeValue{{Value: "reverse"}, {Value: "anatomic"}, {Value: "hemi"}, {Value: "plate, locked"}, {Value: "left"}, {Value: "right"}}

func benchRow(b []byte, rng *rand.Rand, row int) []byte {
	b = fmt.Appendf(b, "P%07d,%08x", row/2, rng.Uint32())
	for i := range 18 {
		b = append(b, ',')
		if rng.IntN(5) == 0 {
			continue
		}
		switch {
		case i < 3:
			b = append(b, schemas.FormatDay(int32(10000+rng.IntN(10000)))...)
		case i < 11:
			v := benchCodes[rng.IntN(len(benchCodes))].Value
			if v == "plate, locked" {
				v = `"` + v + `"`
			}
			b = append(b, v...)
		case i < 16:
			b = strconv.AppendInt(b, int64(rng.IntN(10000)), 10)
		default:
			b = strconv.AppendFloat(b, float64(rng.IntN(100000))/1000, 'f', -1, 64)
		}
	}
	return append(b, '\n')
}

// keptFolder names the environment variable with the folder where the export stays, so that others can read it too.
const keptFolder = "DELTOID_BENCH_FOLDER"

// benchExport writes the export once for all benchmarks of a run.
func benchExport(b *testing.B, rows int) string {
	b.Helper()
	path := filepath.Join(os.TempDir(), fmt.Sprintf("deltoid-bench-%d-%d.csv", os.Getpid(), rows))
	if kept := os.Getenv(keptFolder); kept != "" {
		path = filepath.Join(kept, fmt.Sprintf("procedures-%d.csv", rows))
	}
	if _, err := os.Stat(path); err == nil {
		return path
	}
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriterSize(f, 1<<20)
	var line []byte
	s := broad()
	for i := range s.Fields {
		line = append(append(line, s.Fields[i].Name...), map[bool]byte{true: '\n', false: ','}[i == len(s.Fields)-1])
	}
	rng := rand.New(rand.NewPCG(7, 7))
	for row := range rows {
		_, _ = w.Write(line)
		line = benchRow(line[:0], rng, row)
	}
	_, _ = w.Write(line)
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	if err := f.Close(); err != nil {
		b.Fatal(err)
	}
	return path
}

func benchRead(b *testing.B, s *schemas.Schema, path string, rows int) {
	b.Helper()
	info, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(info.Size())
	b.ReportAllocs()
	var table *schemas.Table
	before := cpuSeconds()
	for b.Loop() {
		var found schemas.Findings
		table, err = Read(context.Background(), s, schemas.Source{Table: s.Name, Files: []string{path}}, &found, nil)
		if err != nil || len(found.All()) > 0 || table.Rows() != rows {
			b.Fatal(err, len(found.All()))
		}
	}
	b.ReportMetric(float64(table.Rows())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
	b.ReportMetric((cpuSeconds()-before)/float64(b.N), "cpu-s/op")
	runtime.KeepAlive(table)
}

func BenchmarkReadCSV(b *testing.B) { benchRead(b, broad(), benchExport(b, benchRows), benchRows) }

// BenchmarkReadLargeCSV reads 5,000,000 rows, about 650 MB. Peak memory is what the process has had at most, so run it
// alone:
//
//	go test ./pipeline/ingest -run '^$' -bench LargeCSV -benchtime 3x -cpu 2
//
// testdata/exports/bench/run sets it beside what else could read the file, and says how to add a database or a data-frame
// library. On two cores and 594 MB these took 3.5 s and 1.8 s (1.8 GiB), and neither gives line and column of an error.
func BenchmarkReadLargeCSV(b *testing.B) {
	const rows = 5 * benchRows
	benchRead(b, broad(), benchExport(b, rows), rows)
	b.ReportMetric(peakGiB(), "peak-GiB")
}

// BenchmarkInParts goes through the same 5,000,000 rows without holding them: peak memory does not grow with the rows, and was
// 0.1 GiB where the whole table took 0.75. Run it alone, as the one before.
func BenchmarkInParts(b *testing.B) {
	path := benchExport(b, 5*benchRows)
	for b.Loop() {
		rows := 0
		var found schemas.Findings
		err := EachPart(b.Context(), broad(), schemas.Source{Table: "wide", Files: []string{path}}, &found, nil, func(t *schemas.Table) error {
			rows += t.Rows()
			return nil
		})
		if err != nil || rows != 5*benchRows || found.Len() > 0 {
			b.Fatal(err, rows, found.Len())
		}
	}
	b.ReportMetric(peakGiB(), "peak-GiB")
}

// BenchmarkWrongInEveryCell reads rows of which 18 columns are wrong in every cell that holds something: 14 findings a row,
// each of which is then written. Peak memory is that of the table and of a million findings: 0.4 GiB for 14 million findings.
func BenchmarkWrongInEveryCell(b *testing.B) {
	const rows = benchRows
	path := benchExport(b, rows)
	s := broad()
	for i := range s.Fields {
		f := &s.Fields[i]
		least := 1e9
		switch f.Type {
		case schemas.Code:
			f.Codes = []schemas.CodeValue{{Value: "none"}}
		case schemas.Date, schemas.Integer, schemas.Number:
			f.Minimum = &least
		}
	}
	for b.Loop() {
		var found schemas.Findings
		if _, err := Read(b.Context(), s, schemas.Source{Table: "wide", Files: []string{path}}, &found, nil); err != nil {
			b.Fatal(err)
		}
		if err := schemas.WriteFindings(io.Discard, &found); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(found.Len())/1e6, "Mfindings")
	}
	b.ReportMetric(peakGiB(), "peak-GiB")
}

func BenchmarkReadParquet(b *testing.B) {
	var found schemas.Findings
	table, err := Read(context.Background(), broad(), schemas.Source{Table: "wide", Files: []string{benchExport(b, benchRows)}}, &found, nil)
	if err != nil {
		b.Fatal(err)
	}
	path := filepath.Join(b.TempDir(), "wide.parquet")
	var out bytes.Buffer
	if err := schemas.WriteParquet(&out, table); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(path, out.Bytes(), 0o600); err != nil {
		b.Fatal(err)
	}
	table = nil
	b.Run("20columns", func(b *testing.B) { benchRead(b, broad(), path, benchRows) })
	b.Run("3columns", func(b *testing.B) {
		s := broad()
		s.Fields = []schemas.Field{s.Fields[2], s.Fields[5], s.Fields[13]}
		benchRead(b, s, path, benchRows)
	})
}

// BenchmarkStandardLibrary is the peer: encoding/csv filling the builders of the columnar library. It checks nothing.
func BenchmarkStandardLibrary(b *testing.B) {
	path := benchExport(b, benchRows)
	info, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(info.Size())
	b.ReportAllocs()
	before := cpuSeconds()
	for b.Loop() {
		if rows := readWithBuilders(b, path); rows != benchRows {
			b.Fatal(rows)
		}
	}
	b.ReportMetric(float64(benchRows)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
	b.ReportMetric((cpuSeconds()-before)/float64(b.N), "cpu-s/op")
}

// BenchmarkColumnarLibrary is the other peer: the CSV reader of the columnar library, with a declared type for each column and
// codes as texts, since it makes no dictionaries. It ignores the header, and an error of it has no line.
func BenchmarkColumnarLibrary(b *testing.B) {
	path := benchExport(b, benchRows)
	info, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(info.Size())
	b.ReportAllocs()
	before := cpuSeconds()
	for b.Loop() {
		if rows := readWithLibrary(b, path); rows != benchRows {
			b.Fatal(rows)
		}
	}
	b.ReportMetric(float64(benchRows)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
	b.ReportMetric((cpuSeconds()-before)/float64(b.N), "cpu-s/op")
}

func readWithLibrary(b *testing.B, path string) (rows int64) {
	f, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	var fields []arrow.Field
	s := broad()
	for i, builder := range peerBuilders() {
		typ := builder.Type()
		if s.Fields[i].Type == schemas.Code {
			typ = arrow.BinaryTypes.String
		}
		fields = append(fields, arrow.Field{Name: s.Fields[i].Name, Type: typ, Nullable: true})
	}
	r := arrowcsv.NewReader(bufio.NewReaderSize(f, 1<<20), arrow.NewSchema(fields, nil), arrowcsv.WithHeader(true), arrowcsv.WithChunk(1<<16),
		arrowcsv.WithNullReader(true, ""))
	defer r.Release()
	for r.Next() {
		rows += r.Record().NumRows()
	}
	if r.Err() != nil {
		b.Fatal(r.Err())
	}
	return rows
}

func readWithBuilders(b *testing.B, path string) int {
	f, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(bufio.NewReaderSize(f, 1<<20))
	r.ReuseRecord = true
	if _, err := r.Read(); err != nil {
		b.Fatal(err)
	}
	builders := peerBuilders()
	rows := 0
	for ; ; rows++ {
		record, err := r.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			b.Fatal(err)
		}
		for i, cell := range record {
			if err := appendCell(builders[i], cell); err != nil {
				b.Fatal(err)
			}
		}
	}
	for _, builder := range builders {
		builder.NewArray().Release()
	}
	return rows
}

func peerBuilders() []array.Builder {
	var list []array.Builder
	s := broad()
	for i := range s.Fields {
		typ := map[schemas.Type]arrow.DataType{schemas.Text: arrow.BinaryTypes.String, schemas.Date: arrow.FixedWidthTypes.Date32,
			schemas.Integer: arrow.PrimitiveTypes.Int64, schemas.Number: arrow.PrimitiveTypes.Float64,
			schemas.Code: &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int16, ValueType: arrow.BinaryTypes.String}}[s.Fields[i].Type]
		list = append(list, array.NewBuilder(memory.DefaultAllocator, typ))
	}
	return list
}

func appendCell(b array.Builder, cell string) error {
	if cell == "" {
		b.AppendNull()
		return nil
	}
	switch b := b.(type) {
	case *array.StringBuilder:
		b.Append(cell)
	case *array.BinaryDictionaryBuilder:
		return b.AppendString(cell)
	case *array.Int64Builder:
		v, err := strconv.ParseInt(cell, 10, 64)
		b.Append(v)
		return err
	case *array.Float64Builder:
		v, err := strconv.ParseFloat(cell, 64)
		b.Append(v)
		return err
	case *array.Date32Builder:
		at, err := time.Parse(time.DateOnly, cell)
		b.Append(arrow.Date32FromTime(at))
		return err
	}
	return nil
}

func TestMain(m *testing.M) {
	code := m.Run()
	kept, _ := filepath.Glob(filepath.Join(os.TempDir(), fmt.Sprintf("deltoid-bench-%d-*.csv", os.Getpid())))
	for _, path := range kept {
		_ = os.Remove(path) // a file left in the temporary folder does no harm
	}
	os.Exit(code)
}
