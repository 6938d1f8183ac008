package survival

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"deltoid/stats/numeric"
	"deltoid/stats/random"
)

// Resampling says how rows are drawn again.
type Resampling struct {
	Replicates int
	Seed       uint64
	Level      float64 // of the interval
}

// Resampled is a difference of two curves at one time, with what drawing the rows again says
// about it.
type Resampled struct {
	Value        float64 // of the rows themselves, first minus second
	SE           float64 // standard deviation of the replicates
	Lower, Upper float64 // percentiles of the replicates
	Resampling
	// Status is Estimated, or that of the curve that has no value at the time.
	Status Status
}

// BootstrapDifference draws the rows of two groups again, with replacement and each group on its
// own, and takes the difference of their product-limit estimates at time t each time. A replicate
// in which nobody is left before t keeps the last value of its curve. The rows are taken to be
// independent: where they come in clusters, use the robust variance. Rows with weights or a late
// entry are refused, as is a number of replicates too small for the level.
//
// Replicate i is drawn from the stream (seed, "bootstrap", i), so the result depends neither on
// the number of processors nor on how many replicates are asked for. The cost is one random
// number for each row and replicate, whatever the number of distinct times.
//
// Source: Efron, J. Am. Stat. Assoc. 76 (1981) 312–319; percentiles at (R+1)p as in Davison &
// Hinkley, Bootstrap Methods and their Application (1997), section 5.3.
func (c *Counts) BootstrapDifference(first, second, cause int, t float64, how Resampling) (Resampled, error) {
	out := Resampled{Resampling: how}
	if err := c.checkResampling(cause, how, first, second); err != nil {
		return Resampled{}, err
	}
	a, b := c.ProductLimit(first, cause).At(t), c.ProductLimit(second, cause).At(t)
	if out.Status = worse(valueState(a), valueState(b)); out.Status != Estimated {
		return out, nil
	}
	out.Value = a.Value - b.Value
	replicates := resample(c.urn(first, cause, t), c.urn(second, cause, t), how)
	out.SE = deviation(replicates)
	slices.Sort(replicates)
	tail := (1 - how.Level) / 2
	out.Lower, out.Upper = orderStatistic(replicates, tail), orderStatistic(replicates, 1-tail)
	return out, nil
}

func (c *Counts) checkResampling(cause int, how Resampling, groups ...int) error {
	if err := CheckLevel(how.Level, Plain); err != nil {
		return err
	}
	if need := 2 / (1 - how.Level); float64(how.Replicates) < need-1 {
		return fmt.Errorf("%d replicates are too few for the level %v, want %.0f or more", how.Replicates, how.Level, math.Ceil(need-1))
	}
	for _, g := range groups {
		switch {
		case c.Weighted(g):
			return fmt.Errorf("the rows of group %d have weights, so that drawing them again does not say how sure their estimate is", g)
		case c.LateEntries(g) > 0:
			return fmt.Errorf("%d rows of group %d entered late; counts do not know which of them leaves when", c.LateEntries(g), g)
		}
	}
	return c.checkCause(cause)
}

// urn holds the rows of a group by what they do to its curve up to a time: an even place holds
// those who leave without the event after the event time before it, an odd place the events.
type urn struct {
	places int
	of     []int32 // place of each row
}

// urn sorts the rows of a group into places. Those who leave after t, or at t without the event,
// share the last one.
func (c *Counts) urn(group, cause int, t float64) urn {
	u := urn{of: make([]int32, 0, c.N(group))}
	table := c.LifeTable(group)
	events, others := table.split(cause)
	place := int32(0)
	put := func(n int64) {
		for range n {
			u.of = append(u.of, place)
		}
	}
	for row, time := range table.Time {
		if time > t {
			put(events[row])
		} else if events[row] > 0 {
			place++
			put(events[row])
			place++
		}
		put(others[row])
	}
	u.places = int(place) + 1
	return u
}

// resample returns the difference in each replicate.
func resample(first, second urn, how Resampling) []float64 {
	out := make([]float64, how.Replicates)
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), how.Replicates) {
		wait.Go(func() {
			seen := make([]uint32, max(first.places, second.places))
			for i := next.Add(1) - 1; int(i) < how.Replicates; i = next.Add(1) - 1 {
				stream := random.Stream(how.Seed, "bootstrap", uint64(i))
				out[i] = first.redrawn(seen, stream.Uint64) - second.redrawn(seen, stream.Uint64)
			}
		})
	}
	wait.Wait()
	return out
}

// redrawn draws as many rows as the urn has and returns the product-limit estimate of them. Each
// random number gives two draws: its halves, times the number of rows, over 2³², where a product
// whose remainder would favour some rows is thrown away.
//
// Source: Lemire, ACM Trans. Model. Comput. Simul. 29 (2019) 3, for draws without a division.
func (u urn) redrawn(seen []uint32, bits func() uint64) float64 {
	seen = seen[:u.places]
	clear(seen)
	n := uint32(len(u.of))
	unfair := -n % n
	var word uint64
	for drawn, half := uint32(0), false; drawn < n; half = !half {
		if half {
			word >>= 32
		} else {
			word = bits()
		}
		if product := uint64(uint32(word)) * uint64(n); uint32(product) >= unfair {
			seen[u.of[product>>32]]++
			drawn++
		}
	}
	return productOf(seen, n)
}

// productOf is the product-limit estimate of rows by place.
func productOf(seen []uint32, n uint32) float64 {
	s, atRisk := 1.0, n-seen[0]
	for place := 1; place < len(seen); place += 2 {
		if d := seen[place]; d > 0 {
			s *= float64(atRisk-d) / float64(atRisk)
		}
		atRisk -= seen[place] + seen[place+1]
	}
	return s
}

func deviation(x []float64) float64 {
	var sum, squares numeric.Sum
	for _, v := range x {
		sum.Add(v)
	}
	mean := sum.Value() / float64(len(x))
	for _, v := range x {
		off := v - mean
		squares.Add(float64(off * off))
	}
	return math.Sqrt(squares.Value() / float64(len(x)-1))
}

// orderStatistic returns the value at place (R+1)p of R sorted ones, between two if need be.
func orderStatistic(sorted []float64, p float64) float64 {
	at := float64(len(sorted)+1) * p
	below := min(max(int(at), 1), len(sorted))
	above := min(below+1, len(sorted))
	share := min(max(at-float64(below), 0), 1)
	return sorted[below-1] + float64(share*(sorted[above-1]-sorted[below-1]))
}
