package render

import (
	"fmt"
	"strings"

	"deltoid/pipeline/report"
)

// inventedWords go with the heading "Invented data." above a report that is not about real people.
const inventedWords = "Every patient, hospital and implant in this report is made up. Nothing here says anything about real care."

// tracingWords say where the numbers are; the page says the same with what only a page has.
const tracingWords = "Every number in this report is one row of [tables/estimates.csv](tables/estimates.csv), at full precision, with its method and the number of shoulders and events it rests on. [tables/estimates.parquet](tables/estimates.parquet) holds the same rows."

// cautionWords stand at the end of a report whose author gave no cautions of their own.
const cautionWords = "This report sums up a cohort for research and audit. It is not advice for one patient."

// words writes the report as Markdown, with tables as GitHub reads them and figures as links.
func words(b *book) ([]File, error) {
	parts := []string{b.opening()}
	for i := range b.Sections {
		s := &b.Sections[i]
		parts = append(parts, b.sectionHead(s))
		for j := range s.Figures {
			f := &s.Figures[j]
			parts = append(parts, b.figureWords(f, "figures/"+f.ID+".svg"))
		}
		parts = append(parts, b.sectionTail(s))
	}
	parts = append(parts, b.closing())
	return []File{{"report.md", []byte(strings.Join(parts, ""))}}, nil
}

// prose collects paragraphs of Markdown.
type prose struct{ strings.Builder }

func (p *prose) para(text string) {
	if text != "" {
		p.WriteString(text + "\n\n")
	}
}

func (p *prose) list(items []string) {
	for _, item := range items {
		p.WriteString("- " + item + "\n")
	}
	if len(items) > 0 {
		p.WriteString("\n")
	}
}

func (b *book) opening() string {
	var p prose
	if b.Invented {
		p.para("> **Invented data.** " + inventedWords)
	}
	p.para("# " + escape(b.Title))
	p.para(escape(b.About))
	var facts []string
	for _, f := range []struct{ label, text string }{{"Study: ", b.Study}, {"Followed up to ", b.DataCut},
		{"Made by deltoid ", b.Version}} {
		if f.text != "" {
			facts = append(facts, f.label+escape(f.text))
		}
	}
	p.para(strings.Join(facts, " · "))
	if len(b.Lead) > 0 {
		p.para("## In short")
		p.list(b.allWords(b.Lead))
	}
	return p.String()
}

// sectionHead is what stands above the figures of a section.
func (b *book) sectionHead(s *report.Section) string {
	var p prose
	p.para("## " + escape(s.Heading))
	if s.Question != "" {
		p.para("*" + escape(strings.TrimSpace(s.Question)) + "*")
	}
	for _, t := range b.allWords(s.Answer) {
		p.para(t)
	}
	return p.String()
}

func (b *book) figureWords(f *report.Figure, link string) string {
	var p prose
	p.para("**" + escape(strings.TrimSpace(f.Title)) + "**")
	p.para(fmt.Sprintf("![%s](%s)", escape(f.Alt), link))
	p.list(b.allWords(f.Notes))
	return p.String()
}

// sectionTail is what stands below the figures of a section.
func (b *book) sectionTail(s *report.Section) string {
	var p prose
	for i := range s.Sheets {
		b.sheetWords(&p, &s.Sheets[i])
	}
	if len(s.Method) > 0 {
		p.para("### Method")
		for _, t := range b.allWords(s.Method) {
			p.para(t)
		}
	}
	if len(s.Notes) > 0 {
		p.para("### Notes")
		p.list(b.allWords(s.Notes))
	}
	return p.String()
}

func (b *book) sheetWords(p *prose, s *report.Sheet) {
	p.para("**" + escape(strings.TrimSpace(s.Title)) + "**")
	if len(s.Columns) > 0 {
		b.gridWords(p, s)
	}
	notes := b.allWords(s.Notes)
	for _, w := range b.withheld(sheetTexts(s)) {
		notes = append(notes, escape(w))
	}
	p.list(notes)
}

func (b *book) gridWords(p *prose, s *report.Sheet) {
	rule := make([]string, len(s.Columns))
	head := make([]string, len(s.Columns))
	for i, c := range s.Columns {
		head[i], rule[i] = escape(c), "---:"
		if i == 0 || wordsOnly(s, i-1) {
			rule[i] = ":---"
		}
	}
	p.WriteString(gridLine(head) + gridLine(rule))
	for _, r := range s.Rows {
		cells := make([]string, len(s.Columns))
		cells[0] = strings.Repeat("&emsp;", max(r.Indent, 0)) + strengthen(escape(strings.TrimSpace(r.Label)), r.Strong)
		for i, c := range r.Cells {
			cells[i+1] = escape(b.joined(report.Text(c)))
		}
		p.WriteString(gridLine(cells))
	}
	p.WriteString("\n")
}

func gridLine(cells []string) string { return "| " + strings.Join(cells, " | ") + " |\n" }

func strengthen(text string, strong bool) string {
	if strong && text != "" {
		return "**" + text + "**"
	}
	return text
}

func (b *book) closing() string {
	var p prose
	p.para("## How each number can be traced")
	p.para(tracingWords)
	p.para("## Before you use this report")
	var cautions []string
	for _, c := range b.cautions() {
		cautions = append(cautions, escape(c))
	}
	p.list(cautions)
	return strings.TrimRight(p.String(), "\n") + "\n"
}

func (b *book) allWords(texts []report.Text) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = escape(b.joined(t))
	}
	return out
}

// escape makes Markdown show a text as it is. What HTML, a table or a formula would read stands as an entity, since
// viewers differ in which backslashes they honour there; the rest of the marks of CommonMark get a backslash.
func escape(s string) string {
	var out strings.Builder
	for i, r := range plain(s) {
		switch {
		case strings.ContainsRune("<>&|$", r):
			fmt.Fprintf(&out, "&#%d;", r)
		case strings.ContainsRune("\\`*_[]#~!", r), i == 0 && strings.ContainsRune("-+=:", r):
			out.WriteString("\\" + string(r))
		default:
			out.WriteRune(r)
		}
	}
	return numbered(out.String())
}

// numbered keeps a text that begins like "1." or "1)" from becoming a list.
func numbered(s string) string {
	digits := len(s) - len(strings.TrimLeft(s, "0123456789"))
	if digits > 0 && digits < len(s) && (s[digits] == '.' || s[digits] == ')') {
		return s[:digits] + "\\" + s[digits:]
	}
	return s
}
