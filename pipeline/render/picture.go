package render

// picture is a drawing as a list of marks, painted in order. Lengths are in points (1/72 inch); y runs down from the top.
type picture struct {
	width, height float64
	marks         []mark
}

// mark is one of [stroke], [area] and [label].
type mark interface{ isMark() }

type point struct{ x, y float64 }

// stroke is an open line.
type stroke struct {
	points []point
	width  float64
	colour colour
	dash   []float64
}

// area is a closed, filled shape, see-through by opacity.
type area struct {
	points  []point
	colour  colour
	opacity float64
	edge    float64 // width of the line around it; 0 for none
	rim     colour
}

type anchor uint8

const (
	atStart anchor = iota
	atMiddle
	atEnd
)

// share is the part of a text's width that lies before its anchor.
func (a anchor) share() float64 { return float64(a) / 2 }

// label is one line of text; at says which of its ends stands at x, and y is its base line.
type label struct {
	x, y   float64
	text   string
	size   float64
	bold   bool
	at     anchor
	colour colour
	ids    []string // the estimates it shows a part of
	trace  string
}

func (stroke) isMark() {}
func (area) isMark()   {}
func (label) isMark()  {}

const mm = 72 / 25.4

// The two widths a figure is drawn in: the text width of an A4 page, and a phone.
const (
	wideWidth   = 170 * mm
	narrowWidth = 90 * mm
)

func (p *picture) add(m mark) { p.marks = append(p.marks, m) }

func (p *picture) line(colour colour, width float64, points ...point) {
	p.add(stroke{points: points, width: width, colour: colour})
}

// box draws a filled rectangle with a thin edge.
func (p *picture) box(x, y, w, h float64, ground, rim colour) {
	p.add(area{points: []point{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}}, colour: ground, opacity: 1,
		edge: 0.6, rim: rim})
}
