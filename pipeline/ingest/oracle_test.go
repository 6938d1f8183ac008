package ingest

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"deltoid/schemas"
)

// texts is a schema of n text fields called a, b, c and so on.
func texts(n int) *schemas.Schema {
	s := &schemas.Schema{Name: "texts"}
	for i := range n {
		s.Fields = append(s.Fields, schemas.Field{Name: string(rune('a' + i)), Type: schemas.Text})
	}
	return s
}

func inFile(t interface {
	Helper()
	Fatal(...any)
}, dir, name, text string) schemas.Source {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return schemas.Source{Table: "texts", Files: []string{path}, Shown: []string{name}, Delimiter: ',', Plan: "plan.yaml:1"}
}

// outcome reads a source with chunks of a size and writes down everything that came of it.
func outcome(s *schemas.Schema, src schemas.Source, chunk int) string {
	var found schemas.Findings
	r := &reader{schema: s, src: &src, chunkSize: chunk, workers: 2, patience: patience, memory: childMemory}
	table, err := r.read(context.Background(), &found)
	if err != nil {
		return err.Error()
	}
	return strings.Join(dump(table), "\n") + "\n" + strings.Join(places(found.All()), "\n") + "\n" + table.Sources[0].Note
}

// drawCSV draws a well-formed text file. Cells outside quotes have no outer spaces, which we take away and the standard
// library keeps.
func drawCSV(t *rapid.T, width int) string {
	bare := rapid.StringMatching(`([xyé;'0-9=][xyé ;'0-9]{0,9}[xyé;'])?`)
	inQuotes := rapid.StringOfN(rapid.RuneFrom([]rune("xy ,;\n\"é\t'")), 0, 12, -1)
	end := rapid.SampledFrom([]string{"\n", "\r\n", "\n\n", "\r\n\r\n"})
	var b strings.Builder
	for i := range width {
		b.WriteString(string(rune('a'+i)) + map[bool]string{true: "\n", false: ","}[i == width-1])
	}
	for row := range rapid.IntRange(0, 20).Draw(t, "rows") {
		if row > 0 {
			b.WriteString(end.Draw(t, "end"))
		}
		for i := range width {
			if i > 0 {
				b.WriteByte(',')
			}
			if rapid.Bool().Draw(t, "quoted") {
				b.WriteString(`"` + strings.ReplaceAll(inQuotes.Draw(t, "cell"), `"`, `""`) + `"`)
			} else {
				b.WriteString(bare.Draw(t, "cell"))
			}
		}
	}
	return b.String()
}

// The witness is encoding/csv of the standard library: the same records, on the same lines.
func TestRecordsAgreeWithTheStandardLibrary(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		width := rapid.IntRange(1, 4).Draw(t, "width")
		text := drawCSV(t, width)
		std := csv.NewReader(strings.NewReader(text))
		var want []string
		for row := 0; ; row++ {
			record, err := std.Read()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			line, _ := std.FieldPos(0)
			if row > 0 {
				want = append(want, fmt.Sprintf("a.csv:%d|%s", line, strings.Join(record, "|")))
			}
		}
		got := outcome(texts(width), inFile(t, dir, "a.csv", text), rapid.IntRange(1, 50).Draw(t, "chunk"))
		if w := strings.Join(want, "\n") + "\n\n"; !strings.HasPrefix(got, w) {
			t.Fatalf("%q\ngot  %q\nwant %q", text, got, w)
		}
	})
}

// Whatever the bytes are, the size of the chunks does not show in the outcome.
func TestChunkSizeDoesNotShow(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		text := "a,b,c\n" + rapid.StringOfN(rapid.RuneFrom([]rune("x1 ,\"\n\r\t")), 0, 200, -1).Draw(t, "text")
		src := inFile(t, dir, "a.csv", text)
		want := outcome(texts(3), src, 1<<20)
		for _, size := range []int{1, 2, 3, 7, 31} {
			if got := outcome(texts(3), src, size); got != want {
				t.Fatalf("%q with chunks of %d:\ngot  %s\nwant %s", text, size, got, want)
			}
		}
	})
}

// Short ways in reading cells may only do what the long way does.
func TestShortWaysAgreeWithTheLongWay(t *testing.T) {
	dir := t.TempDir()
	low := 5.0
	s := &schemas.Schema{Name: "typed", Fields: []schemas.Field{
		{Name: "a", Type: schemas.Date}, {Name: "b", Type: schemas.Integer, Minimum: &low}, {Name: "c", Type: schemas.Number, Required: true},
		{Name: "d", Type: schemas.Code, Codes: []schemas.CodeValue{{Value: "1"}, {Value: "2000-01-01"}}}, {Name: "e", Type: schemas.Text}}}
	cells := rapid.SampledFrom([]string{"", "1", "12", " 7 ", `"8"`, `"a""b"`, "2000-01-01", `"2000-01-01"`, "2000-13-01", "-1", "1.5", "x", `"`, `"x"y`, "\xff", "é"})
	rapid.Check(t, func(t *rapid.T) {
		text := "a,b,c,d,e\n"
		for range rapid.IntRange(0, 8).Draw(t, "rows") {
			text += strings.Join(rapid.SliceOfN(cells, 5, 5).Draw(t, "row"), ",") + "\n"
		}
		src := inFile(t, dir, "a.csv", text)
		short := outcome(s, src, 64)
		src.Recode = map[string]map[string]string{}
		for _, f := range s.Fields { // a recode that never meets a cell takes the short way away
			if f.Type != schemas.Code {
				src.Recode[f.Name] = map[string]string{"never": "1"}
			}
		}
		if long := outcome(s, src, 64); long != short {
			t.Fatalf("%q\nshort %s\nlong  %s", text, short, long)
		}
	})
}

