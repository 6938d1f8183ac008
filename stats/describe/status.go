package describe

import "math"

// Status says whether a number could be worked out, and if not, why not.
type Status uint8

// The states of a result. Only Estimated has a number to show; in every other state the numbers are 0.
const (
	// Estimated: there is a result.
	Estimated Status = iota
	// NoRows: a sample or a table is empty.
	NoRows
	// OneRow: a spread needs two numbers.
	OneRow
	// NoSpread: nothing varies within the groups, so there is no unit for a difference.
	NoSpread
	// NoOverlap: the groups have no category in common, so the difference is beyond any bound.
	NoOverlap
	// OneCategory: both raters put everything into one category, so agreement beyond chance has no meaning.
	OneCategory
	// NotFinite: a number is not finite, or a level does not lie between 0 and 1.
	NotFinite
	// NotCounts: counts are negative, exceed their total, or do not form a table.
	NotCounts
	// TooLarge: an exact result would take too long.
	TooLarge
)

var statusText = [...]string{
	Estimated:   "estimated",
	NoRows:      "no rows",
	OneRow:      "one row only",
	NoSpread:    "nothing varies within the groups",
	NoOverlap:   "the groups have no category in common",
	OneCategory: "all in one category",
	NotFinite:   "not finite",
	NotCounts:   "not a table of counts",
	TooLarge:    "too large for an exact result",
}

// String returns the status in plain words.
func (s Status) String() string {
	if int(s) < len(statusText) {
		return statusText[s]
	}
	return "unknown status"
}

// first returns the first status that is not Estimated.
func first(states ...Status) Status {
	for _, s := range states {
		if s != Estimated {
			return s
		}
	}
	return Estimated
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// levelStatus is NotFinite unless a level lies between 0 and 1.
func levelStatus(level float64) Status {
	if level > 0 && level < 1 {
		return Estimated
	}
	return NotFinite
}
