package survival

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"sort"

	"deltoid/stats/numeric"
)

// CountReal counts rows whose times are real numbers. Distinct times are sorted and each row
// counted by the rank of its time, so the cost is that of one sort. NaN and infinite times are
// refused with a *RowError, as everything that Count refuses.
func CountReal(d RealData) (*Counts, error) {
	ranked, last, times, err := ranked(d)
	if err != nil {
		return nil, err
	}
	return countTicks(ranked, last, times), nil
}

// ranked returns the rows, known to be good, with the ranks of their times instead, the last exit
// among them, and the times.
func ranked(d RealData) (out Data, last int32, times []float64, err error) {
	if times, err = distinct(d); err != nil {
		return out, 0, nil, err
	}
	out = Data{Cause: d.Cause, Group: d.Group, Weight: d.Weight, Cluster: d.Cluster, Groups: d.Groups, Causes: d.Causes}
	out.Exit = ranks(d.Exit, times)
	if d.Entry != nil {
		out.Entry = ranks(d.Entry, times)
	}
	if out, err = out.normal(); err != nil {
		return out, 0, nil, err
	}
	if last, err = checkRows(out); err != nil {
		return out, 0, nil, inTimes(err, d)
	}
	return out, last, times, nil
}

// distinct returns the distinct times, ascending, 0 always among them: rank 0 must mean the
// very start.
func distinct(d RealData) ([]float64, error) {
	// Times are not negative, so their bits sort as they do.
	keys := make([]uint64, 1, 1+len(d.Exit)+len(d.Entry))
	keys, err := appendBits(keys, d.Exit, "Exit")
	if err != nil {
		return nil, err
	}
	if keys, err = appendBits(keys, d.Entry, "Entry"); err != nil {
		return nil, err
	}
	keys = slices.Compact(sortDigits(keys, 0, 64))
	times := make([]float64, len(keys))
	for i, k := range keys {
		times[i] = math.Float64frombits(k)
	}
	return times, nil
}

func appendBits(keys []uint64, column []float64, name string) ([]uint64, error) {
	for i, t := range column {
		if !(t >= 0 && t <= math.MaxFloat64) {
			return nil, &RowError{i, name, fmt.Sprint(t), "a finite number, 0 or later"}
		}
		keys = append(keys, math.Float64bits(t+0)) // −0 + 0 is 0
	}
	return keys, nil
}

// ranks returns the place of each value in times.
func ranks(column, times []float64) []int32 {
	out := make([]int32, len(column))
	index := newTimeIndex(times)
	workers := max(1, min(runtime.GOMAXPROCS(0), len(column)/rowsPerWorker))
	numeric.InParallel(len(column), workers, func(_, from, to int) {
		for i := from; i < to; i++ {
			out[i] = index.rank(column[i])
		}
	})
	return out
}

// timeIndex finds the rank of a time by first going to one of as many equal stretches as there
// are times; in most data a stretch holds one or two of them.
type timeIndex struct {
	times []float64
	first []int32 // rank of the first time of each stretch
	scale float64 // stretches per unit of time
}

func newTimeIndex(times []float64) *timeIndex {
	x := &timeIndex{times: times, first: make([]int32, len(times)+2)}
	if last := times[len(times)-1]; last > 0 {
		x.scale = float64(len(times)) / last
	}
	if math.IsInf(x.scale, 1) {
		x.scale = 0
	}
	next := 0
	for rank, t := range times {
		for at := x.stretch(t); next <= at; next++ {
			x.first[next] = int32(rank)
		}
	}
	for ; next < len(x.first); next++ {
		x.first[next] = int32(len(times))
	}
	return x
}

func (x *timeIndex) stretch(t float64) int { return min(int(t*x.scale), len(x.times)) }

func (x *timeIndex) rank(t float64) int32 {
	at := x.stretch(t)
	from, to := x.first[at], x.first[at+1]
	return from + int32(sort.SearchFloat64s(x.times[from:to], t))
}

// inTimes puts the times back into an error about ranks.
func inTimes(err error, d RealData) error {
	if bad, ok := err.(*RowError); ok && bad.Column == "Entry" {
		bad.Found = fmt.Sprint(d.Entry[bad.Row])
		bad.Want = fmt.Sprintf("0, or before the exit at %v", d.Exit[bad.Row])
	}
	return err
}
