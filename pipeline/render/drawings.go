package render

import "deltoid/pipeline/report"

// draw lays out a figure in the given width.
func draw(b *book, f *report.Figure, width float64) (*picture, error) {
	switch {
	case len(f.Boxes) > 0:
		return flowPicture(b, f, width)
	case len(f.Dots) > 0:
		return dotPicture(b, f, width)
	}
	return curvePicture(b, f, width)
}

func captionOf(f *report.Figure) caption { return caption{title: f.Title, desc: f.Alt} }

// eachFigure calls do for every figure of the document, in order.
func (b *book) eachFigure(do func(*report.Figure) error) error {
	for i := range b.Sections {
		for j := range b.Sections[i].Figures {
			if err := do(&b.Sections[i].Figures[j]); err != nil {
				return err
			}
		}
	}
	return nil
}

// drawings writes every figure as SVG and PDF, 170 mm wide.
func drawings(b *book) ([]File, error) {
	var files []File
	err := b.eachFigure(func(f *report.Figure) error {
		p, err := draw(b, f, wideWidth)
		if err != nil {
			return err
		}
		pdf, err := pdfPaint(p, captionOf(f))
		if err != nil {
			return err
		}
		files = append(files, File{"figures/" + f.ID + ".svg", []byte(svgPaint(p, captionOf(f), f.ID, true))},
			File{"figures/" + f.ID + ".pdf", pdf})
		return nil
	})
	return files, err
}
