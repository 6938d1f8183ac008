package ingest

import (
	"compress/gzip"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"deltoid/schemas"
)

// few is the schema of the hand-made exports: one field of each type, and one of each constraint.
func few() *schemas.Schema {
	low, high := 0.0, 120.0
	return &schemas.Schema{Name: "few", Fields: []schemas.Field{
		{Name: "patient", Type: schemas.Text, Required: true, Identifier: true},
		{Name: "side", Type: schemas.Code, Codes: []schemas.CodeValue{{Value: "left"}, {Value: "right"}}},
		{Name: "operated", Type: schemas.Date},
		{Name: "grade", Type: schemas.Integer, Minimum: &low},
		{Name: "age", Type: schemas.Number, Minimum: &low, Maximum: &high},
		{Name: "implant", Type: schemas.Text, Pattern: "[A-Z]{2}[0-9]+"},
		{Name: "follow_up", Type: schemas.Integer, Unit: "days"},
	}}
}

// export writes the files of a source into a temporary folder and shows them by their names.
func export(t testing.TB, src schemas.Source, files ...[2]string) schemas.Source {
	t.Helper()
	dir := t.TempDir()
	src.Table = "few"
	src.Plan = "plan.yaml:3"
	for _, f := range files {
		path := filepath.Join(dir, f[0])
		if err := os.WriteFile(path, []byte(f[1]), 0o600); err != nil {
			t.Fatal(err)
		}
		src.Files = append(src.Files, path)
		src.Shown = append(src.Shown, f[0])
	}
	return src
}

// mustRead reads a source that can be read, with small chunks and several goroutines.
func mustRead(t testing.TB, s *schemas.Schema, src schemas.Source, chunk int) (*schemas.Table, []schemas.Finding) {
	t.Helper()
	var found schemas.Findings
	r := &reader{schema: s, src: &src, chunkSize: chunk, workers: 3, patience: patience, memory: childMemory}
	table, err := r.read(context.Background(), &found)
	if err != nil {
		t.Fatal(err)
	}
	return table, found.All()
}

// dump writes a table as text, one row a line, with the line it came from and a mark for a row set aside.
func dump(t *schemas.Table) []string {
	var rows []string
	for row := range t.Rows() {
		file, line := t.Place(row)
		cells := []string{fmt.Sprintf("%s:%d", file, line)}
		for _, c := range t.Columns() {
			if t.Offsets && c.Days() != nil && !c.IsMissing(row) {
				cells = append(cells, fmt.Sprint(c.Days()[row]))
				continue
			}
			cells = append(cells, c.String(row))
		}
		if t.IsAside(row) {
			cells = append(cells, "aside")
		}
		rows = append(rows, strings.Join(cells, "|"))
	}
	return rows
}

// places writes findings as "file:line:column rule value (detail)".
func places(found []schemas.Finding) []string {
	var list []string
	for _, f := range found {
		s := fmt.Sprintf("%s:%d:%d %s %q", f.File, f.Line, f.Column, f.Rule.ID, f.Value)
		if f.Detail != "" {
			s += " (" + f.Detail + ")"
		}
		list = append(list, s)
	}
	return list
}

func same(t testing.TB, what string, got, want any) {
	t.Helper()
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("%s (-want +got):\n%s", what, d)
	}
}

const header = "patient,side,operated,grade,age,implant,follow_up\n"

func TestReadTakesEveryTypeAsDeclared(t *testing.T) {
	src := export(t, schemas.Source{}, [2]string{"a.csv", "\xef\xbb\xbf" + header +
		"007,left,2020-02-29,3,71.5,AB12,365\r\n" +
		"  008 , right ,1969-12-31,-0,.5,,+12\n" +
		"\n" +
		"\"0 09\",\"\",\"0001-01-01\",\"\",1e2,\"ZZ9\",\n" +
		"010,left,9999-12-31,9007199254740993,0.1,AB1,9223372036854775807"})
	table, found := mustRead(t, few(), src, 16)
	same(t, "rows", dump(table), []string{
		"a.csv:2|007|left|2020-02-29|3|71.5|AB12|365",
		"a.csv:3|008|right|1969-12-31|0|0.5||12",
		"a.csv:5|0 09||0001-01-01||100|ZZ9|",
		"a.csv:6|010|left|9999-12-31|9007199254740993|0.1|AB1|9223372036854775807",
	})
	same(t, "findings", places(found), []string(nil))
	same(t, "note", table.Sources[0].Note, "delimiter: comma; blank lines skipped: 1")
}

