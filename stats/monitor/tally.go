package monitor

import (
	"fmt"

	"deltoid/stats/survival"
)

// largest is the largest exposure. Sums and ratios of smaller ones stay finite.
const largest = 1e280

// Tally is a number of events, and the time in which they could have happened summed over all
// who were under observation.
type Tally struct {
	Events   int64
	Exposure float64 // in a unit that the caller knows: days, years
}

// In returns the tally with its exposure in another unit, given how long that is in the present
// one: 365.25 turns days into years.
func (t Tally) In(unit float64) Tally {
	t.Exposure /= unit
	return t
}

// Plus returns both tallies taken together.
func (t Tally) Plus(other Tally) Tally {
	return Tally{t.Events + other.Events, t.Exposure + other.Exposure}
}

// check refuses a tally that cannot have been counted.
func (t Tally) check() error {
	if t.Events < 0 {
		return fmt.Errorf("a tally has %d events, want 0 or more", t.Events)
	}
	if !(t.Exposure >= 0 && t.Exposure <= largest) {
		return fmt.Errorf("a tally has an exposure of %v, want a number from 0 to %g", t.Exposure, largest)
	}
	return nil
}

// Tallies returns the events of one cause (0: any) and the exposure of each group over all of its
// follow-up, in the unit of the times.
func Tallies(c *survival.Counts, cause int) ([]Tally, error) {
	out := make([]Tally, c.Groups())
	for group := range out {
		stretches, err := Stretches(c, group, cause)
		if err != nil {
			return nil, err
		}
		out[group] = stretches[0].Tally
	}
	return out, nil
}

// Stretch is a part of follow-up.
type Stretch struct {
	From, To float64 // an event at To belongs to it, one at From to the stretch before
	Rows     int64   // under observation at any moment of it
	Tally
}

// Stretches divides the follow-up of a group at the cuts, rising times above 0, and returns the
// tally of each part: one more than there are cuts. The parts add up to the whole. The error is
// for cuts that do not rise, or a cause that was not counted.
func Stretches(c *survival.Counts, group, cause int, cuts ...float64) ([]Stretch, error) {
	if cause < 0 || cause > c.Causes() {
		return nil, fmt.Errorf("cause %d, want 0 (any) to %d", cause, c.Causes())
	}
	spans, err := c.Spans(group, cuts...)
	if err != nil {
		return nil, err
	}
	out := make([]Stretch, len(spans))
	for i, s := range spans {
		out[i] = Stretch{s.From, s.To, s.Rows, Tally{s.Events(cause), s.Time}}
	}
	return out, nil
}

// Others returns, for each tally, all the other ones taken together. They are added up, not taken
// away from the sum, so that a small exposure beside a large one keeps its digits.
func Others(tallies []Tally) []Tally {
	out := make([]Tally, len(tallies))
	var before Tally
	for i, t := range tallies {
		out[i] = before
		before = before.Plus(t)
	}
	var after Tally
	for i := len(tallies) - 1; i >= 0; i-- {
		out[i] = out[i].Plus(after)
		after = after.Plus(tallies[i])
	}
	return out
}
