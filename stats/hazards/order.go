package hazards

import "math"

// digitBits is the width of one digit of the sort: 2,048 counters stay in the fastest memory.
const digitBits = 11

// keyed is a row with the number it is sorted by.
type keyed struct {
	key uint64
	row int32
}

// sortKeyed sorts by key, least significant digit first; rows of one key keep their order. A digit
// that all share costs one look.
func sortKeyed(rows []keyed) []keyed {
	spare := make([]keyed, len(rows))
	for shift := 0; shift < 64 && len(rows) > 0; shift += digitBits {
		var place [1 << digitBits]int
		for _, r := range rows {
			place[r.key>>shift&(1<<digitBits-1)]++
		}
		if place[rows[0].key>>shift&(1<<digitBits-1)] == len(rows) {
			continue
		}
		sum := 0
		for d, n := range place {
			place[d] = sum
			sum += n
		}
		for _, r := range rows {
			d := r.key >> shift & (1<<digitBits - 1)
			spare[place[d]] = r
			place[d]++
		}
		rows, spare = spare, rows
	}
	return rows
}

// byValue returns the rows in ascending order of a value that is not NaN.
func byValue(values []float64) []keyed {
	rows := make([]keyed, len(values))
	for i, x := range values {
		b := math.Float64bits(x + 0) // −0 + 0 is 0
		if b>>63 > 0 {
			b = ^b
		} else {
			b |= 1 << 63
		}
		rows[i] = keyed{b, int32(i)}
	}
	return sortKeyed(rows)
}
