package survival

import (
	"cmp"
	"fmt"
	"math"
	"sort"
)

// cells is how many subjects share each time and cause, ascending by time, then cause. It is kept in
// columns, nine bytes a cell: in many groups of few rows nearly every row is a cell of its own, so
// that this is what the counts weigh.
type cells struct {
	tick  []int32
	count []uint32
	cause []uint8   // nil: all 0
	times []float64 // of the ticks; nil: they are the times
}

// makeCells returns n cells to be put, without causes if there is only one.
func makeCells(n, causes int) cells {
	c := cells{tick: make([]int32, n), count: make([]uint32, n)}
	if causes > 1 {
		c.cause = make([]uint8, n)
	}
	return c
}

func (c *cells) put(i int, tick int, count uint32, cause int) {
	c.tick[i], c.count[i] = int32(tick), count
	if c.cause != nil {
		c.cause[i] = uint8(cause)
	}
}

// part returns cells from to to.
func (c *cells) part(from, to int) cells {
	out := cells{tick: c.tick[from:to:to], count: c.count[from:to:to], times: c.times}
	if c.cause != nil {
		out.cause = c.cause[from:to:to]
	}
	return out
}

func (c *cells) len() int { return len(c.tick) }

func (c *cells) time(i int) float64 {
	if c.times == nil {
		return float64(c.tick[i])
	}
	return c.times[c.tick[i]]
}

func (c *cells) causeOf(i int) uint8 {
	if c.cause == nil {
		return 0
	}
	return c.cause[i]
}

// first says whether a cell is the first of its time.
func (c *cells) first(i int) bool { return i == 0 || c.tick[i] != c.tick[i-1] }

// lastTick returns the tick of the last cell, or −1.
func (c *cells) lastTick() int {
	if c.len() == 0 {
		return -1
	}
	return int(c.tick[c.len()-1])
}

func (c *cells) total() (n int64) {
	for _, x := range c.count {
		n += int64(x)
	}
	return n
}

// before returns how many cells have an earlier time.
func (c *cells) before(t float64) int {
	return sort.Search(c.len(), func(i int) bool { return c.time(i) >= t })
}

// find returns the place of a tick and cause that are known to be there.
func (c *cells) find(tick int32, cause uint8) int {
	return sort.Search(c.len(), func(i int) bool {
		return c.tick[i] > tick || c.tick[i] == tick && c.causeOf(i) >= cause
	})
}

// compare orders cell i before cell j of other cells by time, then cause.
func (c *cells) compare(i int, other *cells, j int) int {
	if byTime := cmp.Compare(c.time(i), other.time(j)); byTime != 0 {
		return byTime
	}
	return cmp.Compare(c.causeOf(i), other.causeOf(j))
}

// equal says whether both hold as many at the same times and causes.
func (c *cells) equal(other *cells) bool {
	if c.len() != other.len() {
		return false
	}
	for i := range c.count {
		if c.count[i] != other.count[i] || c.compare(i, other, i) != 0 {
			return false
		}
	}
	return true
}

// sameTicks says whether a tick of one is the same time as that tick of the other.
func (c *cells) sameTicks(other *cells) bool {
	if len(c.times) != len(other.times) {
		return false
	}
	return len(c.times) == 0 || &c.times[0] == &other.times[0]
}

// merge returns two lists of cells as one, adding up those that agree in time and cause, and their
// weights if any has some.
func merge(a, b *cells, aw, bw []float64, weighted bool) (out cells, weights []float64, err error) {
	m := merger{out: cells{times: a.times}, keep: a.sameTicks(b), causes: a.cause != nil || b.cause != nil}
	if weighted {
		m.weights = []float64{}
	}
	for i, j := 0, 0; i < a.len() || j < b.len(); {
		order := 0
		switch {
		case j == b.len():
			order = -1
		case i == a.len():
			order = 1
		default:
			order = a.compare(i, b, j)
		}
		count, weight := uint64(0), 0.0
		from, at := a, i
		if order <= 0 {
			count, weight = uint64(a.count[i]), weightOf(a, aw, i)
			i++
		}
		if order >= 0 {
			from, at = b, j
			count, weight = count+uint64(b.count[j]), weight+weightOf(b, bw, j)
			j++
		}
		if count > math.MaxUint32 {
			return cells{}, nil, fmt.Errorf("%d rows end at %v with cause %d, more than can be counted", count, from.time(at), from.causeOf(at))
		}
		m.take(from, at, uint32(count), weight)
	}
	return m.out, m.weights, nil
}

// merger puts merged cells one after the other. Where the two sides have ticks of different times
// it makes a list of times of its own.
type merger struct {
	out     cells
	weights []float64
	keep    bool // the ticks
	causes  bool
	own     bool
}

func (m *merger) take(from *cells, at int, count uint32, weight float64) {
	tick := from.tick[at]
	if !m.keep {
		if !m.own {
			m.own, m.out.times = true, []float64{}
		}
		if t, n := from.time(at), len(m.out.times); n == 0 || m.out.times[n-1] != t {
			m.out.times = append(m.out.times, t)
		}
		tick = int32(len(m.out.times) - 1)
	}
	m.out.tick, m.out.count = append(m.out.tick, tick), append(m.out.count, count)
	if m.causes {
		m.out.cause = append(m.out.cause, from.causeOf(at))
	}
	if m.weights != nil {
		m.weights = append(m.weights, weight)
	}
}

// weightOf returns the weight of a cell, which without weights is its count.
func weightOf(c *cells, weights []float64, i int) float64 {
	if weights == nil {
		return float64(c.count[i])
	}
	return weights[i]
}
