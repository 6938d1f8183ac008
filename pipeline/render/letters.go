package render

import (
	"slices"
	"strings"
	"sync"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	stdfont "golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/bidi"
	"gonum.org/v1/plot/font"
)

// letters is a typeface in its two weights. It has the widths of the sans faces that page readers have, so what fits in
// the layout fits on the screen.
type letters struct{ regular, bold *opentype.Font }

var sans = sync.OnceValues(func() (letters, error) {
	regular, err := opentype.Parse(liberationsansregular.TTF)
	if err != nil {
		return letters{}, err
	}
	bold, err := opentype.Parse(liberationsansbold.TTF)
	return letters{regular, bold}, err
})

func (l letters) face(size float64, bold bool) font.Face {
	f := font.Face{Font: font.Font{Typeface: "Sans", Size: font.Points(size)}, Face: l.regular}
	if bold {
		f.Font.Weight, f.Face = stdfont.WeightBold, l.bold
	}
	return f
}

// width returns the width of a text in points.
func (l letters) width(text string, size float64, bold bool) float64 {
	face := l.face(size, bold)
	return face.Width(text).Points()
}

// word is an unbreakable part of a text, and the estimate it shows a part of.
type word struct {
	text, id, trace string
	alone           bool // a number that its unit may still join
}

// split cuts pieces into words. Words that touch without a space stay together and take the first id. A number keeps the
// word after it, so that no line begins with the unit of the number above.
func split(pieces []piece) []word {
	var out []word
	open := false // the last word may still grow
	for _, p := range pieces {
		for i, part := range strings.Split(p.Text, " ") {
			if i > 0 {
				open = false
			}
			if part == "" {
				continue
			}
			switch last := len(out) - 1; {
			case open:
				out[last] = out[last].with(part, p)
			case last >= 0 && out[last].alone && p.ID == "":
				out[last] = out[last].with(" "+part, p)
			default:
				out = append(out, word{part, p.ID, p.Trace, p.ID != ""})
			}
			open = true
		}
	}
	return out
}

func (w word) with(more string, p piece) word {
	w.text += more
	w.alone = false
	if w.id == "" {
		w.id, w.trace = p.ID, p.Trace
	}
	return w
}

// wrap breaks words into lines no wider than room. A single word that is wider is cut into pieces that fit.
func (l letters) wrap(words []word, room, size float64, bold bool) []label {
	var lines []label
	var line label
	for len(words) > 0 {
		w := words[0]
		text := w.text
		if line.text != "" {
			text = line.text + " " + w.text
		}
		switch {
		case l.width(text, size, bold) <= room:
			line.text = text
			line.note(w)
			words = words[1:]
		case line.text != "":
			lines = append(lines, line)
			line = label{}
		default:
			head, tail := l.cut(w.text, room, size, bold)
			line.text = head
			line.note(w)
			words[0].text = tail
			if tail == "" {
				words = words[1:]
			}
		}
	}
	if line.text != "" {
		lines = append(lines, line)
	}
	for i := range lines {
		lines[i].size, lines[i].bold, lines[i].colour = size, bold, ink
	}
	return lines
}

// note adds the estimate of a word to the line that shows it.
func (line *label) note(w word) {
	if w.id == "" || len(line.ids) > 0 && line.ids[len(line.ids)-1] == w.id {
		return
	}
	line.ids = append(line.ids, w.id)
	if line.trace != "" {
		line.trace += " | "
	}
	line.trace += w.trace
}

// cut takes the longest beginning of a text that fits, at least one letter.
func (l letters) cut(text string, room, size float64, bold bool) (head, tail string) {
	for i := range text {
		if head != "" && l.width(text[:i], size, bold) > room {
			return head, text[len(head):]
		}
		head = text[:i]
	}
	if head == "" || l.width(text, size, bold) <= room {
		return text, ""
	}
	return head, text[len(head):]
}

// printable makes a text ready for a painter that places letters one after another from the font at hand: in the order
// in which they are seen, and with a question mark for a letter that the font lacks.
func (l letters) printable(text string) string {
	var buf sfnt.Buffer
	return strings.Map(func(r rune) rune {
		if i, err := l.regular.GlyphIndex(&buf, r); err != nil || i == 0 {
			return '?'
		}
		return r
	}, inOrderSeen(text))
}

// inOrderSeen returns a text in the order in which its letters are seen from left to right, for painters that place
// letters one after another. It applies the Unicode Bidirectional Algorithm with a left-to-right paragraph.
func inOrderSeen(text string) string {
	var p bidi.Paragraph
	if _, err := p.SetString(text, bidi.DefaultDirection(bidi.LeftToRight)); err != nil {
		return text
	}
	order, err := p.Order()
	if err != nil || order.NumRuns() == 0 {
		return text
	}
	var seen []string
	from := 0 // where the present stretch of right-to-left text begins
	for i := range order.NumRuns() {
		run := order.Run(i)
		text := run.String()
		switch {
		case run.Direction() == bidi.RightToLeft:
			seen = slices.Insert(seen, from, bidi.ReverseString(text))
		case len(seen) > from && !strings.ContainsFunc(text, unicode.IsLetter):
			seen = slices.Insert(seen, from, text) // a number within such a stretch
		default:
			seen = append(seen, text)
			from = len(seen)
		}
	}
	return strings.Join(seen, "")
}
