package render

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"deltoid/pipeline/report"
)

// The notebook format 4.5, as its JSON schema describes it. Struct order is file order, so the bytes are always the same.
type (
	notebookFile struct {
		Cells    []any  `json:"cells"`
		Metadata kernel `json:"metadata"`
		Format   int    `json:"nbformat"`
		Minor    int    `json:"nbformat_minor"`
	}
	kernel struct {
		Kernelspec kernelspec `json:"kernelspec"`
		Language   language   `json:"language_info"`
	}
	kernelspec struct {
		DisplayName string `json:"display_name"`
		Language    string `json:"language"`
		Name        string `json:"name"`
	}
	language struct {
		Name string `json:"name"`
	}
	textCell struct {
		Type        string                       `json:"cell_type"`
		ID          string                       `json:"id"`
		Metadata    struct{}                     `json:"metadata"`
		Attachments map[string]map[string]string `json:"attachments,omitempty"`
		Source      []string                     `json:"source"`
	}
	codeCell struct {
		Type     string   `json:"cell_type"`
		Count    int      `json:"execution_count"`
		ID       string   `json:"id"`
		Metadata struct{} `json:"metadata"`
		Outputs  []stream `json:"outputs"`
		Source   []string `json:"source"`
	}
	stream struct {
		Name string   `json:"name"`
		Type string   `json:"output_type"`
		Text []string `json:"text"`
	}
)

// notebook writes the report as a notebook: the words, the figures as pictures inside the text cells, which every viewer
// shows and no run of the code takes away, and one code cell that reads the estimates and prints the main table.
func notebook(b *book) ([]File, error) {
	n := notebookFile{Format: 4, Minor: 5, Metadata: kernel{
		kernelspec{"Python 3", "python", "python3"}, language{"python"}}}
	n.text("opening", b.opening(), nil)
	for i := range b.Sections {
		if err := n.section(b, i); err != nil {
			return nil, err
		}
	}
	if ids := b.mainNumbers(); len(ids) > 0 {
		n.text("numbers", "## The numbers themselves\n\nThe cell below needs nothing but Python. It reads the estimates beside this notebook and prints those of the main table at full precision.", nil)
		n.Cells = append(n.Cells, b.tableCell(ids))
	}
	n.text("closing", b.closing(), nil)
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	if err := e.Encode(n); err != nil {
		return nil, err
	}
	return []File{{"report.ipynb", out.Bytes()}}, nil
}

func (n *notebookFile) text(id, source string, attachments map[string]map[string]string) {
	n.Cells = append(n.Cells, textCell{Type: "markdown", ID: id, Attachments: attachments,
		Source: lines(strings.TrimRight(source, "\n"))})
}

// section adds the cells of a section. Their ids follow from its place, since ids of cells have a narrower alphabet than
// ids of sections.
func (n *notebookFile) section(b *book, i int) error {
	s := &b.Sections[i]
	n.text(fmt.Sprintf("section-%d", i+1), b.sectionHead(s), nil)
	for j := range s.Figures {
		f := &s.Figures[j]
		p, err := draw(b, f, wideWidth)
		if err != nil {
			return err
		}
		png, err := pngPaint(p)
		if err != nil {
			return err
		}
		name := f.ID + ".png"
		n.text(fmt.Sprintf("section-%d-figure-%d", i+1, j+1), b.figureWords(f, "attachment:"+name),
			map[string]map[string]string{name: {"image/png": base64.StdEncoding.EncodeToString(png)}})
	}
	if tail := b.sectionTail(s); tail != "" {
		n.text(fmt.Sprintf("section-%d-rest", i+1), tail, nil)
	}
	return nil
}

// lines cuts a text as the format wants it: each line with its end.
func lines(s string) []string {
	if s == "" {
		return []string{}
	}
	return strings.SplitAfter(s, "\n")
}

// mainNumbers returns the estimates of the main table, in its order: the first table with an interval in it, or else the
// first with a number.
func (b *book) mainNumbers() []string {
	var first []string
	for i := range b.Sections {
		for j := range b.Sections[i].Sheets {
			ids := idsOf(sheetTexts(&b.Sections[i].Sheets[j]))
			if slices.ContainsFunc(ids, func(id string) bool { return b.byID[id].Level.Known }) {
				return ids
			}
			if first == nil {
				first = ids
			}
		}
	}
	return first
}

func idsOf(texts []report.Text) []string {
	var ids []string
	seen := map[string]bool{}
	for _, t := range texts {
		for _, s := range t {
			if s.Estimate != "" && !seen[s.Estimate] {
				seen[s.Estimate] = true
				ids = append(ids, s.Estimate)
			}
		}
	}
	return ids
}

// printed are the columns that the code cell prints.
var printed = []string{"group", "measure", "at", "value", "lower", "upper", "n", "events", "status"}

func (b *book) tableCell(ids []string) codeCell {
	var src strings.Builder
	src.WriteString("import csv\n\nshown = [\n")
	for _, id := range ids {
		src.WriteString("    " + pythonText(plain(id)) + ",\n")
	}
	src.WriteString("]\ncolumns = [\"" + strings.Join(printed, "\", \"") + "\"]\n")
	src.WriteString(tableCode)
	return codeCell{Type: "code", Count: 1, ID: "main-table", Source: lines(src.String()),
		Outputs: []stream{{Name: "stdout", Type: "stream", Text: lines(b.printedTable(ids))}}}
}

// tableCode is plain Python; [book.printedTable] does the same, so that the stored output is what a run gives.
const tableCode = `with open("tables/estimates.csv", encoding="utf-8", newline="") as file:
    rows = {row["id"]: row for row in csv.DictReader(file)}
grid = [columns] + [[rows[name][column] for column in columns] for name in shown]
widths = [max(len(line[i]) for line in grid) for i in range(len(columns))]
for line in grid:
    print("  ".join(text.ljust(width) for text, width in zip(line, widths)).rstrip(" "))`

func (b *book) printedTable(ids []string) string {
	grid := [][]string{printed}
	for _, id := range ids {
		row := estimateRow(b.byID[id])
		line := make([]string, len(printed))
		for i, column := range printed {
			line[i] = csvCell(row[column])
		}
		grid = append(grid, line)
	}
	widths := make([]int, len(printed))
	for _, line := range grid {
		for i, text := range line {
			widths[i] = max(widths[i], utf8.RuneCountInString(text))
		}
	}
	var out strings.Builder
	for _, line := range grid {
		var row strings.Builder
		for i, text := range line {
			if i > 0 {
				row.WriteString("  ")
			}
			row.WriteString(text + strings.Repeat(" ", widths[i]-utf8.RuneCountInString(text)))
		}
		out.WriteString(strings.TrimRight(row.String(), " ") + "\n")
	}
	return out.String()
}

// csvCell is a cell as tables/estimates.csv holds it.
func csvCell(x any) string {
	if o, ok := x.(report.Optional); ok {
		return exact(o)
	}
	text, _ := x.(string)
	text = plain(text)
	if text != "" && strings.ContainsRune("=+-@", rune(text[0])) {
		text = "'" + text
	}
	return text
}

// pythonText writes a text as a Python literal. JSON's strings are Python's, but for letters beyond the basic plane,
// which are left as they are.
func pythonText(s string) string {
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	if err := e.Encode(s); err != nil {
		return `""`
	}
	return strings.TrimRight(out.String(), "\n")
}
