package schemas

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Summary is what was found, in few enough lines for a screen: for every table and rule how often it was broken, three
// examples and the remedy. Identifiers are masked. Rules that set rows aside come first, then rows that could not be
// linked, then warnings, each by frequency. The one at the top is the one to mend first: one cause, such as an undeclared
// layout, often stands behind all of it.
type Summary struct {
	Counts []Count
	Total  int
}

var urgency = map[Severity]int{SetsAside: 0, Unlinks: 1, Warns: 2}

// Summary counts the findings so far.
func (fs *Findings) Summary() Summary {
	s := Summary{Counts: fs.Counts()}
	slices.SortStableFunc(s.Counts, func(a, b Count) int {
		return cmp.Compare(urgency[a.Rule.Severity], urgency[b.Rule.Severity])
	})
	for _, c := range s.Counts {
		s.Total += c.N
	}
	return s
}

// String returns the summary as plain text, empty when there are no findings.
func (s Summary) String() string {
	if s.Total == 0 {
		return ""
	}
	var b strings.Builder
	first := s.Counts[0]
	fmt.Fprintf(&b, "%s in the exports. Mend first: %s in %s (%s).\n", findings(s.Total), first.Rule.ID, first.Table,
		thousands(first.N))
	for _, c := range s.Counts {
		c.write(&b)
	}
	return b.String()
}

// writeValues lists what was found in place of a code, so that one look is enough to write the recodes.
func (c *Count) writeValues(b *strings.Builder) {
	if len(c.Values) > 0 {
		b.WriteString("  Values found:\n")
	}
	for _, v := range c.Values {
		fmt.Fprintf(b, "    %s %s: %s\n", v.Field, strconv.Quote(shorten(v.Value)), times(v.N))
	}
	switch rest := c.Distinct - len(c.Values); {
	case c.Distinct == manyValues:
		b.WriteString("    and many more values\n")
	case rest > 0:
		fmt.Fprintf(b, "    and %s more values\n", thousands(rest))
	}
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return thousands(n) + " times"
}

func (c *Count) write(b *strings.Builder) {
	fmt.Fprintf(b, "\n%s, %s: %s (%s)\n  %s\n", c.Table, c.Rule.ID, findings(c.N),
		effects[c.Rule.Severity], c.Rule.Sentence)
	for i := range c.First {
		fmt.Fprintf(b, "    %s\n", c.First[i].line())
	}
	if rest := c.N - len(c.First); rest > 0 {
		fmt.Fprintf(b, "    and %s more\n", thousands(rest))
	}
	if c.N > len(c.First) {
		c.writeValues(b)
	}
	fmt.Fprintf(b, "  To mend it: %s\n", c.Rule.Remedy)
}

// line is a finding on one line: place, column, value, what is allowed.
func (f *Finding) line() string {
	line := f.File
	for _, n := range []int{f.Line, f.Column} {
		if n > 0 {
			line += ":" + strconv.Itoa(n)
		}
	}
	if f.Field != "" {
		line += " " + f.Field
		if f.Header != "" && f.Header != f.Field {
			line += " (column " + strconv.Quote(shorten(f.Header)) + ")"
		}
	}
	switch value := f.Shown(); {
	case f.Masked && value != "":
		line += " " + value
	case value != "":
		line += " " + strconv.Quote(shorten(value))
	}
	if f.Detail != "" {
		line += "; " + f.Detail
	}
	return line
}

// shorten keeps a text short enough for a line. Nothing is lost: the private file has all of it.
func shorten(text string) string {
	const most = 60
	if r := []rune(text); len(r) > most {
		return string(r[:most]) + "…"
	}
	return text
}

func findings(n int) string {
	if n == 1 {
		return "1 finding"
	}
	return thousands(n) + " findings"
}

// thousands writes a count with a comma between thousands.
func thousands(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