// Every cell marked with § is wrong; the finding must lie exactly there. The marks are taken out before reading.
func TestEveryBadCellIsFoundAtItsPlace(t *testing.T) {
	marked := header +
		"1,§lefft,§2023-02-30,§1.0,§1_000,§ab1,§0x1F\n" +
		"§,LEFT§,31/02/2020§,§1e3,§NaN,§AB1x,§--1\n" +
		"\"3\n3\",§both,§2023-11-31,§-1,§120.5,AB1,§1 2\n" +
		"4,left,§2100-02-29,§9223372036854775808,§Inf,AB1,1\n" +
		"5,§l\xffeft,§2020-1-01,§-9223372036854775808,§1e999,§A\xffB,1\n" +
		"§6\"6,§\"left\"x,§0000-01-01,§1.,§1e,AB1,§٣\n"
	src := export(t, schemas.Source{}, [2]string{"a.csv", strings.ReplaceAll(marked, "§", "")})
	table, found := mustRead(t, few(), src, 8)
	same(t, "places", positions(found), marks(marked))
	same(t, "rows set aside", table.CountAside(), 6)
	same(t, "one message", places(found)[0], `a.csv:2:2 unknown-code "lefft" (one of: left, right; nearest: left)`)
	for _, f := range found {
		if f.Masked != (f.Field == "patient") {
			t.Errorf("%s: masked is %v", f.Field, f.Masked)
		}
		if row := f.Line; row > 0 && f.Header == "" {
			t.Errorf("finding without the column's name: %+v", f)
		}
	}
}

// marks returns line:column of every marked cell. Lines are those of the record's first line.
func marks(text string) []string {
	var list []string
	line, first, column, inside, begins := 1, 1, 1, false, true
	for _, c := range text {
		if c == '§' {
			list = append(list, fmt.Sprintf("%d:%d", first, column))
			continue
		}
		switch {
		case c == '"' && (inside || begins):
			inside = !inside
		case c == ',' && !inside:
			column++
		case c == '\n':
			line++
			if !inside {
				first, column = line, 1
			}
		}
		begins = !inside && (c == ',' || c == '\n')
	}
	return list
}

func positions(found []schemas.Finding) []string {
	var list []string
	for _, f := range found {
		list = append(list, fmt.Sprintf("%d:%d", f.Line, f.Column))
	}
	return list
}

func TestRaggedRowsStayAndAreSetAside(t *testing.T) {
	src := export(t, schemas.Source{}, [2]string{"a.csv", header + "1,left,,,,,\n2,left\n3,wrong,x,x,x,x,x,x\n4,right,,,,,\n"})
	table, found := mustRead(t, few(), src, 10)
	same(t, "rows", dump(table), []string{"a.csv:2|1|left|||||", "a.csv:3||||||||aside", "a.csv:4||||||||aside", "a.csv:5|4|right|||||"})
	same(t, "findings", places(found), []string{
		`a.csv:3:0 ragged-row "" (7 cells, as in the header; found 2)`,
		`a.csv:4:0 ragged-row "" (7 cells, as in the header; found 8)`})
}

