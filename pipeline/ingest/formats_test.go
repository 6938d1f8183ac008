package ingest

import (
	"bytes"
	"compress/gzip"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"deltoid/schemas"
)

// fewRow is a row of the hand-made schema as the second Parquet library writes it.
type fewRow struct {
	Patient  string   `parquet:"patient,delta"`
	Side     *string  `parquet:"side,optional,dict"`
	Operated *int32   `parquet:"operated,optional,date"`
	Grade    *int64   `parquet:"grade,optional"`
	Age      *float64 `parquet:"age,optional"`
	Implant  *string  `parquet:"implant,optional"`
	FollowUp *int32   `parquet:"follow_up,optional"`
}

func kept[T any](missing bool, v T) *T {
	if missing {
		return nil
	}
	return &v
}

func secondLibrary(t testing.TB, table *schemas.Table, options ...parquet.WriterOption) string {
	t.Helper()
	var b bytes.Buffer
	w := parquet.NewGenericWriter[fewRow](&b, append(options, parquet.MaxRowsPerRowGroup(1000))...)
	col := table.Column
	for row := range table.Rows() {
		text := func(c *schemas.Column) *string { return kept(c.IsMissing(row), c.String(row)) }
		one := fewRow{Patient: col("patient").String(row), Side: text(col("side")), Implant: text(col("implant")),
			Operated: kept(col("operated").IsMissing(row), col("operated").Days()[row]),
			Grade:    kept(col("grade").IsMissing(row), col("grade").Integers()[row]),
			Age:      kept(col("age").IsMissing(row), col("age").Numbers()[row]),
			FollowUp: kept(col("follow_up").IsMissing(row), int32(col("follow_up").Integers()[row]))}
		if _, err := w.Write([]fewRow{one}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// written returns what a writer of ours writes.
func written(t testing.TB, write func(*bytes.Buffer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// One table in every format, by every writer, in files that are read as one: always the same table. The files under
// testdata/exports were written by other programs; testdata/exports/README.md says how.
func TestOneTableInEveryFormatIsEqual(t *testing.T) {
	table := formatsTable(t, 3000)
	want := cellsOnly(table)
	text := written(t, func(b *bytes.Buffer) error { return schemas.WriteCSV(b, table) })
	semicolons := strings.ReplaceAll(strings.ReplaceAll(text, ",", ";"), ".", ",")
	own := written(t, func(b *bytes.Buffer) error { return schemas.WriteParquet(b, table) })
	for name, of := range map[string]struct {
		src  schemas.Source
		file string
		text string
	}{
		"comma":               {schemas.Source{}, "a.csv", text},
		"carriage returns":    {schemas.Source{}, "a.csv", strings.ReplaceAll(text, "\n", "\r\n")},
		"tab":                 {schemas.Source{}, "a.tsv", strings.ReplaceAll(text, ",", "\t")},
		"semicolon":           {schemas.Source{Decimal: ','}, "a.txt", semicolons},
		"UTF-16":              {schemas.Source{Decimal: ','}, "a.txt", encoded(t, unicode.UTF16(unicode.LittleEndian, unicode.UseBOM), semicolons)},
		"Windows-1252":        {schemas.Source{Encoding: schemas.Windows1252}, "a.csv", encoded(t, charmap.Windows1252, text)},
		"gzip":                {schemas.Source{}, "a.csv.gz", packed(gzip.NewWriter, text)},
		"zstd":                {schemas.Source{}, "a.csv.zst", packed(zstdWriter, text)},
		"workbook":            {sheetSource, "a.xlsx", asBook(t, table)},
		"Parquet":             {schemas.Source{}, "a.parquet", own},
		"second Parquet":      {schemas.Source{}, "a.parquet", secondLibrary(t, table)},
		"second, snappy":      {schemas.Source{}, "a.parquet", secondLibrary(t, table, parquet.Compression(&parquet.Snappy))},
		"second, gzip":        {schemas.Source{}, "a.parquet", secondLibrary(t, table, parquet.Compression(&parquet.Gzip), parquet.DataPageVersion(1))},
		"second, small pages": {schemas.Source{}, "a.parquet", secondLibrary(t, table, parquet.Compression(&parquet.Zstd), parquet.PageBufferSize(200))},
	} {
		t.Run(name, func(t *testing.T) {
			got, found := mustRead(t, few(), export(t, of.src, [2]string{of.file, of.text}), 1000)
			same(t, "findings", places(found), []string(nil))
			same(t, "rows", cellsOnly(got), want)
		})
	}
}

const otherWriters = "../../testdata/exports"

// Files that other programs wrote, one of each sort a table, against one text.
func TestFilesOfOtherWritersAreEqual(t *testing.T) {
	names, err := filepath.Glob(otherWriters + "/*.parquet")
	if err != nil || len(names) < 4 {
		t.Fatalf("%d files, %v", len(names), err)
	}
	text, err := os.ReadFile(otherWriters + "/few.csv")
	if err != nil {
		t.Fatal(err)
	}
	want, _ := mustRead(t, few(), export(t, schemas.Source{}, [2]string{"few.csv", string(text)}), 1<<20)
	for _, name := range names {
		t.Run(filepath.Base(name), func(t *testing.T) {
			src := schemas.Source{Table: "few", Files: []string{name}}
			for sort, zone := range map[string]string{"-zoned": "Europe/Lisbon", "-utc": "UTC"} {
				if strings.Contains(name, sort) {
					src.Zones = map[string]string{"operated": zone}
				}
			}
			got, found := mustRead(t, few(), src, 1)
			same(t, "findings", places(found), []string(nil))
			same(t, "rows", cellsOnly(got), cellsOnly(want))
		})
	}
}

// Forty files of one table, month by month, are one table with a piece for each.
func TestFortyMonthlyFilesAreOneTable(t *testing.T) {
	table := formatsTable(t, 25)
	var files [][2]string
	for month := range 40 {
		files = append(files, [2]string{"month-" + string(rune('A'+month/10)) + string(rune('0'+month%10)) + ".parquet",
			written(t, func(b *bytes.Buffer) error { return schemas.WriteParquet(b, table) })})
	}
	got, found := mustRead(t, few(), export(t, schemas.Source{}, files...), 1)
	same(t, "findings", places(found), []string(nil))
	same(t, "rows", got.Rows(), 1000)
	same(t, "pieces", len(got.Sources), 40)
	same(t, "last rows", cellsOnly(got)[975:], cellsOnly(table))
}

// The witness is package time: the day of a moment in a zone, before and after 1970, around midnight and the hour that
// summer takes.
func TestMomentsFallOnTheDayOfTheDeclaredZone(t *testing.T) {
	for _, name := range []string{"UTC", "Europe/Lisbon", "Pacific/Auckland", "America/St_Johns"} {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		sp, _ := newSpec(&schemas.Field{Name: "d", Type: schemas.Date}, &schemas.Source{Zones: map[string]string{"d": name}})
		c := newColumn(sp, 0)
		var want []string
		for at := time.Date(1950, 1, 1, 0, 0, 0, 0, time.UTC); at.Year() < 2030; at = at.Add(61*time.Hour + 7*time.Minute + 999*time.Millisecond) {
			for _, unit := range []int64{1e3, 1e6} {
				c.zoned(at.UnixMilli()*(unit/1e3), 86400*unit)
				want = append(want, at.In(zone).Format(time.DateOnly))
			}
		}
		for i, day := range c.days {
			if schemas.FormatDay(day) != want[i] {
				t.Fatalf("%s: %s, want %s", name, schemas.FormatDay(day), want[i])
			}
		}
	}
}

func TestADeclaredZoneMustFitTheColumn(t *testing.T) {
	file := secondLibrary(t, formatsTable(t, 3))
	got, _ := mustRead(t, few(), export(t, schemas.Source{Zones: map[string]string{"operated": "UTC"}}, [2]string{"a.parquet", file}), 1)
	same(t, "a date is a date in every zone", got.Rows(), 3)
	same(t, "no zone", problems(t, export(t, schemas.Source{Zones: map[string]string{"operated": "Local"}}, [2]string{"a.parquet", file}))[0],
		`plan.yaml:3: "Local" is no time zone; allowed: a name of the IANA database, as Europe/Lisbon, or UTC; to mend it: correct the zone of operated`)
}
