package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
	"github.com/xuri/excelize/v2"
)

// The exports here are made up, patients, hospitals and numbers alike, and are as bad as exports get. Each writer fills a
// folder with the files of one study and returns what draft is called with.

// operation is an invented row of procedures.
type operation struct {
	patient, side, procedure, indication, sex int
	day                                       time.Time
	age                                       float64
	revised                                   int // days to a revision, 0 for none
}

func operations(n int) []operation {
	rng := rand.New(rand.NewPCG(3, 33))
	list := make([]operation, n)
	for i := range list {
		list[i] = operation{patient: i + 1, side: rng.IntN(2), procedure: min(rng.IntN(4), 1), indication: rng.IntN(3), sex: rng.IntN(2),
			day: time.Date(2012, 1, 1+rng.IntN(1200), 0, 0, 0, 0, time.UTC), age: float64(600+rng.IntN(280)) / 10}
		if rng.IntN(6) == 0 {
			list[i].revised = 30 + rng.IntN(700)
		}
	}
	return list
}

func put(t *testing.T, folder, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(folder, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// latin1 writes a text in Windows-1252; the letters used here are those of Latin-1.
func latin1(s string) (b []byte) {
	for _, r := range s {
		b = append(b, byte(r))
	}
	return b
}

func comma(x float64) string { return strings.ReplaceAll(fmt.Sprintf("%.1f", x), ".", ",") }

// wideScores has a row for each shoulder with a column for each instrument and visit, semicolons, decimal commas, German words in Windows-1252,
// marks for missing values, and a column of names.
func wideScores(t *testing.T, folder string) []string {
	var b, r strings.Builder
	b.WriteString("Fallnummer;Seite;OP-Datum;Eingriff;Erst-/Wechsel-OP;Diagnose;Alter bei OP;Geschlecht;Klinik;ases_pre;ases_12m;oss_2y;constant_24;Nachname\r\n")
	r.WriteString("Fallnummer;Seite;Datum;Grund\r\n")
	sides, kinds, why := []string{"li", "re"}, []string{"inverse Prothese", "anatomische Prothese"}, []string{"Defektarthropathie", "Fraktur", "Omarthrose mit Cuff-Defekt"}
	for i, o := range operations(120) {
		score := comma(float64(i%50) + 30.5)
		if i%9 == 0 {
			score = "k.A."
		}
		if i == 50 {
			score = "dreißig"
		}
		fmt.Fprintf(&b, "F%04d;%s;%s;%s;Erst-OP;%s;%s;%s;Süd;%s;%s;%d;;\"Ünbekannt; %d\"\r\n", o.patient, sides[o.side], o.day.Format("02.01.2006"),
			kinds[o.procedure], why[o.indication], comma(o.age), []string{"w", "m"}[o.sex], comma(float64(i%30)), score, i%49, i)
		if o.revised > 0 {
			fmt.Fprintf(&r, "F%04d;%s;%s;%s\r\n", o.patient, sides[o.side], o.day.AddDate(0, 0, o.revised).Format("02.01.2006"), []string{"Infekt", "Instabilität"}[o.side])
		}
	}
	return []string{put(t, folder, "Eingriffe.csv", latin1(b.String())), put(t, folder, "Revisionen.csv", latin1(r.String()))}
}

// utf16Tabs is what a spreadsheet calls "Unicode text": UTF-16 with tabs, with line breaks and tabs inside quotes, and a
// row that lost a cell.
func utf16Tabs(t *testing.T, folder string) []string {
	var b, r strings.Builder
	b.WriteString("N° patient\tCôté\tDate opération\tType de prothèse\tPrimaire ou reprise\tÂge\tSexe\tRemarque\r\n")
	r.WriteString("N° patient\tCôté\tDate de reprise\tMotif\r\n")
	for i, o := range operations(90) {
		fmt.Fprintf(&b, "P%03d\t%s\t%s\t%s\tprimaire\t%s\t%s\t\"ligne %d\r\nsuite\tet fin\"\r\n", o.patient, []string{"gauche", "droite"}[o.side], o.day.Format("02/01/2006"),
			[]string{"inversée", "anatomique"}[o.procedure], comma(o.age), []string{"F", "H"}[o.sex], i)
		if i == 40 {
			b.WriteString("P999\tgauche\r\n")
		}
		if o.revised > 0 {
			fmt.Fprintf(&r, "P%03d\t%s\t%s\t%s\r\n", o.patient, []string{"gauche", "droite"}[o.side], o.day.AddDate(0, 0, o.revised).Format("02/01/2006"), []string{"infection", "descellement"}[o.sex])
		}
	}
	return []string{put(t, folder, "operations.txt", inUTF16(b.String())), put(t, folder, "revisions.txt", inUTF16(r.String()))}
}

func inUTF16(s string) []byte {
	b := []byte{0xff, 0xfe}
	for _, u := range utf16.Encode([]rune(s)) {
		b = binary.LittleEndian.AppendUint16(b, u)
	}
	return b
}

// twoLayouts changed its system on 1 July 2013 and writes dates another way since, but for a few written in a third.
func twoLayouts(t *testing.T, folder string) []string {
	var b, r strings.Builder
	b.WriteString("pat_id,laterality,surgery date,implant type,primary/revision,gender,age\n")
	r.WriteString("pat_id,laterality,revision date,reason\n")
	form := func(day time.Time) string {
		if day.Before(time.Date(2013, 7, 1, 0, 0, 0, 0, time.UTC)) {
			return day.Format("02/01/2006")
		}
		return day.Format(time.DateOnly)
	}
	for i, o := range operations(150) {
		day := form(o.day)
		if i == 20 || i == 21 {
			day = o.day.Format("2 Jan 2006")
		}
		fmt.Fprintf(&b, "%d,%s,%s,%s,primary,%s,%.1f\n", 1000+o.patient, []string{"L", "R"}[o.side], day, []string{"RTSA", "TSA"}[o.procedure], []string{"F", "M"}[o.sex], o.age)
		if o.revised > 0 && i != 20 && i != 21 {
			fmt.Fprintf(&r, "%d,%s,%s,%s\n", 1000+o.patient, []string{"L", "R"}[o.side], form(o.day.AddDate(0, 0, o.revised)), []string{"infection", "loosening"}[o.sex])
		}
	}
	return []string{put(t, folder, "surgery.csv", []byte(b.String())), put(t, folder, "revisions.csv", []byte(r.String()))}
}

// monthly is forty Parquet files, one a month, with moments in UTC of operations late in the evening in Lisbon, and the
// revisions in a Parquet file of the same writer.
func monthly(t *testing.T, folder string) []string {
	months := make([][]operation, 40)
	var revisions [][4]any
	for _, o := range operations(400) {
		m := min((o.day.Year()-2012)*12+int(o.day.Month())-1, 39)
		months[m] = append(months[m], o)
		if o.revised > 0 {
			revisions = append(revisions, [4]any{fmt.Sprintf("A%04d", o.patient), []string{"left", "right"}[o.side], night(o.day.AddDate(0, 0, o.revised)), "infection"})
		}
	}
	var paths []string
	for m, list := range months {
		rows := make([][]any, len(list))
		for i, o := range list {
			rows[i] = []any{fmt.Sprintf("A%04d", o.patient), []string{"left", "right"}[o.side], night(o.day), []string{"reverse", "anatomic"}[o.procedure], "primary", o.age}
		}
		paths = append(paths, put(t, folder, fmt.Sprintf("operations-%d-%02d.parquet", 2012+m/12, m%12+1),
			inParquet(t, []string{"patient", "side", "operated_at", "procedure", "occasion", "age"}, rows)))
	}
	revisions = append(revisions, [4]any{"A0001", "both", night(time.Date(2016, 5, 4, 0, 0, 0, 0, time.UTC)), "infection"}) // no side
	rows := make([][]any, len(revisions))
	for i := range revisions {
		rows[i] = revisions[i][:]
	}
	return append(paths, put(t, folder, "revisions.parquet", inParquet(t, []string{"patient", "side", "revised_at", "reason"}, rows)))
}

// night is 23:30 in Lisbon on a day, as the moment in UTC; in summer that is half past ten there.
func night(day time.Time) time.Time {
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		panic(err) // the program brings its own list of zones
	}
	return time.Date(day.Year(), day.Month(), day.Day(), 23, 30, 0, 0, lisbon).UTC()
}

// inParquet writes rows of texts, moments and numbers.
func inParquet(t *testing.T, names []string, rows [][]any) []byte {
	t.Helper()
	fields := make([]arrow.Field, len(names))
	for i, name := range names {
		var typ arrow.DataType = arrow.BinaryTypes.String
		switch {
		case strings.HasSuffix(name, "_at"):
			typ = arrow.FixedWidthTypes.Timestamp_us
		case name == "age":
			typ = arrow.PrimitiveTypes.Float64
		}
		fields[i] = arrow.Field{Name: name, Type: typ, Nullable: true}
	}
	b := array.NewRecordBuilder(memory.DefaultAllocator, arrow.NewSchema(fields, nil))
	for _, row := range rows {
		for i, v := range row {
			switch v := v.(type) {
			case string:
				b.Field(i).(*array.StringBuilder).Append(v)
			case time.Time:
				b.Field(i).(*array.TimestampBuilder).Append(arrow.Timestamp(v.UnixMicro()))
			case float64:
				b.Field(i).(*array.Float64Builder).Append(v)
			}
		}
	}
	var out bytes.Buffer
	w, err := pqarrow.NewFileWriter(b.Schema(), &out, parquet.NewWriterProperties(), pqarrow.DefaultWriterProps())
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(b.NewRecord()); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// clinicBook is a workbook with two sheets, days as date cells with some typed as texts, numbers for patients, and a formula
// without a result.
func clinicBook(t *testing.T, folder string) []string {
	f := excelize.NewFile()
	defer f.Close()
	style, err := f.NewStyle(&excelize.Style{NumFmt: 14})
	if err != nil {
		t.Fatal(err)
	}
	set := func(sheet string, row int, cells ...any) {
		for i, v := range cells {
			name, _ := excelize.CoordinatesToCellName(i+1, row)
			if err := f.SetCellValue(sheet, name, v); err != nil {
				t.Fatal(err)
			}
			if _, ok := v.(time.Time); ok {
				if err := f.SetCellStyle(sheet, name, name, style); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	for _, sheet := range []string{"Operationen", "Revisionen"} {
		if _, err := f.NewSheet(sheet); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.DeleteSheet("Sheet1"); err != nil {
		t.Fatal(err)
	}
	set("Operationen", 3, "Patient ID", "Seite", "OP Datum", "Prothese", "Primär/Revision", "Alter", "Geschlecht", nil)
	set("Revisionen", 1, "Patient ID", "Seite", "Revisionsdatum", "Grund")
	revisions := 1
	for i, o := range operations(80) {
		var day, age any = o.day, o.age
		if i%10 == 0 {
			day = o.day.Format("02.01.2006")
		}
		if i == 6 {
			age = nil
		}
		side := []string{"links", "rechts"}[o.side]
		set("Operationen", i+4, o.patient, side, day, []string{"invers", "anatomisch"}[o.procedure], "primär", age, []string{"weiblich", "männlich"}[o.sex], nil)
		if o.revised > 0 {
			revisions++
			set("Revisionen", revisions, o.patient, side, o.day.AddDate(0, 0, o.revised), []string{"Infektion", "Luxation"}[o.sex])
		}
	}
	if err := f.SetCellFormula("Operationen", "F10", "1/0"); err != nil {
		t.Fatal(err)
	}
	path := put(t, folder, "Klinik.xlsx", nil)
	if err := f.SaveAs(path); err != nil {
		t.Fatal(err)
	}
	return []string{path + "#Operationen", path + "#Revisionen"}
}

// readyInMonths is a table of finished rows with months and decimal commas, a mark of the byte order, a blank line, a negative
// follow-up and an empty one.
func readyInMonths(t *testing.T, folder string) []string {
	var b strings.Builder
	b.WriteString("\ufeffcase;side;FU (months);status;implant\n\n")
	for i, o := range operations(100) {
		months := 6 + float64(i%90) + 0.5
		state := "alive"
		if o.revised > 0 {
			months, state = float64(o.revised)/30.4375, "revised"
		} else if i%7 == 0 {
			state = "dead"
		}
		fmt.Fprintf(&b, "%d;%s;%s;%s;%s\n", o.patient, []string{"left", "right"}[o.side], strings.ReplaceAll(fmt.Sprintf("%.2f", months), ".", ","), state, []string{"A", "B"}[o.sex])
	}
	b.WriteString("101;left;-3;alive;A\n102;left;;alive;A\n103;left;12;lost;A\n")
	return []string{put(t, folder, "cohort.csv", []byte(b.String()))}
}