func TestPlanDeclaresRecodesTokensLayoutsUnitsAndDecimals(t *testing.T) {
	src := export(t, schemas.Source{Decimal: ',', Delimiter: 0,
		Columns: map[string]string{"side": "Seite", "operated": "OP Datum"},
		Recode:  map[string]map[string]string{"side": {"L": "left", "R": "right", "9": "", "X": "left"}, "grade": {"<1": "0"}},
		Layouts: map[string][]schemas.Layout{"operated": {"DD.MM.YYYY"}},
		Missing: []string{"NA", "-9", "R"},
		Units:   map[string]schemas.Unit{"follow_up": schemas.Months},
		Extra:   []schemas.Field{{Name: "clinic", Type: schemas.Code}, {Name: "bmi", Type: schemas.Number}}},
		[2]string{"a.txt", "patient;Seite;OP Datum;grade;age;implant;follow_up;clinic;bmi;remark\n" +
			"1;L;01.02.2020;<1;70,25;NA;1;Nord;1,5e1;x\n" +
			"2;R;NA;-9;-9;AB1;12;Amt;-9;\n" +
			"3;9;29.02.2021;2;7.5;AB1;-1,5;NA;1;\n" +
			"4;left;31.12.1999;2;7;AB1;0;Nord;;\n"})
	table, found := mustRead(t, few(), src, 20)
	same(t, "rows", dump(table), []string{
		"a.txt:2|1|left|2020-02-01|0|70.25||30|Nord|15",
		"a.txt:3|2|right||||AB1|365|Amt|",
		"a.txt:4|3|||2||AB1|-46||1|aside",
		"a.txt:5|4|left|1999-12-31|2|7|AB1|0|Nord|",
	})
	same(t, "findings", places(found), []string{
		`a.txt:4:3 bad-date "29.02.2021" (a date written DD.MM.YYYY)`,
		`a.txt:4:5 bad-number "7.5" (a number with the decimal mark ,)`})
	same(t, "recodes", fmt.Sprint(table.Recoded), "[{grade <1 0 1} {side 9  1} {side L left 1} {side R right 1} {side X left 0}]")
	// 1 month is 30.4375 days and -1.5 months are -45.65625; 12 months are 365.25. All three are rounded, 0 is not.
	same(t, "note", table.Sources[0].Note, "delimiter: semicolon; not used: remark; follow_up: months turned into days, 3 values rounded to whole days")
	same(t, "levels", table.Column("clinic").Levels(), []string{"Amt", "Nord"})
	same(t, "position", table.Column("operated").Position, 3)
	same(t, "name in the file", table.Column("operated").Header, "OP Datum")
}

// A column may hold dates in several layouts that cannot be taken for one another; how many each has read is stated. Where
// the layouts could read one value differently nothing is read at all.
func TestDatesInSeveralLayouts(t *testing.T) {
	src := export(t, schemas.Source{Layouts: map[string][]schemas.Layout{"operated": {"DD/MM/YYYY", "YYYY-MM-DD"}}},
		[2]string{"a.csv", "patient,operated\n1,03/04/2020\n2,2020-03-04\n3,04.03.2020\n4,31/12/1999\n5,\n6,\"2021-02-29\"\n"})
	table, found := mustRead(t, few(), src, 20)
	same(t, "rows", dump(table), []string{"a.csv:2|1|2020-04-03", "a.csv:3|2|2020-03-04", "a.csv:4|3||aside", "a.csv:5|4|1999-12-31",
		"a.csv:6|5|", "a.csv:7|6||aside"})
	same(t, "findings", places(found), []string{`a.csv:4:2 bad-date "04.03.2020" (a date written DD/MM/YYYY or YYYY-MM-DD)`,
		`a.csv:7:2 bad-date "2021-02-29" (a date written DD/MM/YYYY or YYYY-MM-DD)`})
	if want := "operated: dates 2 written DD/MM/YYYY, 1 written YYYY-MM-DD"; !strings.HasSuffix(table.Sources[0].Note, want) {
		t.Errorf("the note %q does not end with %q", table.Sources[0].Note, want)
	}
	src.Layouts["operated"] = []schemas.Layout{"DD/MM/YYYY", "YYYY-MM-DD", "MM/DD/YYYY"}
	same(t, "problems", problems(t, src), []string{`plan.yaml:3: operated is declared as "DD/MM/YYYY" and as "MM/DD/YYYY", and one value can be read by both; ` +
		`allowed: layouts that cannot read the same value; to mend it: declare one of the two, or export the column in one layout`})
}

// Layouts that stand together have no value in common: whatever date one of them writes, no other reads it.
func TestNoValueHasTwoMeanings(t *testing.T) {
	all := []schemas.Layout{"DD/MM/YYYY", "MM/DD/YYYY", "YYYY/MM/DD", "YYYY-MM-DD", "DD-MM-YYYY", "YYYYMMDD", "DDMMYYYY", "MMDDYYYY", "DD.MM.YYYY"}
	for _, text := range all {
		for _, other := range all {
			a, errA := parseLayout(text)
			b, errB := parseLayout(other)
			if errA != nil || errB != nil {
				t.Fatal(errA, errB)
			}
			both := 0
			for day := int32(firstDay); day <= lastDay; day += 97 {
				if _, ok := b.parse(a.format(day)); ok {
					both++
				}
			}
			if _, _, confused := schemas.Confused([]schemas.Layout{text, other}); confused != (both > 0) {
				t.Errorf("%s and %s: confused is %v, and %d dates are read by both", text, other, confused, both)
			}
		}
	}
}

