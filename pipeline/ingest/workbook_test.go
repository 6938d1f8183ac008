package ingest

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"deltoid/schemas"
)

// book writes a workbook with another library. Rows begin at the given row of the sheet.
func book(t testing.TB, sheet string, first int, rows [][]any, more ...func(*excelize.File)) string {
	t.Helper()
	f := excelize.NewFile()
	must := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	must(f.SetSheetName("Sheet1", sheet))
	for i, row := range rows {
		at, err := excelize.CoordinatesToCellName(1, first+i)
		must(err)
		must(f.SetSheetRow(sheet, at, &row))
	}
	for _, change := range more {
		change(f)
	}
	var b bytes.Buffer
	must(f.Write(&b))
	return b.String()
}

func day(text string) time.Time {
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return at
}

var sheetSource = schemas.Source{Layouts: map[string][]schemas.Layout{"operated": {schemas.SheetDate}}, Decimal: ','}

func TestASheetIsReadAsItsCellsAreTyped(t *testing.T) {
	text := book(t, "OP", 3, [][]any{
		{"patient", "side", "operated", "grade", "age", "implant", "follow_up", nil, "remark"},
		{"007", "left ", day("2020-02-29"), 3, 71.5, "AB12", 365, nil, "x"},
		{8, "right", 1, 2.0, "70,5", nil, nil, "beside"},
		{nil, nil},
		{"Zeile\n2", nil, nil, nil, 0.1, nil, 1e6},
	})
	table, found := mustRead(t, few(), export(t, sheetSource, [2]string{"a.xlsx", text}), 1)
	same(t, "rows", dump(table), []string{
		"a.xlsx:4|007|left|2020-02-29|3|71.5|AB12|365",
		"a.xlsx:5|8|right|1900-01-01|2|70.5||",
		"a.xlsx:7|Zeile\n2||||0.1||1000000"})
	same(t, "findings", places(found), []string(nil))
	same(t, "note", table.Sources[0].Note, "sheet: OP; not used: remark; columns without a name, not used: 8")
}

// Every cell that is wrong is found in its row and column of the sheet.
func TestBadCellsOfASheetAreFoundAtTheirPlaces(t *testing.T) {
	text := book(t, "OP", 2, [][]any{
		{"patient", "side", "operated", "grade", "age", "implant", "follow_up"},
		{"1", "lefft", "2020-02-03", "3", 120.5, "ab", 1.5},
		{1234567890123456, true, 60, "1,5", "70.5", nil, nil},
		{"3", "left", 43831.5, nil, nil, nil, nil},
		{"4", nil, -1, nil, nil, nil, nil},
		{"5", "right", 43831, nil, nil, "AB1", 3},
		{nil, nil, nil, nil, nil, "AB2", nil},
	}, func(f *excelize.File) {
		for _, err := range []error{f.SetCellFormula("OP", "D7", "1/0"), f.MergeCell("OP", "A7", "B8"), f.SetCellValue("OP", "I9", "beside")} {
			if err != nil {
				t.Fatal(err)
			}
		}
	})
	table, found := mustRead(t, few(), export(t, sheetSource, [2]string{"a.xlsx", text}), 1)
	same(t, "findings", places(found), []string{
		`a.xlsx:3:2 unknown-code "lefft" (one of: left, right; nearest: left)`,
		`a.xlsx:3:3 bad-date "2020-02-03" (a date cell of the workbook, without a time)`,
		`a.xlsx:3:5 out-of-range "120,5" (from 0 to 120)`,
		`a.xlsx:3:6 pattern "ab" (a text of the form [A-Z]{2}[0-9]+)`,
		`a.xlsx:3:7 bad-integer "1,5" (a whole number of days; where the column counts months or years, declare it in the study plan: units: {follow_up: years})`,
		`a.xlsx:4:1 rounded-number "1234567890123456"`,
		`a.xlsx:4:2 unknown-code "true" (one of: left, right)`,
		`a.xlsx:4:3 bad-date "60" (a date cell of the workbook, without a time)`,
		`a.xlsx:4:4 bad-integer "1,5" (a whole number)`,
		`a.xlsx:4:5 bad-number "70.5" (a number with the decimal mark ,)`,
		`a.xlsx:5:3 time-of-day "43831.5" (a date cell of the workbook, without a time)`,
		`a.xlsx:6:3 bad-date "-1" (a date cell of the workbook, without a time)`,
		`a.xlsx:7:2 merged-cell ""`,
		`a.xlsx:7:4 error-cell "formula without a result"`,
		`a.xlsx:8:1 merged-cell ""`,
		`a.xlsx:8:2 merged-cell ""`,
		`a.xlsx:9:1 missing-required ""`})
	same(t, "note", table.Sources[0].Note, "sheet: OP; cells in columns without a name, not used: 1")
}

