package render

import "fmt"

// style is how the curve of one group looks: a colour, and a rhythm of the line for those who do not see the colour or
// print in grey.
type style struct {
	colour colour
	dash   []float64 // lengths of dash and gap in points; empty for a solid line
}

// colour is a red, green and blue, each of 0 to 255, in sRGB.
type colour struct{ r, g, b uint8 }

func (c colour) hex() string { return fmt.Sprintf("#%02x%02x%02x", c.r, c.g, c.b) }

// The colours of everything that is not a group.
var (
	ink   = colour{0x24, 0x28, 0x2c} // text
	quiet = colour{0x59, 0x61, 0x68} // text beside the point, and axis lines
	faint = colour{0xdd, 0xde, 0xd9} // lines across the drawing
	wash  = colour{0xf4, 0xf3, 0xee} // the ground of boxes
	paper = colour{0xff, 0xff, 0xff}
)

// groupColours is the palette. It was found by a search over lightness, chroma and hue (OKLCH) for the six colours whose
// smallest pairwise difference, in normal sight and in the three colour-vision deficiencies, is largest while each is
// dark enough for a line on white, the first three for text. palette_test.go measures what the search promised.
var groupColours = []colour{
	{0x2d, 0x7f, 0x65}, // bottle green
	{0x7b, 0x20, 0x04}, // rust
	{0x7b, 0x52, 0x93}, // plum
	{0x7d, 0x8a, 0xe1}, // periwinkle
	{0x6f, 0x81, 0x2d}, // moss
	{0xb3, 0x81, 0x9a}, // old rose
}

var groupDashes = [][]float64{
	nil,
	{7, 2.5},
	{2, 2},
	{9, 2.5, 2, 2.5},
	{4, 2.5},
	{9, 2.5, 3.5, 2.5, 3.5, 2.5},
}

// styleOf returns the i-th style. After six groups the colours come round again, each time with another rhythm, so that
// the first 36 styles differ.
func styleOf(i int) style {
	n := len(groupColours)
	i = max(i, 0)
	return style{groupColours[i%n], groupDashes[(i+i/n)%n]}
}