func TestDayNumbersMakeATableOfOffsets(t *testing.T) {
	src := export(t, schemas.Source{Layouts: map[string][]schemas.Layout{"operated": {schemas.DayNumber}}},
		[2]string{"a.csv", "patient,operated\n1,-3\n2,2147483648\n3,2020-01-01\n4,0\n"})
	table, found := mustRead(t, few(), src, 20)
	same(t, "rows", dump(table), []string{"a.csv:2|1|-3", "a.csv:3|2||aside", "a.csv:4|3||aside", "a.csv:5|4|0"})
	same(t, "offsets", table.Offsets, true)
	same(t, "findings", places(found), []string{`a.csv:3:2 out-of-range "2147483648" (from -2147483647 to 2147483647)`,
		`a.csv:4:2 bad-integer "2020-01-01" (a whole number of days)`})
}

func TestFilesOfOneTableAreReadInOrder(t *testing.T) {
	src := export(t, schemas.Source{}, [2]string{"b.csv", "side,patient\nleft,1\nwrong,2\n"},
		[2]string{"a.tsv", "patient\tage\n3\t70\n4\tx\n"}, [2]string{"c.csv", "patient,side\n"})
	table, found := mustRead(t, few(), src, 1<<20)
	same(t, "rows", dump(table), []string{"b.csv:2|1|left|", "b.csv:3|2|||aside", "a.tsv:2|3||70", "a.tsv:3|4|||aside"})
	same(t, "places", places(found), []string{`b.csv:3:1 unknown-code "wrong" (one of: left, right)`,
		`a.tsv:3:2 bad-number "x" (a number with the decimal mark .)`})
	same(t, "rows of the files", []int{table.Sources[0].Rows, table.Sources[1].Rows, table.Sources[2].Rows}, []int{2, 2, 0})
	same(t, "note", table.Sources[1].Note, "delimiter: tab; no column for: side, operated, grade, implant, follow_up")
}

func TestHeaderOnlyIsATableWithoutRows(t *testing.T) {
	for _, text := range []string{header, strings.TrimSuffix(header, "\n"), "\n\n" + header + "\n\n"} {
		table, found := mustRead(t, few(), export(t, schemas.Source{}, [2]string{"a.csv", text}), 64)
		if table.Rows() != 0 || len(found) != 0 || table.Column("age") == nil {
			t.Errorf("%q: %d rows, %d findings, column %v", text, table.Rows(), len(found), table.Column("age"))
		}
	}
}

// problems reads a source that cannot be read.
func problems(t *testing.T, src schemas.Source) []string {
	t.Helper()
	var found schemas.Findings
	_, err := Read(context.Background(), few(), src, &found, nil)
	var ps schemas.Problems
	if err := collect(&ps, err); err != nil {
		t.Fatalf("not a problem: %v", err)
	}
	var list []string
	for _, p := range ps {
		list = append(list, p.Error())
		if p.Remedy == "" {
			t.Errorf("no remedy: %v", p)
		}
	}
	return list
}

