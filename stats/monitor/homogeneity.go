package monitor

import (
	"math"

	"deltoid/stats/dist"
	"deltoid/stats/numeric"
)

// Test asks whether several rates could be one.
type Test struct {
	Observed  []int64
	Expected  []float64 // events if all groups had the rate of all together
	ChiSquare float64
	DF        int
	P         float64
	// Effect is the design effect that ChiSquare was divided by: 1 for independent subjects.
	Effect float64
	// Status is Estimated, NoEvents, NotComparable or OneCluster. In any but the first ChiSquare and P are 0
	// and not to be shown.
	Status Status
}

// Homogeneity compares the rates of several groups:
//
//	χ² = Σ (O − E)²/E,   E the exposure's share of all events
//
// with one degree of freedom fewer than there are groups with any exposure. Groups without
// exposure are left out, events included. The p-value is that of large numbers; with fewer than five expected
// events in a group it is a guide only. The error is for a tally that cannot be.
//
// Source: Breslow & Day, Statistical Methods in Cancer Research II (1987), section 3.5.
func Homogeneity(tallies []Tally) (Test, error) {
	t := Test{Observed: make([]int64, len(tallies)), Expected: make([]float64, len(tallies)), Status: NotComparable}
	var exposure numeric.Sum
	var events int64
	groups := 0
	for i, x := range tallies {
		if err := x.check(); err != nil {
			return Test{}, err
		}
		t.Observed[i] = x.Events
		if x.Exposure > 0 {
			exposure.Add(x.Exposure)
			events += x.Events
			groups++
		}
	}
	switch {
	case groups < 2:
	case events == 0:
		t.Status = NoEvents
	case !t.compare(tallies, float64(events), exposure.Value()):
	default:
		t.DF, t.Status, t.Effect = groups-1, Estimated, 1
		t.P = dist.ChiSquareUpper(t.ChiSquare, t.DF)
	}
	return t, nil
}

// compare works out the statistic. It is false where an exposure is so small beside the others
// that the statistic is beyond all numbers.
func (t *Test) compare(tallies []Tally, events, exposure float64) bool {
	var sum numeric.Sum
	for i, x := range tallies {
		// The share first: a product of the two may be beyond all numbers.
		t.Expected[i] = events * (x.Exposure / exposure)
		if x.Exposure == 0 {
			continue
		}
		off := float64(x.Events) - t.Expected[i]
		term := off * off / t.Expected[i]
		if math.IsNaN(term) || term > largest {
			return false
		}
		sum.Add(term)
	}
	t.ChiSquare = sum.Value()
	return true
}
