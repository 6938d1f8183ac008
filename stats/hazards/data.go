package hazards

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"deltoid/stats/covariates"
)

// Data holds one row for each stretch of observation, in columns of equal length that are read
// and never changed. Rows may come in any order.
type Data struct {
	// Entry is when observation began: 0, or nil for all, means from the very start.
	Entry []int32
	// Exit is when it ended, 0 or later and after a late entry.
	Exit []int32
	// Cause is why it ended: 0 for censored, otherwise which event.
	Cause []uint8
	// Stratum is 0 or more: each has a baseline hazard of its own. Nil means one stratum. Numbers
	// without rows cost memory, so that they must stay below twice the number of rows.
	Stratum []int32
	// Weight is how much a row counts for; nil is 1 for all. A row of weight 0 is left out.
	Weight []float64
	// Offset is added to the predictor of a row; nil is 0 for all.
	Offset []float64
	// Cluster says which rows are not independent; nil means that all are.
	Cluster []int32
	// Times are the times that Entry and Exit stand for, ascending, where they are ranks made by
	// Rank. Nil means that they are times themselves, as a rule whole days.
	Times []float64
}

// Rank turns real times into ranks, for data whose times are not whole numbers: entry and exit go
// to Data.Entry and Data.Exit, times to Data.Times. Entry may be nil. Two times are tied only if
// they are the same float64. Rank 0 is the time 0.
func Rank(entry, exit []float64) (entryRank, exitRank []int32, times []float64, err error) {
	times = []float64{0}
	for _, c := range []struct {
		name   string
		values []float64
	}{{"Exit", exit}, {"Entry", entry}} {
		for i, t := range c.values {
			if !(t >= 0 && t <= math.MaxFloat64) {
				return nil, nil, nil, &covariates.RowError{Row: i, Column: c.name, Found: fmt.Sprint(t), Want: "a finite number, 0 or later"}
			}
			times = append(times, t+0)
		}
	}
	slices.Sort(times)
	times = slices.Compact(times)
	ranks := func(column []float64) []int32 {
		if column == nil {
			return nil
		}
		out := make([]int32, len(column))
		for i, t := range column {
			out[i] = int32(sort.SearchFloat64s(times, t))
		}
		return out
	}
	return ranks(entry), ranks(exit), times, nil
}

// time returns the time that a tick stands for.
func (d Data) time(tick int32) float64 {
	if d.Times == nil {
		return float64(tick)
	}
	return d.Times[tick]
}

func (d Data) entry(i int) int32 {
	if d.Entry == nil {
		return 0
	}
	return d.Entry[i]
}

func (d Data) stratum(i int) int32 {
	if d.Stratum == nil {
		return 0
	}
	return d.Stratum[i]
}

func (d Data) weight(i int) float64 {
	if d.Weight == nil {
		return 1
	}
	return d.Weight[i]
}

// EventsPerCoefficient returns how many events there are of a cause, and how many for each of the
// coefficients of a model: what to look at before fitting one.
func EventsPerCoefficient(d Data, cause uint8, coefficients int) (events int, each float64) {
	for i, c := range d.Cause {
		if c == cause && d.weight(i) > 0 {
			events++
		}
	}
	return events, float64(events) / float64(max(1, coefficients))
}

// check returns what is wrong with the data, and the last tick and the number of strata.
func (d Data) check(cause uint8) (last int32, strata int, err error) {
	if cause == 0 {
		return 0, 0, fmt.Errorf("cause 0 means censored, want 1 or more")
	}
	n := len(d.Exit)
	for _, c := range []struct {
		name    string
		rows    int
		missing bool
	}{
		{"Cause", len(d.Cause), false}, {"Entry", len(d.Entry), d.Entry == nil}, {"Stratum", len(d.Stratum), d.Stratum == nil},
		{"Weight", len(d.Weight), d.Weight == nil}, {"Offset", len(d.Offset), d.Offset == nil}, {"Cluster", len(d.Cluster), d.Cluster == nil},
	} {
		if !c.missing && c.rows != n {
			return 0, 0, fmt.Errorf("%s has %d rows, Exit has %d", c.name, c.rows, n)
		}
	}
	top := int32(0)
	for i, exit := range d.Exit {
		if s := d.stratum(i); exit < 0 || d.Entry != nil && d.Entry[i] != 0 && (d.Entry[i] < 0 || d.Entry[i] >= exit) || s < 0 || !d.numbersGood(i) {
			return 0, 0, d.rowError(i)
		} else if s > top {
			top = s
		}
		last = max(last, exit)
	}
	if int(top) >= 2*n+1<<10 {
		return 0, 0, fmt.Errorf("column Stratum goes up to %d in %d rows; number the strata from 0", top, n)
	}
	if d.Times != nil && int(last) >= len(d.Times) {
		return 0, 0, fmt.Errorf("column Exit goes up to rank %d, Times has %d", last, len(d.Times))
	}
	return last, int(top) + 1, nil
}

func (d Data) numbersGood(i int) bool {
	return (d.Weight == nil || d.Weight[i] >= 0 && d.Weight[i] <= 1e90) && (d.Offset == nil || math.Abs(d.Offset[i]) <= 500) &&
		(d.Cluster == nil || d.Cluster[i] >= 0)
}

func (d Data) rowError(i int) error {
	bad := func(column, found, want string) error {
		return &covariates.RowError{Row: i, Column: column, Found: found, Want: want}
	}
	switch {
	case d.Exit[i] < 0:
		return bad("Exit", fmt.Sprint(d.Exit[i]), "0 or later")
	case d.stratum(i) < 0:
		return bad("Stratum", fmt.Sprint(d.Stratum[i]), "0 or more")
	case d.Weight != nil && !(d.Weight[i] >= 0 && d.Weight[i] <= 1e90):
		return bad("Weight", fmt.Sprint(d.Weight[i]), "a finite number, 0 or more")
	case d.Offset != nil && !(math.Abs(d.Offset[i]) <= 500):
		return bad("Offset", fmt.Sprint(d.Offset[i]), "a number between −500 and 500")
	case d.Cluster != nil && d.Cluster[i] < 0:
		return bad("Cluster", fmt.Sprint(d.Cluster[i]), "0 or more")
	case d.Entry[i] < 0:
		return bad("Entry", fmt.Sprint(d.Entry[i]), "0 or later")
	}
	return bad("Entry", fmt.Sprint(d.time(d.Entry[i])), fmt.Sprintf("0, or before the exit at %v", d.time(d.Exit[i])))
}