// plainBook is a workbook made by hand, with the forms that the test's library does not write.
func plainBook(properties, rows string) string {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	const types = `http://schemas.openxmlformats.org/officeDocument/2006/relationships`
	for _, part := range [][2]string{
		{"_rels/.rels", `<Relationships><Relationship Id="r1" Type="` + types + `/officeDocument" Target="/book/main.xml"/></Relationships>`},
		{"book/main.xml", `<x:workbook xmlns:x="a" xmlns:r="b"><x:workbookPr ` + properties + `/><x:sheets><x:sheet name="A" sheetId="1" r:id="r7"/></x:sheets></x:workbook>`},
		{"book/_rels/main.xml.rels", `<Relationships><Relationship Id="r7" Type="` + types + `/worksheet" Target="pages/a.xml"/>` +
			`<Relationship Id="r8" Type="` + types + `/sharedStrings" Target="texts.xml"/></Relationships>`},
		{"book/texts.xml", `<sst><si><t>patient</t></si><si><r><t>oper</t></r><r><t xml:space="preserve">ated</t></r><rPh><t>no</t></rPh></si><si><t/></si></sst>`},
		{"book/pages/a.xml", `<x:worksheet><x:sheetData>` + rows + `</x:sheetData></x:worksheet>`},
	} {
		w, err := z.Create(part[0])
		if err != nil {
			panic(err)
		}
		if _, err := io.WriteString(w, part[1]); err != nil {
			panic(err)
		}
	}
	if err := z.Close(); err != nil {
		panic(err)
	}
	return b.String()
}

const plainHeader = `<x:row><x:c t="s"><x:v>0</x:v></x:c><x:c t="s"><x:v>1</x:v></x:c><x:c t="inlineStr"><x:is><x:t>implant</x:t></x:is></x:c></x:row>`

// Prefixes, cells without names, texts in parts, escaped letters, cached results, errors, and days since 1904.
func TestOtherWaysToWriteASheetAreRead(t *testing.T) {
	text := plainBook(`date1904="1"`, plainHeader+
		`<x:row r="5"><x:c t="str"><x:f>A1&amp;"x"</x:f><x:v>a_x000A_b</x:v></x:c><x:c><x:v>4.2369E4</x:v></x:c></x:row>`+
		`<x:row><x:c t="s"><x:v>2</x:v></x:c><x:c r="C6" t="e"><x:v>#DIV/0!</x:v></x:c></x:row>`+
		`<x:row><x:c><x:v>12</x:v></x:c><x:c><x:v>0</x:v></x:c></x:row>`)
	table, found := mustRead(t, few(), export(t, sheetSource, [2]string{"a.xlsx", text}), 1)
	// 42369 days after 1904-01-01 is 2020-01-01, since the two systems are 1462 days apart and 43831 is that day in the other.
	same(t, "rows", dump(table), []string{"a.xlsx:5|a\nb|2020-01-01|", "a.xlsx:6||||aside", "a.xlsx:7|12|1904-01-01|"})
	same(t, "findings", places(found), []string{`a.xlsx:6:1 missing-required ""`, `a.xlsx:6:3 error-cell "#DIV/0!"`})
}

// The witness is the library that writes the workbooks, over both date systems.
func TestDaysOfASheetAgreeWithALibrary(t *testing.T) {
	sp, _ := newSpec(&schemas.Field{Name: "d", Type: schemas.Date}, &schemas.Source{Layouts: map[string][]schemas.Layout{"d": {schemas.SheetDate}}})
	for _, since04 := range []bool{false, true} {
		for serial := 1; serial < 80_000; serial++ {
			if !since04 && serial <= 60 {
				continue // the library counts these as if the calendar had a 29 February 1900
			}
			want, err := excelize.ExcelDateToTime(float64(serial), since04)
			if err != nil {
				t.Fatal(err)
			}
			c := newColumn(sp, 1)
			c.since04 = since04
			c.serialDate(float64(serial))
			if got := schemas.FormatDay(c.days[0]); got != want.Format(time.DateOnly) {
				t.Fatalf("%d: %s, want %s", serial, got, want.Format(time.DateOnly))
			}
		}
	}
}

