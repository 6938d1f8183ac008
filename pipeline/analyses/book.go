package analyses

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"deltoid/pipeline/report"
)

// book collects the estimates of one document. Every number goes through it, so that none is without an identity.
type book struct {
	doc   *report.Document
	seen  map[string]int         // id → position in doc.Estimates
	short map[string]report.Text // id of a section → its answer in one short sentence, for the top of the report
}

func newBook(doc *report.Document) *book {
	return &book{doc: doc, seen: map[string]int{}, short: map[string]report.Text{}}
}

// add records an estimate and returns its id. Two estimates with one id are a fault of the program.
func (b *book) add(e report.Estimate) string {
	if _, twice := b.seen[e.ID]; twice {
		panic("analyses: two estimates have the id " + e.ID)
	}
	b.seen[e.ID] = len(b.doc.Estimates)
	b.doc.Estimates = append(b.doc.Estimates, e)
	return e.ID
}

// get returns a recorded estimate.
func (b *book) get(id string) report.Estimate { return b.doc.Estimates[b.seen[id]] }

// total states that counts add up.
func (b *book) total(whole string, parts ...string) {
	b.doc.Totals = append(b.doc.Totals, report.Total{Whole: whole, Parts: parts})
}

// shown is a part of an estimate, for say.
type shown struct {
	id   string
	show report.Show
}

func value(id string) shown        { return shown{id, report.ShowValue} }
func withInterval(id string) shown { return shown{id, report.ShowWithInterval} }

// say makes a text of words (strings) and numbers (shown).
func say(parts ...any) report.Text {
	var t report.Text
	for _, p := range parts {
		switch p := p.(type) {
		case string:
			t = append(t, report.Span{Words: p})
		case shown:
			t = append(t, report.Span{Estimate: p.id, Show: p.show})
		case report.Text:
			t = append(t, p...)
		default:
			panic(fmt.Sprintf("analyses: %T in a text", p))
		}
	}
	return t
}

// slug makes a part of an id from a label: lower-case ASCII letters, digits and hyphens. It may be empty, and two
// labels may have the same; see slugs.
func slug(label string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(label) {
		switch {
		case r < unicode.MaxASCII && (unicode.IsLetter(r) || unicode.IsDigit(r)):
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return strings.TrimSuffix(b.String(), "-")
}

// slugs gives every label its own part of an id, whatever the labels are.
func slugs(labels []string) []string {
	taken := map[string]bool{}
	out := make([]string, len(labels))
	for i, l := range labels {
		s := slug(l)
		if s == "" {
			s = "group"
		}
		for n, try := 2, s; ; n++ {
			if !taken[try] {
				s = try
				break
			}
			try = s + "-" + strconv.Itoa(n)
		}
		taken[s] = true
		out[i] = s
	}
	return out
}

// plain writes a number for an id or a label: no trailing zeros.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// join makes a list for a sentence: "a", "a and b", "a, b and c".
func join(items []report.Text) report.Text {
	var t report.Text
	for i, item := range items {
		switch {
		case i == 0:
		case i == len(items)-1:
			t = append(t, report.Span{Words: " and "})
		default:
			t = append(t, report.Span{Words: ", "})
		}
		t = append(t, item...)
	}
	return t
}
