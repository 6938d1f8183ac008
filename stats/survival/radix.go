package survival

import "math/bits"

// digitBits is the width of one digit of the sort: 2,048 counters stay in the fastest memory.
const digitBits = 11

// digits is a number that the sort can handle.
type digits interface{ ~uint32 | ~uint64 }

func (l lane) causeBits() int { return bits.Len(uint(l.causes - 1)) }
func (l lane) tickBits() int  { return bits.Len(uint(l.ticks - 1)) }

// keyBits is the width of a packed row: at most 24 for the group, 31 and 8.
func (l lane) keyBits() int {
	return bits.Len(uint(l.groups-1)) + l.tickBits() + l.causeBits()
}

// countBySorting packs group, tick and cause of each row into one number, sorts the numbers
// digit by digit and counts runs. It serves many groups of few rows, and times so far apart
// that a table of them would be mostly empty.
func countBySorting[K digits](l lane, groups []cells) {
	keys := sortDigits(pack[K](l), 0, l.keyBits())
	found := 0
	for i := range keys {
		if i == 0 || keys[i] != keys[i-1] {
			found++
		}
	}
	all, next := makeCells(found, l.causes), 0
	causes, ticks := l.causeBits(), l.tickBits()
	for from := 0; from < len(keys); {
		key, to := keys[from], from+1
		for to < len(keys) && keys[to] == key {
			to++
		}
		all.put(next, int(key>>causes&(1<<ticks-1)), uint32(to-from), int(key&(1<<causes-1)))
		next++
		g := &groups[key>>ticks>>causes]
		*g = all.part(next-g.len()-1, next)
		from = to
	}
}

func pack[K digits](l lane) []K {
	keys := make([]K, len(l.tick))
	causes, ticks := l.causeBits(), l.tickBits()
	for i, t := range l.tick {
		key := K(t)
		if l.group != nil {
			key |= K(l.group[i]) << ticks
		}
		key <<= causes
		if l.cause != nil {
			key |= K(l.cause[i])
		}
		keys[i] = key
	}
	return keys
}

// sortDigits sorts numbers by their bits from one to another, least significant digit first; those
// that agree in these keep their order. A digit that all share costs one look.
func sortDigits[K digits](keys []K, from, to int) []K {
	spare := make([]K, len(keys))
	for shift := from; shift < to && len(keys) > 0; shift += digitBits {
		var place [1 << digitBits]int
		for _, k := range keys {
			place[k>>shift&(1<<digitBits-1)]++
		}
		if place[keys[0]>>shift&(1<<digitBits-1)] == len(keys) {
			continue
		}
		sum := 0
		for d, n := range place {
			place[d] = sum
			sum += n
		}
		for _, k := range keys {
			d := k >> shift & (1<<digitBits - 1)
			spare[place[d]] = k
			place[d]++
		}
		keys, spare = spare, keys
	}
	return keys
}
