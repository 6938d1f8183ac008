package survival

import "math/bits"

// digitBits is the width of one digit of the sort: 2,048 counters stay in the fastest memory.
const digitBits = 11

// countBySorting packs group, tick and cause of each row into one number, sorts the numbers
// digit by digit and counts runs. It serves many groups of few rows, and times so far apart
// that a table of them would be mostly empty.
func (l lane) countBySorting(emit func(group, tick, cause int, count uint32)) {
	causeBits := bits.Len(uint(l.causes - 1))
	tickBits := bits.Len(uint(l.ticks - 1))
	keys := l.pack(tickBits, causeBits)
	width := bits.Len(uint(l.groups-1)) + tickBits + causeBits
	keys = sortDigits(keys, width)
	for from := 0; from < len(keys); {
		key, to := keys[from], from+1
		for to < len(keys) && keys[to] == key {
			to++
		}
		cause := int(key & (1<<causeBits - 1))
		tick := int(key >> causeBits & (1<<tickBits - 1))
		emit(int(key>>(causeBits+tickBits)), tick, cause, uint32(to-from))
		from = to
	}
}

func (l lane) pack(tickBits, causeBits int) []uint64 {
	keys := make([]uint64, len(l.tick))
	for i, t := range l.tick {
		key := uint64(t)
		if l.group != nil {
			key |= uint64(l.group[i]) << tickBits
		}
		key <<= causeBits
		if l.cause != nil {
			key |= uint64(l.cause[i])
		}
		keys[i] = key
	}
	return keys
}

// sortDigits sorts numbers of the given width in bits, least significant digit first.
func sortDigits(keys []uint64, width int) []uint64 {
	spare := make([]uint64, len(keys))
	for shift := 0; shift < width; shift += digitBits {
		var place [1 << digitBits]int
		for _, k := range keys {
			place[k>>shift&(1<<digitBits-1)]++
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
