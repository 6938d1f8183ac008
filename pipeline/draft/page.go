package draft

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// page is a plan in the making. Lines that wait for a decision begin with the mark.
type page struct{ strings.Builder }

// mark begins a line that waits for a decision; the line counts once the mark is taken away.
const mark = "#? "

func (p *page) line(depth int, format string, args ...any) {
	fmt.Fprintf(p, "%s%s\n", strings.Repeat("  ", depth), fmt.Sprintf(format, args...))
}

// wait writes a line that waits for a decision.
func (p *page) wait(depth int, format string, args ...any) {
	p.line(depth, mark+format, args...)
}

// say writes comments.
func (p *page) say(depth int, format string, args ...any) {
	for _, line := range strings.Split(fmt.Sprintf(format, args...), "\n") {
		p.line(depth, "%s", strings.TrimRight("# "+harmless(line), " "))
	}
}

// harmless takes line ends and other unprintable letters out of a text for a comment.
func harmless(s string) string {
	return strings.Map(func(r rune) rune {
		if !strconv.IsPrint(r) {
			return '?'
		}
		return r
	}, s)
}

var plainScalar = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_./-]*( [A-Za-z0-9_./-]+)*$`)

// quote writes a text so that YAML reads it as it stands.
func quote(s string) string {
	switch strings.ToLower(s) {
	case "true", "false", "yes", "no", "on", "off", "null", "y", "n":
		return strconv.Quote(s)
	}
	if plainScalar.MatchString(s) {
		return s
	}
	return strconv.Quote(s)
}

func quoted(list []string) string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = strconv.Quote(s)
	}
	return strings.Join(out, ", ")
}

var slugForm = regexp.MustCompile(`[^A-Za-z0-9]+`)

// group writes a key with entries, each live or waiting. The key itself waits when all entries do.
func (p *page) group(depth int, key string, live []string, waiting []string) {
	switch {
	case len(live) > 0:
		p.line(depth, "%s", key)
	case len(waiting) > 0:
		p.line(depth, mark+"%s", key)
	}
	for _, l := range live {
		p.line(depth+1, "%s", l)
	}
	for _, w := range waiting {
		p.wait(depth+1, "%s", w)
	}
}
