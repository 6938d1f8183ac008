package render

import (
	"bytes"
	"context"
	"encoding/csv"
	"strconv"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
	"github.com/google/go-cmp/cmp"

	"deltoid/pipeline/report"
)

func csvOf(t *testing.T, data []byte) []map[string]string {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, r := range rows[1:] {
		row := map[string]string{}
		for i, h := range rows[0] {
			row[h] = r[i]
		}
		out = append(out, row)
	}
	return out
}

// tableFiles are the estimates of a document that has every kind of cell: absent numbers, statuses, odd labels.
func tableFiles(t *testing.T) (report.Document, []File) {
	t.Helper()
	doc := sample(hostileGroups(), 2)
	doc.Estimates = append(doc.Estimates, report.Estimate{ID: "exact", Measure: "tenth", Value: report.Some(0.1 + 0.2),
		Lower: report.Some(-1e-300), Status: report.Estimated, Unit: report.UnitRatio})
	files, err := estimateTables(mustOpen(t, doc))
	if err != nil {
		t.Fatal(err)
	}
	return doc, files
}

// Every estimate is a row, in order, and every number reads back to the same float64; absent numbers are empty cells.
func TestEstimatesAsCSV(t *testing.T) {
	doc, files := tableFiles(t)
	rows := csvOf(t, files[0].Data)
	if len(rows) != len(doc.Estimates) {
		t.Fatalf("%d rows for %d estimates", len(rows), len(doc.Estimates))
	}
	for i, e := range doc.Estimates {
		r := rows[i]
		if r["id"] != e.ID || r["status"] != string(e.Status) || r["measure"] != e.Measure || r["note"] != e.Note {
			t.Errorf("row %d is %v", i, r)
		}
		for name, o := range map[string]report.Optional{"at": e.At, "value": e.Value, "lower": e.Lower, "upper": e.Upper,
			"level": e.Level, "n": e.N, "events": e.Events} {
			x, err := strconv.ParseFloat(r[name], 64)
			if o.Known && (err != nil || x != o.X) || !o.Known && r[name] != "" {
				t.Errorf("%s: %s is %q, want %v", e.ID, name, r[name], o)
			}
		}
		if strings.HasPrefix(r["group"], "=") {
			t.Errorf("a spreadsheet would run %q", r["group"])
		}
	}
}

// The Parquet file holds the same rows, read by another package than the one under test.
func TestEstimatesAsParquet(t *testing.T) {
	doc, files := tableFiles(t)
	f, err := file.NewParquetReader(bytes.NewReader(files[1].Data))
	if err != nil {
		t.Fatal(err)
	}
	r, err := pqarrow.NewFileReader(f, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	if err != nil {
		t.Fatal(err)
	}
	table, err := r.ReadTable(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer table.Release()
	if int(table.NumRows()) != len(doc.Estimates) {
		t.Fatalf("%d rows for %d estimates", table.NumRows(), len(doc.Estimates))
	}
	rows := csvOf(t, files[0].Data)
	for j := range int(table.NumCols()) {
		name := table.Schema().Field(j).Name
		row := 0
		for _, chunk := range table.Column(j).Data().Chunks() {
			for i := range chunk.Len() {
				got := ""
				switch a := chunk.(type) {
				case *array.Float64:
					if a.IsValid(i) {
						got = strconv.FormatFloat(a.Value(i), 'g', -1, 64)
					}
				default:
					if chunk.IsValid(i) {
						got = chunk.ValueStr(i)
					}
				}
				if want := strings.TrimPrefix(rows[row][name], "'"); got != want && got != rows[row][name] {
					t.Errorf("row %d, %s: %q, in the CSV %q", row, name, got, want)
				}
				row++
			}
		}
	}
}

// The figure's data hold every step, the end, and the numbers at risk at the ticks.
func TestFigureData(t *testing.T) {
	doc := sample(threeGroups, 4)
	files, err := figureTables(mustOpen(t, doc))
	if err != nil {
		t.Fatal(err)
	}
	f := doc.Sections[1].Figures[0]
	counts := map[string]int{}
	for _, r := range csvOf(t, files[1].Data) {
		counts[r["row"]]++
		if r["row"] == "numbers at risk" && (r["estimate"] == "" || r["value"] == "") {
			t.Errorf("a number at risk without estimate or value: %v", r)
		}
	}
	want := map[string]int{"step": 3 * 4, "end": 3, "numbers at risk": 3 * len(f.X.Ticks)}
	if diff := cmp.Diff(want, counts); diff != "" {
		t.Error(diff)
	}
	counts = map[string]int{}
	for _, r := range csvOf(t, files[0].Data) {
		counts[r["row"]]++
	}
	if diff := cmp.Diff(map[string]int{"kept": 6, "left": 3}, counts); diff != "" {
		t.Error(diff)
	}
}
