package render

import (
	"slices"

	"deltoid/pipeline/report"
)

// hidden stands for a masked number at risk, where the word would be too wide; a line below says so.
const hidden = "–"

// riskRows writes the numbers at risk below y: for each group its name, with a sample of its line, and its numbers under
// the ticks. It returns the y of the last base line.
func (c *chart) riskRows(y float64) float64 {
	y += c.textRow
	c.p.add(label{x: margin, y: y, text: "Numbers at risk", size: c.size, bold: true, colour: ink})
	masked := ""
	for _, row := range c.f.AtRisk {
		y = c.entry(y+c.textRow+3, row.Group)
		y += c.textRow
		for _, i := range c.ticks {
			e := c.b.byID[row.Estimates[i]]
			text, isHidden := c.riskText(row.Estimates[i])
			if isHidden && masked == "" {
				masked = hidden + " " + string(e.Status) + afterColon(e.Note)
			}
			c.p.add(label{x: c.atX(c.f.X.Ticks[i]), y: y, text: text, size: c.size, at: atMiddle, colour: ink,
				ids: []string{plain(e.ID)}, trace: plain(report.Trace(*e))})
		}
	}
	if masked != "" {
		y = c.paragraph(y+3, masked)
	}
	return y
}

func afterColon(note string) string {
	if note == "" {
		return ""
	}
	return ": " + note
}

// riskText is the number at risk as shown, and whether it is hidden.
func (c *chart) riskText(id string) (string, bool) {
	e := c.b.byID[id]
	if e.Status == report.Masked {
		return hidden, true
	}
	return plain(report.Format(*e, report.ShowValue)), false
}

// legend lists the curves with samples of their lines where no numbers at risk do so; layers from the top down, as they lie.
func (c *chart) legend(y float64) float64 {
	curves := c.drawn()
	if c.f.Stacked {
		slices.Reverse(curves)
	}
	for _, curve := range curves {
		y = c.entry(y+c.textRow+2, c.nameOf(curve))
	}
	return y
}

// entry writes the name of a group behind a sample of its line, and returns the y of its last base line. A group without
// a curve has no sample.
func (c *chart) entry(y float64, group string) float64 {
	const sample = 24
	x := margin
	for _, curve := range c.drawn() {
		if c.nameOf(curve) == group {
			s := lookOf(curve)
			if c.f.Stacked {
				c.p.add(area{points: swatch(margin, y-c.size*0.75, sample, c.size*0.85), colour: s.colour, opacity: layerOpacity})
			}
			c.p.add(stroke{points: []point{{margin, y - c.size*0.3}, {margin + sample, y - c.size*0.3}}, width: 1.9, colour: s.colour,
				dash: s.dash})
			x = margin + sample + 6
			break
		}
	}
	lines := c.l.wrap(split([]piece{{Text: plain(group)}}), c.p.width-margin-x, c.size, false)
	for i, line := range lines {
		line.x, line.y = x, y+float64(i)*c.textRow
		c.p.add(line)
	}
	return y + float64(max(len(lines)-1, 0))*c.textRow
}

// paragraph writes a wrapped note and returns the y of its last base line.
func (c *chart) paragraph(y float64, text string) float64 {
	for _, line := range c.wrapped(text, c.size-1) {
		y += c.textRow
		line.x, line.y, line.colour = margin, y, quiet
		c.p.add(line)
	}
	return y
}
