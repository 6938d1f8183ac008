package render

import (
	"bytes"
	_ "embed"
	"html/template"
	"slices"

	"deltoid/pipeline/report"
)

//go:embed page.html.tmpl
var pageSource string

//go:embed page.css
var pageStyle string

var pageTemplate = template.Must(template.New("page").Parse(pageSource))

// The page's view of a document: everything ready to print, nothing to look up.
type (
	pageView struct {
		Study, Title, About, DataCut, Version string
		Invented                              bool
		Style                                 template.CSS
		Lead                                  [][]piece
		Sections                              []sectionView
		InventedWords                         string
		Cautions                              []string
	}
	sectionView struct {
		ID, Heading, Question string
		Answer, Notes, Method [][]piece
		Figures               []figureView
		Sheets                []sheetView
	}
	figureView struct {
		ID, Title    string
		Wide, Narrow template.HTML
		Notes        [][]piece
	}
	sheetView struct {
		ID, Title string
		Columns   []columnView
		Rows      []rowView
		Notes     [][]piece
		Withheld  []string
	}
	columnView struct {
		Header string
		Words  bool // no cell below holds a number
	}
	rowView struct {
		Label  string
		Indent int
		Strong bool
		Span   int // columns that a heading over the rows below runs across; 0 for a row with cells
		Cells  []cellView
	}
	cellView struct {
		Words bool
		Text  []piece
	}
)

// page writes the report as one HTML file that needs nothing else: styles and drawings are inside, and no script runs.
func page(b *book) ([]File, error) {
	view := pageView{Study: plain(b.Study), Title: plain(b.Title), About: plain(b.About), DataCut: plain(b.DataCut),
		Version: plain(b.Version), Invented: b.Invented, Style: template.CSS(pageStyle), Lead: b.allPieces(b.Lead),
		InventedWords: inventedWords}
	for _, c := range b.cautions() {
		view.Cautions = append(view.Cautions, plain(c))
	}
	for i := range b.Sections {
		s, err := b.sectionView(&b.Sections[i])
		if err != nil {
			return nil, err
		}
		view.Sections = append(view.Sections, s)
	}
	var out bytes.Buffer
	if err := pageTemplate.Execute(&out, view); err != nil {
		return nil, err
	}
	return []File{{"report.html", out.Bytes()}}, nil
}

// cautions are what every report ends with.
func (b *book) cautions() []string {
	if len(b.Cautions) == 0 {
		return []string{cautionWords}
	}
	return b.Cautions
}

func (b *book) allPieces(texts []report.Text) [][]piece {
	out := make([][]piece, len(texts))
	for i, t := range texts {
		out[i] = b.pieces(t)
	}
	return out
}

func (b *book) sectionView(s *report.Section) (sectionView, error) {
	v := sectionView{ID: s.ID, Heading: plain(s.Heading), Question: plain(s.Question), Answer: b.allPieces(s.Answer),
		Notes: b.allPieces(s.Notes), Method: b.allPieces(s.Method)}
	for i := range s.Figures {
		f, err := b.figureView(&s.Figures[i])
		if err != nil {
			return v, err
		}
		v.Figures = append(v.Figures, f)
	}
	for i := range s.Sheets {
		v.Sheets = append(v.Sheets, b.sheetView(&s.Sheets[i]))
	}
	return v, nil
}

// figureView draws a figure twice: for a page and for a phone. The style sheet shows the one whose type can be read.
func (b *book) figureView(f *report.Figure) (figureView, error) {
	v := figureView{ID: f.ID, Title: plain(f.Title), Notes: b.allPieces(f.Notes)}
	wide, err := draw(b, f, wideWidth)
	if err != nil {
		return v, err
	}
	narrow, err := draw(b, f, narrowWidth)
	if err != nil {
		return v, err
	}
	v.Wide = template.HTML(svgPaint(wide, captionOf(f), "figure-"+f.ID+"-wide", false))
	v.Narrow = template.HTML(svgPaint(narrow, captionOf(f), "figure-"+f.ID+"-narrow", false))
	return v, nil
}

// deepest is the indent of rows that the style sheet knows.
const deepest = 3

func (b *book) sheetView(s *report.Sheet) sheetView {
	v := sheetView{ID: s.ID, Title: plain(s.Title), Notes: b.allPieces(s.Notes), Withheld: b.withheld(sheetTexts(s))}
	for i, c := range s.Columns {
		v.Columns = append(v.Columns, columnView{plain(c), i > 0 && wordsOnly(s, i-1)})
	}
	for _, r := range s.Rows {
		v.Rows = append(v.Rows, b.rowView(r, v.Columns))
	}
	return v
}

func (b *book) rowView(r report.SheetRow, columns []columnView) rowView {
	row := rowView{Label: plain(r.Label), Indent: min(max(r.Indent, 0), deepest), Strong: r.Strong}
	if r.Strong && !slices.ContainsFunc(r.Cells, func(c report.Cell) bool { return len(b.pieces(report.Text(c))) > 0 }) {
		row.Span = len(columns)
		return row
	}
	for i := 1; i < len(columns); i++ {
		cell := cellView{Words: columns[i].Words}
		if i <= len(r.Cells) {
			cell.Text = b.pieces(report.Text(r.Cells[i-1]))
		}
		row.Cells = append(row.Cells, cell)
	}
	return row
}

// wordsOnly reports whether a column of cells holds words and no number, or whole sentences with numbers in them.
func wordsOnly(s *report.Sheet, column int) bool {
	some, numbers := false, false
	for _, r := range s.Rows {
		if column >= len(r.Cells) {
			continue
		}
		letters := 0
		for _, span := range r.Cells[column] {
			numbers = numbers || span.Estimate != ""
			some = some || span.Words != ""
			letters += len(span.Words)
		}
		if letters > aSentence {
			return true
		}
	}
	return some && !numbers
}

// aSentence is the number of letters from which the words of a cell are read from left to right whatever numbers they hold.
const aSentence = 40