func TestWorkbooksThatCannotBeReadSayWhy(t *testing.T) {
	two := book(t, "Eins", 1, [][]any{{"patient"}}, func(f *excelize.File) { _, _ = f.NewSheet("Zwei") })
	for name, c := range map[string]struct {
		src        schemas.Source
		text, want string
	}{
		"two sheets":   {schemas.Source{}, two, "a.xlsx: the workbook has 2 sheets; allowed: Eins, Zwei"},
		"other sheet":  {schemas.Source{Sheet: "Ein"}, two, `a.xlsx: the workbook has no sheet "Ein"; allowed: Eins, Zwei; to mend it: write "Eins"`},
		"empty":        {schemas.Source{Sheet: "Zwei"}, two, "a.xlsx: the sheet is empty"},
		"no archive":   {schemas.Source{}, header, "a.xlsx: the file is not a workbook"},
		"old":          {schemas.Source{}, "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 and more", "a.xlsx: the file is protected by a password"},
		"rows":         {schemas.Source{}, plainBook("", plainHeader+`<x:row r="1"/>`), `a.xlsx: the file is damaged: the sheet is not as the standard says: row "1" follows row 1`},
		"far row":      {schemas.Source{}, plainBook("", plainHeader+`<x:row r="1048577"/>`), "a.xlsx: the file is damaged"},
		"cells":        {schemas.Source{}, plainBook("", plainHeader+`<x:row><x:c r="B2"/><x:c r="A2"/></x:row>`), `a.xlsx: the file is damaged: the sheet is not as the standard says: the cell "A2"`},
		"no such text": {schemas.Source{}, plainBook("", plainHeader+`<x:row><x:c t="s"><x:v>3</x:v></x:c></x:row>`), "a.xlsx: the file is damaged"},
		"open":         {schemas.Source{}, plainBook("", plainHeader+`<x:row><x:c>`), "a.xlsx: the file is damaged: the sheet ends too early"},
		"columns":      {schemas.Source{}, plainBook("", ``), "a.xlsx: the sheet is empty"},
		"dates":        {schemas.Source{Format: schemas.CSV, Layouts: sheetSource.Layouts}, header, `plan.yaml:3: dates are declared as "sheet date", and a.xlsx is no workbook`},
	} {
		t.Run(name, func(t *testing.T) {
			got := problems(t, export(t, c.src, [2]string{"a.xlsx", c.text}))
			if len(got) != 1 || !strings.HasPrefix(got[0], c.want) {
				t.Errorf("got  %s\nwant %s", strings.Join(got, "\n"), c.want)
			}
		})
	}
}

// A small file that unpacks to very much must not take the memory.
func TestAWorkbookThatGrowsWithoutEndIsRefused(t *testing.T) {
	text := plainBook("", plainHeader+`<x:row><x:c t="str"><x:v>`+strings.Repeat("0", 100<<20)+`</x:v></x:c></x:row>`)
	got := problems(t, export(t, schemas.Source{}, [2]string{"a.xlsx", text}))
	if len(got) != 1 || !strings.HasPrefix(got[0], "a.xlsx: the file is damaged: "+errGrows.Error()) {
		t.Errorf("a file of %d bytes: %q", len(text), got)
	}
}

// Every byte of a small workbook changed, and the file cut everywhere: a problem of the file or a table.
func TestDamagedWorkbooksAreAProblemOrATable(t *testing.T) {
	whole := []byte(plainBook("", plainHeader+`<x:row><x:c><x:v>1</x:v></x:c><x:c><x:v>2</x:v></x:c></x:row>`))
	dir := t.TempDir()
	for i := range whole {
		for _, b := range [][]byte{append(append(bytes.Clone(whole[:i]), whole[i]^byte(1<<(i%8))), whole[i+1:]...), whole[:i]} {
			src := sheetSource
			src.Table, src.Shown, src.Files = "few", []string{"a.xlsx"}, inFile(t, dir, "a.xlsx", string(b)).Files
			_, err := Read(t.Context(), few(), src, &schemas.Findings{}, nil)
			var ps schemas.Problems
			if rest := collect(&ps, err); rest != nil || err != nil && ps[0].Where != "a.xlsx" {
				t.Fatalf("byte %d: %v", i, err)
			}
		}
	}
}

// A sheet of many rows, against the same rows as text. The test's library keeps 15 digits of a number.
func TestALargeSheetEqualsItsText(t *testing.T) {
	table := formatsTable(t, 5000)
	got, found := mustRead(t, few(), export(t, sheetSource, [2]string{"a.xlsx", asBook(t, table)}), 1)
	same(t, "findings", places(found), []string(nil))
	same(t, "rows", cellsOnly(got), cellsOnly(table))
	file, line := got.Place(4999)
	same(t, "place", fmt.Sprint(file, line), "a.xlsx5001")
}

// formatsTable is the sample table with ages of two decimals, which every format can hold.
func formatsTable(t testing.TB, rows int) *schemas.Table {
	t.Helper()
	text := regexp.MustCompile(`(\.[0-9]{2})[0-9]+`).ReplaceAllString(sampleCSV(rows), "$1")
	table, found := mustRead(t, few(), export(t, schemas.Source{}, [2]string{"a.csv", text}), 1<<20)
	same(t, "findings", places(found), []string(nil))
	return table
}

// asBook writes a table as a workbook with date cells.
func asBook(t testing.TB, table *schemas.Table) string {
	rows := [][]any{{"patient", "side", "operated", "grade", "age", "implant", "follow_up"}}
	for row := range table.Rows() {
		var cells []any
		for _, c := range table.Columns() {
			cells = append(cells, asCell(c, row))
		}
		rows = append(rows, cells)
	}
	return book(t, "A", 1, rows)
}

func asCell(c *schemas.Column, row int) any {
	switch {
	case c.IsMissing(row):
		return nil
	case c.Field.Type == schemas.Date:
		return day(c.String(row))
	case c.Field.Type == schemas.Integer:
		return c.Integers()[row]
	case c.Field.Type == schemas.Number:
		return c.Numbers()[row]
	}
	return c.String(row)
}
