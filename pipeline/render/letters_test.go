package render

import (
	"bytes"
	"image/png"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Wrapped lines fit, and together they hold every letter and every estimate.
func TestWrapFitsAndLosesNothing(t *testing.T) {
	l := mustSans(t)
	rapid.Check(t, func(t *rapid.T) {
		text := plain(rapid.StringOf(rapid.RuneFrom([]rune("ab Wi—é ש"))).Draw(t, "text"))
		room := rapid.Float64Range(12, 200).Draw(t, "room")
		lines := l.wrap(split([]piece{{Text: text}, {Text: "1,234", ID: "n"}, {Text: " shoulders"}}), room, 9, false)
		var all strings.Builder
		named := false
		for _, line := range lines {
			if w := l.width(line.text, 9, false); w > room {
				t.Fatalf("%q is %.1f wide, room %.1f", line.text, w, room)
			}
			all.WriteString(line.text)
			named = named || len(line.ids) == 1 && line.ids[0] == "n"
		}
		bare := func(s string) string { return strings.ReplaceAll(s, " ", "") }
		if got, want := bare(all.String()), bare(text+"1,234 shoulders"); got != want {
			t.Fatalf("%q became %q", want, got)
		}
		if !named {
			t.Fatal("the estimate is lost")
		}
	})
}

// A number and the word after it stay on one line when they fit.
func TestNumberKeepsItsUnit(t *testing.T) {
	lines := mustSans(t).wrap(split([]piece{{Text: "another indication: "}, {Text: "306", ID: "n"}, {Text: " shoulders"}}), 100, 9, false)
	if len(lines) != 2 || lines[1].text != "306 shoulders" {
		t.Errorf("lines %+v", lines)
	}
}

// Hebrew is read from the right; digits within it from the left (examples in the manner of UAX #9, section 3.4, by hand).
func TestInOrderSeen(t *testing.T) {
	for in, want := range map[string]string{"abc": "abc", "אבג": "גבא", "a אב b": "a בא b", "אב 12": "12 בא", "": ""} {
		if got := inOrderSeen(in); got != want {
			t.Errorf("inOrderSeen(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestPrintableLetters(t *testing.T) {
	if got := mustSans(t).printable("Größe ≥ 3 股"); got != "Größe ≥ 3 ?" {
		t.Errorf("printable = %q", got)
	}
}

func TestPlain(t *testing.T) {
	for in, want := range map[string]string{"a\nb\tc": "a b c", "a\x00\x1bb": "ab", "a\u202eb": "ab", "\xff": "\ufffd",
		"é 股 🦴 עב": "é 股 🦴 עב"} {
		if got := plain(in); got != want {
			t.Errorf("plain(%q) = %q, want %q", in, got, want)
		}
	}
}

// The picture in a notebook has the drawing's shape, a white ground, and the colour of every curve.
func TestPNG(t *testing.T) {
	b := mustOpen(t, sample(threeGroups, 50))
	p, err := draw(b, &b.Sections[1].Figures[0], wideWidth)
	if err != nil {
		t.Fatal(err)
	}
	data, err := pngPaint(p)
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	size := img.Bounds().Size()
	if want := int(p.width * pngDots / 72); size.X < want-1 || size.X > want+1 {
		t.Errorf("%d dots wide, want %d", size.X, want)
	}
	found := map[colour]bool{}
	for y := range size.Y {
		for x := range size.X {
			r, g, b, _ := img.At(x, y).RGBA()
			found[colour{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8)}] = true
		}
	}
	for _, c := range append([]colour{paper}, groupColours[:3]...) {
		if !found[c] {
			t.Errorf("no dot of colour %s", c.hex())
		}
	}
}

// A PDF carries its title, the date that stands for none, and no other.
func TestPDF(t *testing.T) {
	b := mustOpen(t, sample(threeGroups, 5))
	p, err := draw(b, &b.Sections[1].Figures[0], wideWidth)
	if err != nil {
		t.Fatal(err)
	}
	data, err := pdfPaint(p, caption{"Title", "words"})
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(data, []byte("%PDF-1.")) || !bytes.Contains(data, []byte("%%EOF")) {
		t.Error("not a PDF")
	}
	if n := bytes.Count(data, []byte("(D:")); n != bytes.Count(data, []byte("(D:20000101000000")) || n != 2 {
		t.Errorf("%d dates, not all of them fixed", n)
	}
}
