package disclose

import "slices"

// reader is somebody who tries to work out what is hidden.
type reader int

const (
	insider  reader = iota // knows which hidden counts are small
	outsider               // does not
	readers
)

// wish is a value that a number should seem to have to a reader.
type wish struct {
	value int
	to    reader
}

// goal is what a hidden number should keep: so many of these values besides its own.
type goal struct {
	wishes []wish
	need   int
}

// goalOf asks for all of 1 to most of a small number, and for as many values of any other. The insider should find them
// possible; but of a hidden whole of 3, none of three parts of 1 can ever seem to be 4 to somebody who knows that all are
// small, and to hide the rest of the report would not change that. What the insider would rule out even if nothing at all
// were shown, the outsider should find possible.
func (b *board) goalOf(n int) goal {
	if g := b.goals[n]; g != nil {
		return *g
	}
	g := goal{need: b.most() - 1}
	var can, cannot []wish
	for _, v := range b.wanted(n) {
		// Once enough values can be had, it does not matter which of the others can.
		if len(can) >= g.need || !b.dark[insider].ruledOut(n, v) {
			can = append(can, wish{v, insider})
		} else {
			cannot = append(cannot, wish{v, outsider})
		}
	}
	g.wishes = can
	if len(can) < g.need {
		cannot = slices.DeleteFunc(cannot, func(w wish) bool { return b.dark[outsider].ruledOut(n, w.value) })
		g.wishes = append(can, cannot...)
	}
	g.need = min(g.need, len(g.wishes))
	b.goals[n] = &g
	return g
}

// wanted lists the values besides its own that a number may keep, the nearest first.
func (b *board) wanted(n int) (values []int) {
	truth := b.numbers[n].value
	if b.numbers[n].small {
		for v := 1; v <= b.most(); v++ {
			if v != truth {
				values = append(values, v)
			}
		}
		return values
	}
	for d := 1; d <= 2*b.below; d++ {
		values = append(values, truth-d, truth+d)
	}
	return values
}
