package schemas

import (
	"hash/maphash"
	"math"
	"math/bits"
)

// rowSet is a set of rows of a table, in which two rows are the same when they agree in some of its columns. It is a
// hash table with linear probing that stores row numbers only. Rows found by their hash are compared, so that neither
// the hash nor its seed, which differs from run to run, can be seen in what it answers.
type rowSet struct {
	columns []*Column
	hashes  []uint64
	slots   []int32 // row + 1; 0 is free
}

// newRowSet makes an empty set for a table of n rows.
func newRowSet(columns []*Column, n int) *rowSet {
	s := &rowSet{columns: columns, hashes: make([]uint64, n), slots: make([]int32, 1<<bits.Len(uint(2*n)))}
	seed := maphash.MakeSeed()
	for _, c := range columns {
		c.mixInto(s.hashes, seed)
	}
	return s
}

// add puts a row into the set. When the set has a row that agrees with it, the set stays as it is and that row is
// returned.
func (s *rowSet) add(row int) (other int, repeated bool) {
	at := s.slot(row)
	if s.slots[at] != 0 {
		return int(s.slots[at]) - 1, true
	}
	s.slots[at] = int32(row) + 1
	return 0, false
}

// replace puts a row in the place of one that agrees with it.
func (s *rowSet) replace(old, row int) { s.slots[s.slot(old)] = int32(row) + 1 }

// like returns the row of the set that agrees with the given row, which must have been added.
func (s *rowSet) like(row int) int { return int(s.slots[s.slot(row)]) - 1 }

// slot returns the slot that holds a row which agrees with this one, or the free slot where it belongs.
func (s *rowSet) slot(row int) uint64 {
	mask := uint64(len(s.slots) - 1)
	at := s.hashes[row] & mask
	for ; s.slots[at] != 0; at = (at + 1) & mask {
		if held := int(s.slots[at]) - 1; s.hashes[held] == s.hashes[row] && s.agree(held, row) {
			break
		}
	}
	return at
}

func (s *rowSet) agree(a, b int) bool {
	for _, c := range s.columns {
		if !c.equal(a, b) {
			return false
		}
	}
	return true
}

// mixInto stirs the value of each row into the row's hash.
func (c *Column) mixInto(hashes []uint64, seed maphash.Seed) {
	for row := range hashes {
		hashes[row] = stir(hashes[row] ^ c.hash(row, seed))
	}
}

func (c *Column) hash(row int, seed maphash.Seed) uint64 {
	switch {
	case c.texts != nil:
		return maphash.String(seed, c.texts.Value(row))
	case c.days != nil:
		return uint64(c.days[row])
	case c.ints != nil:
		return uint64(c.ints[row])
	case c.numbers != nil:
		return numberBits(c.numbers[row])
	default:
		return uint64(c.codes[row])
	}
}

// numberBits gives numbers that are equal one pattern of bits: 0 and -0, and every NaN.
func numberBits(x float64) uint64 {
	if x == 0 {
		x = 0
	}
	if math.IsNaN(x) {
		x = math.NaN()
	}
	return math.Float64bits(x)
}

// stir spreads the bits of a hash; it is the mixing step of SplitMix64 (Steele, Lea and Flood 2014).
func stir(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// equal reports whether two rows hold the same value. Two missing values are the same.
func (c *Column) equal(a, b int) bool {
	switch {
	case c.texts != nil:
		return c.texts.Value(a) == c.texts.Value(b)
	case c.days != nil:
		return c.days[a] == c.days[b]
	case c.ints != nil:
		return c.ints[a] == c.ints[b]
	case c.numbers != nil:
		return c.numbers[a] == c.numbers[b] || math.IsNaN(c.numbers[a]) && math.IsNaN(c.numbers[b])
	default:
		return c.codes[a] == c.codes[b]
	}
}

// missing is IsMissing without the way through Arrow, for the loops over all rows.
func (c *Column) missing(row int) bool {
	switch {
	case c.texts != nil:
		return c.texts.ValueLen(row) == 0
	case c.days != nil:
		return c.days[row] == NoDay
	case c.ints != nil:
		return c.ints[row] == NoInt
	case c.numbers != nil:
		return math.IsNaN(c.numbers[row])
	default:
		return c.codes[row] < 0
	}
}

// named returns the columns of the given fields, and false when the export lacks one of them.
func (t *Table) named(fields []string) ([]*Column, bool) {
	columns := make([]*Column, len(fields))
	for i, name := range fields {
		if columns[i] = t.columns[name]; columns[i] == nil {
			return nil, false
		}
	}
	return columns, true
}
