package hazards

import (
	"slices"

	"deltoid/stats/covariates"
)

// slots numbers the times with an event, stratum by stratum. Each stratum begins with a slot that
// stands for the very start; slot k of the others stands for "just after its time". A row is at
// risk at the times of the slots after enter up to and including leave.
type slots struct {
	n     int     // of slots
	first []int32 // slot of the very start of each stratum, and the end
	tick  []int32 // of each slot; −1 at the very start
	leave []int32 // of each row
	enter []int32 // of each row; nil if all are there from the start
}

// dense says whether a table of all ticks of all strata is small beside the rows.
func denseTicks(strata int, last int32, rows int) bool {
	return int64(strata)*(int64(last)+1) <= 4*int64(rows)+1<<16
}

func newSlots(d Data, cause uint8, last int32, strata int) *slots {
	s := &slots{first: make([]int32, strata+1)}
	keys := eventKeys(d, cause, last, strata)
	s.tick = make([]int32, 0, len(keys)+strata)
	at := 0
	for g := range strata {
		s.first[g] = int32(len(s.tick))
		s.tick = append(s.tick, -1)
		for ; at < len(keys) && int(keys[at]>>32) == g; at++ {
			s.tick = append(s.tick, int32(uint32(keys[at])))
		}
	}
	s.n = len(s.tick)
	s.first[strata] = int32(s.n)
	s.place(d, last, strata)
	return s
}

// eventKeys returns stratum<<32 | tick of all events, ascending, each once.
func eventKeys(d Data, cause uint8, last int32, strata int) []uint64 {
	var keys []uint64
	if denseTicks(strata, last, len(d.Exit)) {
		width := int(last) + 1
		seen := make([]bool, strata*width)
		for i, c := range d.Cause {
			if c == cause && d.weight(i) > 0 {
				seen[int(d.stratum(i))*width+int(d.Exit[i])] = true
			}
		}
		for at, yes := range seen {
			if yes {
				keys = append(keys, uint64(at/width)<<32|uint64(at%width))
			}
		}
		return keys
	}
	for i, c := range d.Cause {
		if c == cause && d.weight(i) > 0 {
			keys = append(keys, uint64(d.stratum(i))<<32|uint64(d.Exit[i]))
		}
	}
	slices.Sort(keys)
	return slices.Compact(keys)
}

// place finds the slots of every row.
func (s *slots) place(d Data, last int32, strata int) {
	find := s.search
	if denseTicks(strata, last, len(d.Exit)) {
		width := int(last) + 1
		table := make([]int32, strata*width)
		for g := range strata {
			at := s.first[g]
			for t := range width {
				if at+1 < s.first[g+1] && s.tick[at+1] == int32(t) {
					at++
				}
				table[g*width+t] = at
			}
		}
		find = func(g, tick int32) int32 { return table[int(g)*width+int(tick)] }
	}
	s.leave = make([]int32, len(d.Exit))
	if d.Entry != nil {
		s.enter = make([]int32, len(d.Exit))
	}
	covariates.InPieces(len(d.Exit), func(_, _, from, to int) {
		for i := from; i < to; i++ {
			g := d.stratum(i)
			s.leave[i] = find(g, d.Exit[i])
			if s.enter == nil {
				continue
			}
			if s.enter[i] = s.first[g]; d.Entry[i] > 0 {
				s.enter[i] = find(g, d.Entry[i])
			}
		}
	})
}

// search returns the last slot of a stratum at or before a tick.
func (s *slots) search(g, tick int32) int32 {
	from := s.first[g]
	at, _ := slices.BinarySearch(s.tick[from+1:s.first[g+1]], tick+1)
	return from + int32(at)
}

// isStart reports whether a slot is the very start of its stratum.
func (s *slots) isStart(slot int32) bool { return s.tick[slot] < 0 }

// downwards turns sums of those who leave, less those who enter, into sums over those at risk.
func (s *slots) downwards(table []float64) {
	for g := range len(s.first) - 1 {
		running := 0.0
		for k := int(s.first[g+1]) - 1; k >= int(s.first[g]); k-- {
			running += table[k]
			table[k] = running
		}
		table[s.first[g]] = 0
	}
}

// upwards sums a table from the start of each stratum.
func (s *slots) upwards(table []float64) {
	for g := range len(s.first) - 1 {
		running := 0.0
		for k := s.first[g]; k < s.first[g+1]; k++ {
			running += table[k]
			table[k] = running
		}
	}
}
