package render

import "deltoid/pipeline/report"

// flowChart lays out a participant flow: a box for each step down the page, and beside or below each arrow who left.
type flowChart struct {
	b    *book
	l    letters
	p    *picture
	size float64
	row  float64
	main float64 // width of the boxes
	side float64 // left edge of those who left
	y    float64
}

const (
	boxPad  = 7.0
	flowGap = 16.0
)

// flowPicture draws a participant flow in the given width. In a narrow drawing those who left stand between the boxes,
// not beside them.
func flowPicture(b *book, f *report.Figure, width float64) (*picture, error) {
	l, err := sans()
	if err != nil {
		return nil, err
	}
	c := &flowChart{b: b, l: l, p: &picture{width: width}, size: 9, row: 12, main: width * 0.5, side: width * 0.56, y: 1}
	if width < wideWidth {
		c.main, c.side = width-2, width*0.16
	}
	for i := range f.Boxes {
		c.box(&f.Boxes[i])
		if i+1 < len(f.Boxes) {
			c.arrow(&f.Boxes[i])
		}
	}
	c.withheld(f)
	c.p.height = c.y + 2
	return c.p, nil
}

// withheld says below the boxes why a number in them is not shown: a drawing may travel without its page.
func (c *flowChart) withheld(f *report.Figure) {
	var texts []report.Text
	for i := range f.Boxes {
		texts = append(texts, f.Boxes[i].Kept)
		for j := range f.Boxes[i].Left {
			texts = append(texts, f.Boxes[i].Left[j].Count)
		}
	}
	for _, reason := range c.b.withheld(texts) {
		c.y += 4
		for _, line := range c.l.wrap(split([]piece{{Text: reason}}), c.p.width-2, c.size-1, false) {
			c.y += c.row
			line.x, line.y, line.colour = 1, c.y, quiet
			c.p.add(line)
		}
	}
}

func (c *flowChart) box(box *report.Box) {
	room := c.main - 2*boxPad
	lines := c.l.wrap(split([]piece{{Text: plain(box.Label)}}), room, c.size, true)
	lines = append(lines, c.l.wrap(split(c.b.pieces(box.Kept)), room, c.size, false)...)
	c.write(lines, 1, c.main)
}

// write draws a box round lines at the present height and moves below it.
func (c *flowChart) write(lines []label, x, width float64) {
	height := float64(len(lines))*c.row + 2*boxPad - 2
	c.p.box(x, c.y, width, height, wash, quiet)
	for i, line := range lines {
		line.x, line.y = x+boxPad, c.y+boxPad+c.size*0.86+float64(i)*c.row
		c.p.add(line)
	}
	c.y += height
}

// arrow draws the way to the next box, with those who leave on the way.
func (c *flowChart) arrow(box *report.Box) {
	x := min(c.main/2, c.side-14)
	from := c.y
	for i := range box.Left {
		c.y += flowGap / 2
		top := c.y
		c.leave(&box.Left[i])
		middle := (top + c.y) / 2
		c.p.line(quiet, 0.9, point{x, middle}, point{c.side - 1, middle})
		c.head(point{c.side - 1, middle}, true)
	}
	c.y += flowGap
	c.p.line(quiet, 0.9, point{x, from}, point{x, c.y - 1})
	c.head(point{x, c.y - 1}, false)
}

func (c *flowChart) leave(l *report.Leave) {
	pieces := append([]piece{{Text: plain(l.Reason) + ": "}}, c.b.pieces(l.Count)...)
	width := c.p.width - c.side - 1
	c.write(c.l.wrap(split(pieces), width-2*boxPad, c.size, false), c.side, width)
}

// head draws the head of an arrow that points right or down.
func (c *flowChart) head(tip point, right bool) {
	points := []point{tip, {tip.x - 3, tip.y - 5}, {tip.x + 3, tip.y - 5}}
	if right {
		points = []point{tip, {tip.x - 5, tip.y - 3}, {tip.x - 5, tip.y + 3}}
	}
	c.p.add(area{points: points, colour: quiet, opacity: 1})
}
