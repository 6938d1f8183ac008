package ingest

import (
	"encoding/binary"
	"math/bits"
)

// target is what a cell of a Code field stands for: a place in the field's list of codes ([schemas.NoCode] for missing)
// and the recode that led there.
type target struct {
	code   int16
	recode int
}

const notRecoded = -1

// codeIndex finds a short text among few, many millions of times. It is an open-addressed hash table; a Go map costs
// about three times as much for cells of this kind.
type codeIndex struct {
	slots   []slot // a power of two, at most half full
	keys    []string
	targets []target // of the keys; unused when keys are only counted
}

type slot struct {
	word uint64 // of a key of up to eight bytes, these; otherwise its hash
	key  int32  // place in keys plus one; 0 for an empty slot
	size int32
}

func newCodeIndex() *codeIndex { return &codeIndex{slots: make([]slot, 16)} }

// add enters a key unless it is there already: the first meaning stands.
func (x *codeIndex) add(key string, t target) {
	if x.find([]byte(key)) < 0 {
		x.insert(key)
		x.targets = append(x.targets, t)
	}
}

// find returns the place of a key, or -1. The length and the word of a short key are the key.
func (x *codeIndex) find(b []byte) int {
	word, size := wordOf(b), int32(len(b))
	mask := uint32(len(x.slots) - 1)
	for i := home(word) & mask; ; i = (i + 1) & mask {
		s := &x.slots[i]
		if s.key == 0 {
			return -1
		}
		if s.word == word && s.size == size && (size <= 8 || x.keys[s.key-1] == string(b)) {
			return int(s.key - 1)
		}
	}
}

// insert enters a key that is not there yet and returns its place.
func (x *codeIndex) insert(key string) int {
	x.keys = append(x.keys, key)
	if 2*len(x.keys) > len(x.slots) {
		x.slots = make([]slot, 2*len(x.slots))
		for i := range x.keys {
			x.place(i)
		}
	} else {
		x.place(len(x.keys) - 1)
	}
	return len(x.keys) - 1
}

func (x *codeIndex) place(key int) {
	b := []byte(x.keys[key])
	word := wordOf(b)
	mask := uint32(len(x.slots) - 1)
	i := home(word) & mask
	for x.slots[i].key != 0 {
		i = (i + 1) & mask
	}
	x.slots[i] = slot{word, int32(key + 1), int32(len(b))}
}

// wordOf packs up to eight bytes into a word, each at its place. Of a longer text it multiplies words together, the last of
// them overlapping the one before; what comes out decides only where a key lies, never what a cell means.
func wordOf(b []byte) uint64 {
	switch n := len(b); {
	case n > 8:
		return hash(b)
	case n == 8:
		return binary.LittleEndian.Uint64(b)
	case n >= 4:
		return uint64(binary.LittleEndian.Uint32(b)) | uint64(binary.LittleEndian.Uint32(b[n-4:]))<<(8*(n-4))
	case n > 0:
		return uint64(b[0]) | uint64(b[n/2])<<(8*(n/2)) | uint64(b[n-1])<<(8*(n-1))
	}
	return 0
}

// Odd numbers whose bits have no order.
const unordered, unordered2 = 0x9e3779b97f4a7c15, 0xd6e8feb86659fd93

func hash(b []byte) uint64 {
	h := uint64(len(b)) * unordered
	for len(b) > 8 {
		h = mix(h^binary.LittleEndian.Uint64(b), unordered2)
		b = b[min(8, len(b)-8):]
	}
	return mix(h^binary.LittleEndian.Uint64(b), unordered2)
}

// home is the slot where a word is looked for first.
func home(word uint64) uint32 { return uint32(word * unordered >> 32) }

func mix(a, b uint64) uint64 {
	hi, lo := bits.Mul64(a, b)
	return hi ^ lo
}