func TestUnreadableExportsSayWhy(t *testing.T) {
	for _, c := range []struct {
		name, file, text string
		src              schemas.Source
		want             []string // beginnings of the problems
	}{
		{"empty", "a.csv", "", schemas.Source{}, []string{"a.csv: the file is empty"}},
		{"blank", "a.csv", "\n \n\r\n", schemas.Source{}, []string{"a.csv: the file is empty"}},
		{"header", "a.csv", "side,,age,side,age\n", schemas.Source{Columns: map[string]string{"age": "agee"}}, []string{
			`a.csv: no column "patient" for the field patient`,
			`a.csv: columns 1 and 4 are both called "side", and the field side is read from it`,
			`a.csv: no column "agee" for the field age; allowed: side, , age, side, age; to mend it: write "age" in the study plan`}},
		{"utf-32", "a.csv", "\xff\xfe\x00\x00p\x00\x00\x00", schemas.Source{}, []string{"a.csv: the file is written in UTF-32"}},
		{"two encodings", "a.csv", "\xef\xbb\xbfpatient\n", schemas.Source{Encoding: schemas.Windows1252},
			[]string{"a.csv: the file begins with the mark of UTF-8, and the study plan declares windows-1252"}},
		{"gzip cut short", "a.csv.gz", packed(gzip.NewWriter, header+"1,left,,,,,\n")[:40], schemas.Source{},
			[]string{"a.csv.gz: the file cannot be read: the compressed data end too early"}},
		{"gzip damaged", "a.csv.gz", "\x1f\x8b\x08\x00none of this is gzip", schemas.Source{},
			[]string{"a.csv.gz: the file cannot be read: the compressed data are damaged"}},
		{"workbook as text", "a.csv", "PK\x03\x04", schemas.Source{}, []string{"a.csv: the file is a workbook"}},
		{"zeros", "a.csv", "p\x00a\x00", schemas.Source{}, []string{"a.csv: the header holds bytes that are no text"}},
		{"latin", "a.csv", "patient,na\xefve\n", schemas.Source{}, []string{"a.csv: the header line holds letters that are not written in UTF-8"}},
		{"old line ends", "a.csv", "patient\r1\r2\r", schemas.Source{}, []string{"a.csv: lines end with a carriage return alone"}},
		{"open quote", "a.csv", "patient\n1\n2\n\"3\n4\n5", schemas.Source{}, []string{"a.csv:4: a quote is never closed"}},
		{"open header", "a.csv", "\"patient\n1\n2\n", schemas.Source{}, []string{"a.csv: the header line has no end"}},
		{"either delimiter", "a.csv", "x,y;z\n", schemas.Source{}, []string{"a.csv: the delimiter cannot be told"}},
		{"ending", "a.dat", "patient\n", schemas.Source{}, []string{`a.dat: the ending ".dat" does not say`}},
		{"no parquet", "a.parquet", header + header, schemas.Source{}, []string{"a.parquet: the file is not a Parquet file"}},
		{"parquet as text", "a.csv", "PAR1", schemas.Source{}, []string{"a.csv: the file is a Parquet file"}},
		{"plan", "a.csv", header, schemas.Source{Decimal: '!', Columns: map[string]string{"sid": "x"}, Missing: []string{""},
			Units: map[string]schemas.Unit{"age": "years", "follow_up": "fortnights"}, Layouts: map[string][]schemas.Layout{"operated": {"DD/MM/YY"}},
			Recode: map[string]map[string]string{"side": {"l": "lef"}}, Extra: []schemas.Field{{Name: "age"}}}, []string{
			"plan.yaml:3: \"lef\"", "plan.yaml:3: the layout", "plan.yaml:3: age has a unit"}},
		{"mixed days", "a.csv", "patient,operated,seen\n", schemas.Source{Extra: []schemas.Field{{Name: "seen", Type: schemas.Date}},
			Layouts: map[string][]schemas.Layout{"seen": {schemas.DayNumber}}}, []string{"plan.yaml:3: few has day numbers (seen) beside calendar dates (operated)"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := problems(t, export(t, c.src, [2]string{c.file, c.text}))
			if c.name == "plan" {
				same(t, "number of problems", len(got), 7)
				return
			}
			if len(got) != len(c.want) {
				t.Fatalf("problems:\n%s", strings.Join(got, "\n"))
			}
			for i := range got {
				if !strings.HasPrefix(got[i], c.want[i]) {
					t.Errorf("got  %s\nwant %s", got[i], c.want[i])
				}
			}
		})
	}
}

func TestMissingFilesAndFoldersAreProblems(t *testing.T) {
	dir := t.TempDir()
	got := problems(t, schemas.Source{Table: "few", Files: []string{filepath.Join(dir, "no.csv"), dir}, Shown: []string{"no.csv", "exports"}})
	if len(got) != 2 || !strings.HasPrefix(got[0], "no.csv: there is no such file") || !strings.HasPrefix(got[1], "exports: this is a folder") {
		t.Errorf("%q", got)
	}
	same(t, "no files", len(problems(t, schemas.Source{Table: "few"})), 1)
}

func TestProgressEndsAtTheTotalAndCancellingStops(t *testing.T) {
	src := export(t, schemas.Source{}, [2]string{"a.csv", header + strings.Repeat("1,left,,,,,\n", 1000)}, [2]string{"b.csv", header})
	var seen []int64
	total := int64(0)
	var found schemas.Findings
	if _, err := Read(context.Background(), few(), src, &found, func(done, all int64) { seen, total = append(seen, done), all }); err != nil {
		t.Fatal(err)
	}
	if !slices.IsSorted(seen) || seen[len(seen)-1] != total || total != int64(2*len(header)+12000) {
		t.Errorf("progress %v of %d", seen, total)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Read(ctx, few(), src, &found, nil); err != context.Canceled {
		t.Errorf("cancelled: %v", err)
	}
}
