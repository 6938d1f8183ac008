package survival

import "deltoid/stats/numeric"

// side is one end of the stretches of observation.
type side uint8

const (
	leaving side = iota
	entering
)

// weigh sums the weights of the rows in each cell of one side. Sums are compensated and made by
// one goroutine in the order of the rows: they do not depend on the number of processors, and on
// the order of the rows only in the last place, if at all.
func (c *Counts) weigh(d Data, which side) {
	sums := make([][]numeric.Sum, len(c.groups))
	for g := range sums {
		sums[g] = make([]numeric.Sum, c.groups[g].cells(which).len())
	}
	for i, w := range d.Weight {
		g := 0
		if d.Group != nil {
			g = int(d.Group[i])
		}
		tick, cause := d.Exit[i], d.Cause[i]
		if which == entering {
			if tick, cause = d.Entry[i], 0; tick == 0 {
				continue
			}
		}
		sums[g][c.groups[g].cells(which).find(tick, cause)].Add(w)
	}
	for g := range sums {
		weights := make([]float64, len(sums[g]))
		for i := range weights {
			weights[i] = sums[g][i].Value()
		}
		if which == leaving {
			c.groups[g].leftWeight = weights
		} else {
			c.groups[g].enteredWeight = weights
		}
	}
}

func (t *tally) cells(which side) *cells {
	if which == leaving {
		return &t.left
	}
	return &t.entered
}
