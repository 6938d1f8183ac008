package survival

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"sort"
)

// CountReal counts rows whose times are real numbers. Distinct times are sorted and each row
// counted by the rank of its time, so the cost is that of one sort. NaN and infinite times are
// refused with a *RowError, as everything that Count refuses.
func CountReal(d RealData) (*Counts, error) {
	times, err := distinct(d)
	if err != nil {
		return nil, err
	}
	ranked := Data{Cause: d.Cause, Group: d.Group, Groups: d.Groups, Causes: d.Causes}
	ranked.Exit = ranks(d.Exit, times)
	if d.Entry != nil {
		ranked.Entry = ranks(d.Entry, times)
	}
	ranked, err = ranked.normal()
	if err != nil {
		return nil, err
	}
	last, err := checkRows(ranked)
	if err != nil {
		return nil, inTimes(err, d)
	}
	return countTicks(ranked, last, times), nil
}

// distinct returns the distinct times, ascending, 0 always among them: rank 0 must mean the
// very start.
func distinct(d RealData) ([]float64, error) {
	times := make([]float64, 0, 1+len(d.Exit)+len(d.Entry))
	times = append(times, 0)
	var err error
	if times, err = appendTimes(times, d.Exit, "Exit"); err != nil {
		return nil, err
	}
	if times, err = appendTimes(times, d.Entry, "Entry"); err != nil {
		return nil, err
	}
	slices.Sort(times)
	return slices.Compact(times), nil
}

func appendTimes(times, column []float64, name string) ([]float64, error) {
	for i, t := range column {
		if !(t >= 0 && t <= math.MaxFloat64) {
			return nil, &RowError{i, name, fmt.Sprint(t), "a finite number, 0 or later"}
		}
		times = append(times, t)
	}
	return times, nil
}

func ranks(column, times []float64) []int32 {
	out := make([]int32, len(column))
	workers := max(1, min(runtime.GOMAXPROCS(0), len(column)/rowsPerWorker))
	inParallel(len(column), workers, func(_, from, to int) {
		for i := from; i < to; i++ {
			out[i] = int32(sort.SearchFloat64s(times, column[i]))
		}
	})
	return out
}

// inTimes puts the times back into an error about ranks.
func inTimes(err error, d RealData) error {
	if bad, ok := err.(*RowError); ok && bad.Column == "Entry" {
		bad.Found = fmt.Sprint(d.Entry[bad.Row])
		bad.Want = fmt.Sprintf("0, or before the exit at %v", d.Exit[bad.Row])
	}
	return err
}
