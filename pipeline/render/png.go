package render

import (
	"bytes"
	"image/color"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// pngDots is the resolution of the pictures inside a notebook: sharp on a dense screen, and small enough to mail.
const pngDots = 160

// pngPaint writes a picture as PNG on a white ground.
func pngPaint(p *picture) ([]byte, error) {
	l, err := sans()
	if err != nil {
		return nil, err
	}
	c := vgimg.NewWith(vgimg.UseWH(vg.Length(p.width), vg.Length(p.height)), vgimg.UseDPI(pngDots),
		vgimg.UseBackgroundColor(color.White))
	for _, m := range p.marks {
		pngMark(c, l, m, p.height)
	}
	var out bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&out); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

func pngMark(c *vgimg.Canvas, l letters, m mark, height float64) {
	switch m := m.(type) {
	case stroke:
		c.SetColor(paint(m.colour, 1))
		c.SetLineWidth(vg.Length(m.width))
		c.SetLineDash(lengths(m.dash), 0)
		c.Stroke(vgPath(m.points, height))
	case area:
		path := vgPath(m.points, height)
		path.Close()
		c.SetColor(paint(m.colour, m.opacity))
		c.Fill(path)
		if m.edge > 0 {
			c.SetColor(paint(m.rim, 1))
			c.SetLineWidth(vg.Length(m.edge))
			c.SetLineDash(nil, 0)
			c.Stroke(path)
		}
	case label:
		text := l.printable(m.text)
		x := m.x - l.width(text, m.size, m.bold)*m.at.share()
		c.SetColor(paint(m.colour, 1))
		c.FillString(l.face(m.size, m.bold), vg.Point{X: vg.Length(x), Y: vg.Length(height - m.y)}, text)
	}
}

func paint(c colour, opacity float64) color.Color {
	return color.NRGBA{R: c.r, G: c.g, B: c.b, A: uint8(opacity*255 + 0.5)}
}

func lengths(xs []float64) []vg.Length {
	out := make([]vg.Length, len(xs))
	for i, x := range xs {
		out[i] = vg.Length(x)
	}
	return out
}

// vgPath turns a line over: y runs up from the bottom in this library.
func vgPath(points []point, height float64) vg.Path {
	var path vg.Path
	for i, p := range points {
		at := vg.Point{X: vg.Length(p.x), Y: vg.Length(height - p.y)}
		if i == 0 {
			path.Move(at)
		} else {
			path.Line(at)
		}
	}
	return path
}
