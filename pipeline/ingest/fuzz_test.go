package ingest

import (
	"io"
	"testing"

	"deltoid/schemas"
)

// FuzzCSV feeds any bytes as a text file: never a panic, and the same outcome for every size of chunk.
func FuzzCSV(f *testing.F) {
	for _, seed := range []string{"", "a", "a,b,c\n1,2,3\n", "\xef\xbb\xbfa;b;c\r\n\"1\n\";2;3", "a\tb\tc\n\"x\"\"y\"\t\t\n\n\n1\n", "a,b,c\n\"open",
		"a,b,c\n,\"\"\"\",\n", "a,b,c\n\xff,1,2020-02-30\n", "\"a\nb\",a,b,c\n1,2,3,4", "a,b,c\r1,2,3\r", "a,b,c\n1,2,\"3\" \n"} {
		f.Add([]byte(seed), uint8(5))
	}
	dir := f.TempDir()
	s := &schemas.Schema{Name: "texts", Fields: []schemas.Field{{Name: "a", Type: schemas.Text},
		{Name: "b", Type: schemas.Number}, {Name: "c", Type: schemas.Date}}}
	f.Fuzz(func(t *testing.T, data []byte, chunk uint8) {
		src := inFile(t, dir, "a.csv", string(data))
		src.Delimiter = 0
		if a, b := outcome(s, src, 1<<16), outcome(s, src, 1+int(chunk)); a != b {
			t.Fatalf("one chunk: %s\nchunks of %d: %s", a, 1+int(chunk), b)
		}
	})
}

// FuzzParquet feeds any bytes as a Parquet file: an error or a table, never a panic.
func FuzzParquet(f *testing.F) {
	dir := f.TempDir()
	f.Add([]byte("PAR1"))
	f.Add(sampleParquet(f, 50))
	f.Fuzz(func(t *testing.T, data []byte) {
		src := inFile(t, dir, "a.parquet", string(data))
		q := request{Schema: few(), Source: &src, Workers: 1}
		_ = q.decode(t.Context(), src.Files[0], &frameWriter{w: io.Discard}) // either outcome is right
	})
}

// FuzzWorkbook feeds any bytes as a sheet, and as a whole workbook: an error or a table, never a panic.
func FuzzWorkbook(f *testing.F) {
	dir := f.TempDir()
	f.Add([]byte(plainHeader+`<x:row r="5"><x:c t="str"><x:f>A1</x:f><x:v>a_x000A_b</x:v></x:c><x:c r="C5"><x:v>4.2E4</x:v></x:c></x:row>`), false)
	f.Add([]byte(plainHeader+`<row/></sheetData><mergeCells><mergeCell ref="A2:B3"/></mergeCells>`), false)
	f.Add([]byte(plainBook("", plainHeader)), true)
	f.Fuzz(func(t *testing.T, data []byte, whole bool) {
		text := string(data)
		if !whole {
			text = plainBook("", text)
		}
		outcome(few(), inFile(t, dir, "a.xlsx", text), 1)
	})
}
