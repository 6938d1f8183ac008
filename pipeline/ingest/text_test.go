package ingest

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/klauspost/compress/zstd"
	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"deltoid/schemas"
)

// packed compresses a text.
func packed[W io.WriteCloser](writer func(io.Writer) W, text string) string {
	var b bytes.Buffer
	w := writer(&b)
	if _, err := io.WriteString(w, text); err != nil {
		panic(err)
	}
	if err := w.Close(); err != nil {
		panic(err)
	}
	return b.String()
}

func zstdWriter(w io.Writer) *zstd.Encoder {
	z, err := zstd.NewWriter(w)
	if err != nil {
		panic(err)
	}
	return z
}

// encoded writes a text in an encoding. The witness is golang.org/x/text.
func encoded(t testing.TB, e encoding.Encoding, text string) string {
	t.Helper()
	s, err := e.NewEncoder().String(text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The same table in every encoding and wrapper is the same table, whatever the size of the chunks.
func TestEncodingsAndCompressionsOfOneTextAreEqual(t *testing.T) {
	text := "patient;side;age;implant;größe;€uro\n" + strings.Repeat("Ä\"1;left;70,5;AB1;ü;–\n\"x;\n€\";right;1,5;;;\n𝄞;;;;;\n", 50)
	text = strings.ReplaceAll(text, "Ä\"1", "Ä1")
	latin := strings.ReplaceAll(text, "𝄞", "Ž")
	src := schemas.Source{Decimal: ',', Extra: []schemas.Field{{Name: "größe", Type: schemas.Text}, {Name: "€uro", Type: schemas.Text}}}
	for _, of := range []struct{ plain, file, encoding, text, note string }{
		{text, "a.csv", "", text, ""},
		{text, "a.csv", "", "\xef\xbb\xbf" + text, ""},
		{text, "a.csv", "utf-8", text, ""},
		{text, "a.txt", "", encoded(t, unicode.UTF16(unicode.LittleEndian, unicode.UseBOM), text), "encoding: UTF-16; "},
		{text, "a.txt", "utf-8", encoded(t, unicode.UTF16(unicode.BigEndian, unicode.UseBOM), text), "encoding: UTF-16; "},
		{latin, "a.csv", "windows-1252", encoded(t, charmap.Windows1252, latin), "encoding: Windows-1252; "},
		{text, "a.csv.gz", "", packed(gzip.NewWriter, text), "compressed: gzip; "},
		{text, "a.CSV.GZ", "", packed(gzip.NewWriter, text[:99]) + packed(gzip.NewWriter, text[99:]), "compressed: gzip; "},
		{text, "a.csv.zst", "", packed(zstdWriter, text), "compressed: zstd; "},
		{text, "a.tsv.zst", "", packed(zstdWriter, encoded(t, unicode.UTF16(unicode.LittleEndian, unicode.UseBOM), text)), "compressed: zstd; encoding: UTF-16; "},
	} {
		want, _ := mustRead(t, few(), export(t, src, [2]string{of.file, of.plain}), 1<<20)
		for _, chunk := range []int{7, 1 << 20} {
			with := src
			with.Encoding = schemas.Encoding(of.encoding)
			got, found := mustRead(t, few(), export(t, with, [2]string{of.file, of.text}), chunk)
			same(t, of.note+" rows", dump(got), dump(want))
			same(t, of.note+" findings", places(found), []string(nil))
			same(t, "note", got.Sources[0].Note, of.note+want.Sources[0].Note)
		}
	}
}

// What is no letter in the declared encoding is found at its place.
func TestNoLetterIsFoundAtItsPlace(t *testing.T) {
	utf16 := "\xff\xfe" + strings.ReplaceAll("p,x\n1,a\n2,\x01\n", "", "\x00")[1:] // a NUL behind every letter
	utf16 = strings.Replace(utf16, "\x01\x00", "\x00\xd8", 1)                      // half a pair
	s := &schemas.Schema{Name: "two", Fields: []schemas.Field{{Name: "p", Type: schemas.Text}, {Name: "x", Type: schemas.Text}}}
	for _, src := range []schemas.Source{
		export(t, schemas.Source{Encoding: schemas.Windows1252}, [2]string{"a.csv", "p,x\n1,a\n2,\x81\n"}),
		export(t, schemas.Source{}, [2]string{"a.csv", utf16}),
		export(t, schemas.Source{}, [2]string{"a.csv", utf16 + "\x0a"}), // a byte too many
	} {
		for _, chunk := range []int{3, 1 << 20} {
			_, found := mustRead(t, s, src, chunk)
			if len(found) == 0 || found[0].Line != 3 || found[0].Column != 2 || found[0].Rule != schemas.RuleBadText {
				t.Errorf("%q", places(found))
			}
		}
	}
}

// The witness for all 256 bytes is golang.org/x/text, which reads five of them as the control letters of the same number;
// the table that it follows has no letter there.
func TestWindows1252AgreesWithALibrary(t *testing.T) {
	for c := range 256 {
		got, _ := fromWindows1252(nil, []byte{byte(c)}, true)
		want := charmap.Windows1252.DecodeByte(byte(c))
		if want >= 0x80 && want < 0xa0 || want == utf8.RuneError {
			same(t, fmt.Sprint(c), got, []byte{noLetter})
		} else {
			same(t, fmt.Sprint(c), string(got), string(want))
		}
	}
}

func TestNamesNobodyAsksForAreStated(t *testing.T) {
	table, found := mustRead(t, few(), export(t, schemas.Source{}, [2]string{"a.csv", "patient,,x,x,\n1,2,3,4,5\n"}), 8)
	same(t, "rows", dump(table), []string{"a.csv:2|1"})
	same(t, "findings", places(found), []string(nil))
	same(t, "note", table.Sources[0].Note, "delimiter: comma; not used: x, x; columns without a name, not used: 2, 5; "+
		"no column for: side, operated, grade, age, implant, follow_up")
}

// A file that changes while it is read is a problem, even when what was read makes sense.
func TestAFileThatChangesWhileItIsReadIsAProblem(t *testing.T) {
	src := export(t, schemas.Source{}, [2]string{"a.csv", header + strings.Repeat("1,left,,,,,\n", 1000)})
	var found schemas.Findings
	changing := func(int64, int64) {
		f, err := os.OpenFile(src.Files[0], os.O_APPEND|os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if _, err := f.WriteString("2,right,,,,,\n"); err != nil {
			t.Fatal(err)
		}
	}
	_, err := Read(context.Background(), few(), src, &found, changing)
	if err == nil || !strings.HasPrefix(err.Error(), "a.csv: the file changed while it was read") {
		t.Errorf("%v", err)
	}
}
