package hazards

import (
	"slices"

	"deltoid/stats/numeric"
	"deltoid/stats/survival"
)

// stayCurve is the probability of staying uncensored in a group, an event coming before a censoring of its time.
type stayCurve struct {
	ticks []float64
	start []float64 // just before each tick, and at the end
}

// stayIn estimates it from counts in which cause 1 is any end but a censoring.
func stayIn(counts *survival.Counts, group int) stayCurve {
	table := counts.LifeTable(group)
	out := stayCurve{table.Time, make([]float64, len(table.Time)+1)}
	stay := numeric.One()
	for row := range table.Time {
		out.start[row] = stay.Value()
		if c := table.MassLeft(row, 0); c > 0 {
			at := table.Mass(row) - table.MassLeft(row, 1)
			stay.Times(at-c, at)
		}
	}
	out.start[len(table.Time)] = stay.Value()
	return out
}

// before returns it just before a tick.
func (s stayCurve) before(tick int32) float64 {
	at, _ := slices.BinarySearch(s.ticks, float64(tick))
	return s.start[at]
}
