package render

import "slices"

// layerOpacity lets the lines of the axes be seen through a layer.
const layerOpacity = 0.45

// layers fills a stacked figure: each layer from the curve below it, or the axis, up to its own.
func (c *chart) layers() {
	var under []point
	for _, curve := range c.drawn() {
		corners, end := c.corners(curve)
		over := stairs(corners, end, func(k corner) float64 { return k.y })
		if under == nil {
			under = []point{{over[0].x, c.bottom}, {end, c.bottom}}
		}
		back := slices.Clone(under)
		slices.Reverse(back)
		c.p.add(area{points: append(slices.Clone(over), back...), colour: styleOf(curve.Style).colour, opacity: layerOpacity})
		under = over
	}
}

// swatch is a rectangle in the legend.
func swatch(x, y, w, h float64) []point {
	return []point{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}}
}
