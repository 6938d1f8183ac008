package render

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
)

// fontStack names sans faces with the widths the layout was measured in, by system.
const fontStack = `&quot;Helvetica Neue&quot;, Helvetica, Arial, &quot;Liberation Sans&quot;, Arimo, sans-serif`

// caption is what a drawing says about itself to those who cannot see it.
type caption struct{ title, desc string }

// svgPaint writes a picture as SVG. The library the PNGs are drawn with writes SVG as well, but places text by its own
// measure of the font, has no place for a description, and cannot tell which estimate a number is; hence this painter.
// prefix makes the ids of a drawing unique within a page. A drawing that stands alone has its size in millimetres and a
// white ground; one within a page takes the width it is given.
func svgPaint(p *picture, about caption, prefix string, alone bool) string {
	var b strings.Builder
	size := ""
	if alone {
		size = fmt.Sprintf(` xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm"`, num(p.width/mm), num(p.height/mm))
	}
	fmt.Fprintf(&b, `<svg%s viewBox="0 0 %s %s" role="img" lang="en-GB" aria-labelledby="%s-title %s-desc" font-family="%s">`+"\n",
		size, num(p.width), num(p.height), prefix, prefix, fontStack)
	fmt.Fprintf(&b, "<title id=\"%s-title\">%s</title>\n<desc id=\"%s-desc\">%s</desc>\n", prefix, markup(about.title),
		prefix, markup(about.desc))
	if alone {
		fmt.Fprintf(&b, `<rect width="100%%" height="100%%" fill="%s"/>`+"\n", paper.hex())
	}
	for _, m := range p.marks {
		svgMark(&b, m)
	}
	b.WriteString("</svg>\n")
	return b.String()
}

func svgMark(b *strings.Builder, m mark) {
	switch m := m.(type) {
	case stroke:
		dash := ""
		if len(m.dash) > 0 {
			dash = ` stroke-dasharray="` + numbers(m.dash) + `"`
		}
		fmt.Fprintf(b, `<path d="%s" fill="none" stroke="%s" stroke-width="%s" stroke-linejoin="round"%s/>`+"\n",
			svgPath(m.points), m.colour.hex(), num(m.width), dash)
	case area:
		edge := ""
		if m.edge > 0 {
			edge = fmt.Sprintf(` stroke="%s" stroke-width="%s"`, m.rim.hex(), num(m.edge))
		}
		fmt.Fprintf(b, `<path d="%sz" fill="%s" fill-opacity="%s"%s/>`+"\n", svgPath(m.points), m.colour.hex(),
			num(m.opacity), edge)
	case label:
		svgLabel(b, m)
	}
}

func svgLabel(b *strings.Builder, m label) {
	fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s" fill="%s"`, num(m.x), num(m.y), num(m.size), m.colour.hex())
	if m.bold {
		b.WriteString(` font-weight="bold"`)
	}
	b.WriteString([]string{"", ` text-anchor="middle"`, ` text-anchor="end"`}[m.at])
	if len(m.ids) > 0 {
		fmt.Fprintf(b, ` data-estimate="%s"`, markup(strings.Join(m.ids, " ")))
	}
	b.WriteString(">")
	if m.trace != "" {
		b.WriteString("<title>" + markup(m.trace) + "</title>")
	}
	b.WriteString(markup(m.text) + "</text>\n")
}

// svgPath writes a line with H and V where it runs along an axis, as steps do.
func svgPath(points []point) string {
	var b strings.Builder
	var lastX, lastY string
	for i, p := range points {
		x, y := num(p.x), num(p.y)
		switch {
		case i == 0:
			b.WriteString("M" + x + " " + y)
		case x == lastX && y == lastY:
		case y == lastY:
			b.WriteString("H" + x)
		case x == lastX:
			b.WriteString("V" + y)
		default:
			b.WriteString("L" + x + " " + y)
		}
		lastX, lastY = x, y
	}
	return b.String()
}

// num writes a length to a hundredth of a point, which no eye can tell from the truth.
func num(x float64) string { return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64) }

func numbers(xs []float64) string {
	texts := make([]string, len(xs))
	for i, x := range xs {
		texts[i] = num(x)
	}
	return strings.Join(texts, " ")
}

// markup makes a text safe between tags and in attributes of HTML and XML.
func markup(s string) string { return html.EscapeString(plain(s)) }