// The witness is strconv, behind a regular expression that states the grammar.
func TestNumbersAgreeWithStrconv(t *testing.T) {
	number := regexp.MustCompile(`^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$`)
	whole := regexp.MustCompile(`^[+-]?\d+$`)
	shapes := rapid.OneOf(rapid.StringMatching(`[+-]?[0-9]{0,20}(\.[0-9]{0,20})?([eE][+-]?[0-9]{1,3})?`),
		rapid.StringOfN(rapid.RuneFrom([]rune("0159.,eE+-_xnN ")), 0, 8, -1),
		rapid.Map(rapid.Float64(), func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }),
		rapid.Map(rapid.Int64(), func(v int64) string { return strconv.FormatInt(v, 10) }))
	rapid.Check(t, func(t *rapid.T) {
		s := shapes.Draw(t, "text")
		want, err := strconv.ParseFloat(s, 64)
		valid := number.MatchString(s) && err == nil
		got, ok := parseNumber([]byte(s), '.')
		if ok != valid || ok && math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%q: got %v %v, want %v %v", s, got, ok, want, valid)
		}
		if comma, ok := parseNumber([]byte(strings.ReplaceAll(s, ".", ",")), ','); !strings.Contains(s, ",") && (ok != valid || ok && comma != want) {
			t.Fatalf("%q with a comma: got %v %v, want %v", s, comma, ok, want)
		}
		v, err := strconv.ParseInt(s, 10, 64)
		valid = whole.MatchString(s) && err == nil && v != math.MinInt64
		if i, ok := parseInteger([]byte(s)); ok != valid || ok && i != v {
			t.Fatalf("%q: got integer %d %v, want %d %v", s, i, ok, v, valid)
		}
	})
}

// The witness is package time: every day of 9999 years, and the days that no month has.
func TestDatesAgreeWithPackageTime(t *testing.T) {
	iso, err := parseLayout(schemas.ISODate)
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC)
	for day := int32(firstDay); day <= lastDay; day += 13 {
		s := at.AddDate(0, 0, int(day-firstDay)).Format(time.DateOnly)
		if got, ok := iso.parse([]byte(s)); !ok || got != day || string(iso.format(day)) != s {
			t.Fatalf("%s: got %d %v, want %d", s, got, ok, day)
		}
	}
	for _, y := range []int{1900, 1999, 2000, 2023, 2024, 2100} {
		for m := range 14 {
			for d := range 33 {
				s := fmt.Sprintf("%04d-%02d-%02d", y, m, d)
				_, err := time.Parse(time.DateOnly, s)
				if _, ok := iso.parse([]byte(s)); ok != (err == nil) {
					t.Errorf("%s: %v, package time says %v", s, ok, err)
				}
			}
		}
	}
}

func TestLayoutsHaveTheirPartsInAnyOrder(t *testing.T) {
	for _, c := range []struct{ layout, text string }{
		{"DD/MM/YYYY", "29/02/2024"}, {"YYYYMMDD", "20240229"}, {"MM-DD-YYYY", "02-29-2024"}, {"DD. MM. YYYY", "29. 02. 2024"}} {
		l, err := parseLayout(schemas.Layout(c.layout))
		if err != nil {
			t.Fatal(err)
		}
		// 2024-02-29 is day 19782 after 1970-01-01 (date -d 2024-02-29 +%s / 86400).
		if day, ok := l.parse([]byte(c.text)); !ok || day != 19782 {
			t.Errorf("%s: got %d %v", c.layout, day, ok)
		}
		if _, ok := l.parse([]byte(c.text[:len(c.text)-1] + "x")); ok {
			t.Errorf("%s: a letter was taken for a digit", c.layout)
		}
	}
	for _, bad := range []schemas.Layout{"", "DD/MM", "DD/MM/YY", "YYYY-MM-DD-DD", "D/M/YYYY", "YYYY-MM-DD 00"} {
		if _, err := parseLayout(bad); err == nil {
			t.Errorf("%q was taken for a layout", bad)
		}
	}
}

func TestCodeIndexAgreesWithAMap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keys := rapid.SliceOfDistinct(rapid.StringOfN(rapid.RuneFrom([]rune("ab\x00")), 0, 20, -1), rapid.ID).Draw(t, "keys")
		x, want := newCodeIndex(), map[string]int{}
		for i, k := range keys {
			want[k] = i
			if x.insert(k) != i {
				t.Fatal("keys are not numbered in order")
			}
		}
		for _, k := range append(keys, "c", "abababababababababababab") {
			at, ok := want[k]
			if got := x.find([]byte(k)); ok && got != at || !ok && got != -1 {
				t.Fatalf("%q: got %d", k, got)
			}
		}
	})
}

// A failing disk is an error of the file, not of the program.
func TestReadErrorsOfTheDiskAreHandedOn(t *testing.T) {
	broken := errors.New("input/output error")
	r := &reader{schema: texts(1), src: &schemas.Source{}, chunkSize: 1 << 16, workers: 2, patience: patience, memory: childMemory}
	r.makeSpecs()
	err := r.readCSV(context.Background(), io.MultiReader(strings.NewReader("a\n"+strings.Repeat("1\n", longestHeader)), failing{broken}), 100, &binding{shown: "a.csv"})
	var p *schemas.Problem
	if !errors.As(err, &p) || !errors.Is(err, broken) || p.Where != "a.csv" {
		t.Errorf("got %v", err)
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }
