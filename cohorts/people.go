package cohorts

import (
	"cmp"
	"encoding/binary"
	"hash/maphash"
	"math/bits"
	"slices"
	"strings"

	"deltoid/schemas"
)

// people numbers the patients of a study in the order of their pseudonyms, so that a patient's number does not depend
// on the order of the rows. It is a hash table with linear probing. What is found by its hash is compared, so that the
// hash's seed, which differs from run to run, cannot be seen in any answer.
type people struct {
	seed  maphash.Seed
	slots []uint64 // upper half of the hash, then position in texts + 1; 0 is free
	mask  uint64
	texts []string // in order of appearance; from number on, in order
	rank  []int32  // position of appearance → patient
}

// newPeople makes a table for at most so many patients.
func newPeople(most int) *people {
	size := uint64(1) << bits.Len(uint(2*most))
	return &people{seed: maphash.MakeSeed(), slots: make([]uint64, size), mask: size - 1}
}

const upperHalf = 0xffffffff_00000000

// add returns the position of a pseudonym in order of appearance.
func (p *people) add(text string) int32 {
	hash := maphash.String(p.seed, text)
	at := hash & p.mask
	for ; p.slots[at] != 0; at = (at + 1) & p.mask {
		if id := int32(uint32(p.slots[at])) - 1; (p.slots[at]^hash)&upperHalf == 0 && p.texts[id] == text {
			return id
		}
	}
	p.texts = append(p.texts, text)
	p.slots[at] = hash&upperHalf | uint64(len(p.texts))
	return int32(len(p.texts)) - 1
}

// number gives every patient its number. Nobody can be added afterwards.
func (p *people) number() {
	skip := sharedPrefix(p.texts)
	type headed struct {
		head uint64 // the eight bytes after the shared prefix, to compare most pairs without following a pointer
		id   int32
	}
	order := make([]headed, len(p.texts))
	for i, t := range p.texts {
		var head [8]byte
		copy(head[:], t[skip:])
		order[i] = headed{binary.BigEndian.Uint64(head[:]), int32(i)}
	}
	slices.SortFunc(order, func(a, b headed) int {
		if a.head != b.head {
			return cmp.Compare(a.head, b.head)
		}
		return strings.Compare(p.texts[a.id], p.texts[b.id])
	})
	p.rank = make([]int32, len(order))
	texts := make([]string, len(order))
	for rank, o := range order {
		p.rank[o.id] = int32(rank)
		texts[rank] = p.texts[o.id]
	}
	p.texts = texts
	for i, slot := range p.slots {
		if slot != 0 {
			p.slots[i] = slot&upperHalf | uint64(p.rank[uint32(slot)-1]+1)
		}
	}
}

// sharedPrefix returns the number of bytes that all texts begin with.
func sharedPrefix(texts []string) int {
	if len(texts) == 0 {
		return 0
	}
	n := len(texts[0])
	for _, t := range texts[1:] {
		n = min(n, len(t))
		for t[:n] != texts[0][:n] {
			n--
		}
	}
	return n
}

// find returns the patient with a pseudonym, or -1.
func (p *people) find(text string) int32 {
	hash := maphash.String(p.seed, text)
	return p.probe(text, hash, p.slots[hash&p.mask])
}

// probe looks for a pseudonym from the slot that its hash points at.
func (p *people) probe(text string, hash, slot uint64) int32 {
	for at := hash; slot != 0; {
		if id := int32(uint32(slot)) - 1; (slot^hash)&upperHalf == 0 && p.texts[id] == text {
			return id
		}
		at++
		slot = p.slots[at&p.mask]
	}
	return -1
}

// findAll finds the patients of the rows from, from+1, …. It goes through them in blocks, step by step, so that the
// processor can wait for many places in memory at once: in a table of a million patients nearly every step is such a wait.
func (p *people) findAll(c *schemas.Column, from int, patients []int32) {
	const block = 128
	var hashes, slots [block]uint64
	for ; len(patients) > 0; from += block {
		n := min(block, len(patients))
		for i := range n {
			hashes[i] = maphash.String(p.seed, c.Text(from+i))
		}
		for i := range n {
			slots[i] = p.slots[hashes[i]&p.mask]
		}
		for i := range n {
			patients[i] = p.probe(c.Text(from+i), hashes[i], slots[i])
		}
		patients = patients[n:]
	}
}

func (p *people) count() int { return len(p.texts) }
