package render

import (
	"bytes"
	"fmt"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
)

// noDate stands where a PDF wants the moment it was made: a report's bytes do not depend on the clock.
var noDate = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// pdfPaint writes a picture as a PDF of one page with its font embedded. Letters that the font lacks become question
// marks; SVG and CSV keep them.
func pdfPaint(p *picture, about caption) ([]byte, error) {
	l, err := sans()
	if err != nil {
		return nil, err
	}
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: p.width, Ht: p.height}})
	doc.SetCatalogSort(true)
	doc.SetCreationDate(noDate)
	doc.SetModificationDate(noDate)
	doc.SetProducer("deltoid", true)
	doc.SetTitle(plain(about.title), true)
	doc.SetSubject(plain(about.desc), true)
	doc.SetLang("en-GB")
	doc.SetMargins(0, 0, 0)
	doc.SetAutoPageBreak(false, 0)
	doc.AddUTF8FontFromBytes("sans", "", liberationsansregular.TTF)
	doc.AddUTF8FontFromBytes("sans", "B", liberationsansbold.TTF)
	doc.AddPage()
	doc.SetLineJoinStyle("round")
	for _, m := range p.marks {
		pdfMark(doc, l, m)
	}
	var out bytes.Buffer
	if err := doc.Output(&out); err != nil {
		return nil, fmt.Errorf("PDF: %w", err)
	}
	return out.Bytes(), nil
}

func pdfMark(doc *fpdf.Fpdf, l letters, m mark) {
	switch m := m.(type) {
	case stroke:
		doc.SetDrawColor(int(m.colour.r), int(m.colour.g), int(m.colour.b))
		doc.SetLineWidth(m.width)
		doc.SetDashPattern(m.dash, 0)
		pdfPath(doc, m.points)
		doc.DrawPath("D")
	case area:
		doc.SetFillColor(int(m.colour.r), int(m.colour.g), int(m.colour.b))
		doc.SetAlpha(m.opacity, "Normal")
		pdfPath(doc, m.points)
		doc.ClosePath()
		how := "F"
		if m.edge > 0 {
			how = "FD"
			doc.SetDrawColor(int(m.rim.r), int(m.rim.g), int(m.rim.b))
			doc.SetLineWidth(m.edge)
			doc.SetDashPattern(nil, 0)
		}
		doc.DrawPath(how)
		doc.SetAlpha(1, "Normal")
	case label:
		pdfLabel(doc, l, m)
	}
}

func pdfPath(doc *fpdf.Fpdf, points []point) {
	for i, p := range points {
		if i == 0 {
			doc.MoveTo(p.x, p.y)
		} else {
			doc.LineTo(p.x, p.y)
		}
	}
}

func pdfLabel(doc *fpdf.Fpdf, l letters, m label) {
	weight := ""
	if m.bold {
		weight = "B"
	}
	doc.SetFont("sans", weight, m.size)
	doc.SetTextColor(int(m.colour.r), int(m.colour.g), int(m.colour.b))
	text := l.printable(m.text)
	doc.Text(m.x-doc.GetStringWidth(text)*m.at.share(), m.y, text)
}
