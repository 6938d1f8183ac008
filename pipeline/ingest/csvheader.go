package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"deltoid/schemas"
)

// longestHeader is how much of a file may come before its first row.
const longestHeader = 1 << 20

// delimiters are those that are looked for when none is declared.
const delimiters = ",;\t"

// openCSV reads the header of a text file and binds its columns. The reader it returns goes on after the header.
func openCSV(r io.Reader, b *binding, specs []*spec, src *schemas.Source) (io.Reader, error) {
	head := make([]byte, longestHeader)
	n, err := io.ReadFull(r, head)
	whole := errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF)
	if err != nil && !whole {
		return nil, b.unreadable(err)
	}
	text := head[:n]
	if p := b.checkText(text); p != nil {
		return nil, p
	}
	start := b.skipBlank(text)
	if start == len(text) {
		return nil, b.problem("the file is empty", "a header line with the names of the columns",
			"export the table again; a table without rows still has its header")
	}
	length, p := b.readHeader(text[start:], whole, specs, src)
	if p != nil {
		return nil, p
	}
	if ps := bind(b, specs); len(ps) > 0 {
		return nil, ps
	}
	return io.MultiReader(bytes.NewReader(text[start+length:]), r), nil
}

// checkText refuses what is no text, or has lines that cannot be told apart.
func (b *binding) checkText(head []byte) *schemas.Problem {
	line, _, _ := bytes.Cut(head, newline)
	switch {
	case bytes.HasPrefix(head, []byte("PAR1")):
		return b.problem("the file is a Parquet file", "a text file", "declare its format, or give it the ending .parquet")
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		return b.problem("the file is a workbook or another archive", "a text file", "declare its format, or give it the ending .xlsx")
	case bytes.IndexByte(line, 0) >= 0:
		return b.problem("the header holds bytes that are no text", "a text file in UTF-8", "export the table as CSV or Parquet")
	case bytes.IndexByte(bytes.TrimSuffix(line, []byte("\r")), '\r') >= 0:
		return b.problem("lines end with a carriage return alone", "a line feed, with or without a carriage return before it",
			"save the file again with ordinary line ends")
	}
	return nil
}

// skipBlank returns the place of the first line that holds anything, and counts the lines before it.
func (b *binding) skipBlank(text []byte) int {
	at := 0
	for {
		line, _, more := bytes.Cut(text[at:], newline)
		if len(bytes.TrimSpace(line)) > 0 {
			return at
		}
		if !more {
			return len(text)
		}
		at += len(line) + 1
		b.first++
	}
}

// readHeader settles the delimiter, cuts the header line and returns its length.
func (b *binding) readHeader(text []byte, whole bool, specs []*spec, src *schemas.Source) (int, *schemas.Problem) {
	candidates := delimiters
	if src.Delimiter != 0 {
		candidates = string(src.Delimiter)
		if !validDelimiter(src.Delimiter) {
			return 0, planProblem(src, fmt.Sprintf("the delimiter is declared as %q", src.Delimiter),
				"a comma, a semicolon, a tab or another mark", "declare the mark that stands between the cells")
		}
	}
	var found []headerLine
	for i := range len(candidates) {
		if h, ok := cutHeader(text, candidates[i], whole); ok {
			h.score(specs)
			found = append(found, h)
		}
	}
	if len(found) == 0 {
		return 0, b.problem("the header line has no end", fmt.Sprintf("a header of at most %d bytes, every quote closed", longestHeader),
			"close the quote, or export the table again")
	}
	best, sure := choose(found)
	if !sure {
		return 0, b.problem("the delimiter cannot be told from the header line", "comma, semicolon, tab",
			"declare the delimiter in the study plan")
	}
	if !utf8.ValidString(strings.Join(best.names, "")) {
		return 0, b.problem("the header line holds letters that are not written in "+strings.ToUpper(string(b.encoding)), "UTF-8, or an encoding that is declared",
			`save the file again as "CSV UTF-8", or declare "encoding: windows-1252" if that is what it is`)
	}
	b.header, b.delim = best.names, best.delim
	b.first += best.lines
	b.notes = append(b.notes, "delimiter: "+delimiterName(best.delim))
	return best.length, nil
}

func validDelimiter(r rune) bool {
	return r == '\t' || r > ' ' && r < utf8.RuneSelf-1 && !strings.ContainsRune("\"'.+-_", r) &&
		!(r >= '0' && r <= '9') && !(r|' ' >= 'a' && r|' ' <= 'z')
}

func delimiterName(d byte) string {
	switch d {
	case ',':
		return "comma"
	case ';':
		return "semicolon"
	case '\t':
		return "tab"
	}
	return string(rune(d))
}

// headerLine is the header as one delimiter cuts it.
type headerLine struct {
	names  []string
	delim  byte
	length int // bytes with the line end
	lines  int
	wanted int // names that a field asks for
}

// cutHeader cuts the first record of a text; false when it has no end.
func cutHeader(text []byte, delim byte, whole bool) (headerLine, bool) {
	buf := append(make([]byte, 0, len(text)+1+padding), text...)
	if whole && text[len(text)-1] != '\n' {
		buf = append(buf, '\n')
	}
	var t tracker
	t.advance(buf, delim, whole)
	if t.end == 0 {
		return headerLine{}, false
	}
	s := newScanner(buf, delim, 0, 0)
	cells := make([]cell, s.record(nil))
	s.pos, s.line = 0, 0
	s.record(cells)
	h := headerLine{delim: delim, length: min(s.pos, len(text)), lines: int(s.line) + 1, names: make([]string, len(cells))}
	for i, c := range cells {
		name := string(buf[c.start : c.end&place])
		if c.end&doubled != 0 {
			name = strings.ReplaceAll(name, `""`, `"`)
		}
		h.names[i] = name
	}
	return h, true
}

func (h *headerLine) score(specs []*spec) {
	for _, sp := range specs {
		for _, name := range h.names {
			if name == sp.header {
				h.wanted++
				break
			}
		}
	}
}

// choose takes the delimiter that yields most of the wanted names, then the one that yields most columns. It is sure
// unless two delimiters are equal in both and cut the line at all.
func choose(found []headerLine) (headerLine, bool) {
	best, sure := found[0], true
	for _, h := range found[1:] {
		switch {
		case h.wanted > best.wanted || h.wanted == best.wanted && len(h.names) > len(best.names):
			best, sure = h, true
		case h.wanted == best.wanted && len(h.names) == len(best.names) && len(h.names) > 1:
			sure = false
		}
	}
	return best, sure
}

func (b *binding) unreadable(err error) *schemas.Problem {
	return &schemas.Problem{Kind: schemas.ExportProblem, Where: b.shown, What: "the file cannot be read: " + cause(err),
		Remedy: "see that the file is complete and that you may read it", Cause: err}
}
