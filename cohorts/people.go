package cohorts

import (
	"cmp"
	"encoding/binary"
	"hash/maphash"
	"math/bits"
	"strings"

	"deltoid/schemas"
)

// people numbers the patients of a study in the order of their pseudonyms, so that a patient's number does not depend
// on the order of the rows. It is a hash table with linear probing whose slots hold short pseudonyms whole: to find one
// costs one wait for memory. What is found by its hash is compared, so that the hash's seed, which differs from run to
// run, cannot be seen in any answer.
type people struct {
	seed  maphash.Seed
	mix   [2]uint64
	slots []slot
	mask  uint64
	texts []string // in order of appearance; from number on, in order
	rank  []int32  // position of appearance → patient
}

// slot is one place of the table.
type slot struct {
	packed
	id int32 // position in texts + 1; 0 is free
}

// packed is a pseudonym of up to 15 bytes with its length in the last byte, or the beginning and the hash of a longer
// one, with a last byte that no length has.
type packed struct{ head, tail uint64 }

const (
	longest  = 15
	longMark = 0xff
)

// newPeople makes a table for at most so many patients.
func newPeople(most int) *people {
	size := uint64(1) << bits.Len(uint(2*most))
	p := &people{seed: maphash.MakeSeed(), slots: make([]slot, size), mask: size - 1}
	p.mix = [2]uint64{maphash.String(p.seed, "head"), maphash.String(p.seed, "tail")}
	return p
}

func (p *people) pack(text string) packed {
	var b [16]byte
	copy(b[:longest], text)
	k := packed{binary.BigEndian.Uint64(b[:8]), binary.BigEndian.Uint64(b[8:])}
	if len(text) <= longest {
		k.tail |= uint64(len(text))
	} else {
		k.tail = maphash.String(p.seed, text) | longMark
	}
	return k
}

// hash folds the product of the two halves.
func (p *people) hash(k packed) uint64 {
	high, low := bits.Mul64(k.head^p.mix[0], k.tail^p.mix[1])
	return high ^ low
}

// is reports whether a slot that holds the same packed form holds the text.
func (p *people) is(s slot, text string) bool {
	return s.tail&longMark != longMark || p.texts[s.id-1] == text
}

// add returns the position of a pseudonym in order of appearance.
func (p *people) add(text string) int32 {
	k := p.pack(text)
	return p.insert(text, k, p.hash(k))
}

func (p *people) insert(text string, k packed, hash uint64) int32 {
	at := hash & p.mask
	for ; p.slots[at].id != 0; at = (at + 1) & p.mask {
		if s := p.slots[at]; s.packed == k && p.is(s, text) {
			return s.id - 1
		}
	}
	p.texts = append(p.texts, text)
	p.slots[at] = slot{k, int32(len(p.texts))}
	return int32(len(p.texts)) - 1
}

// block is how many pseudonyms are looked up together, step by step, so that the processor can wait for many places in
// memory at once: in a table of a million patients nearly every step is such a wait.
const block = 128

// addAll adds the pseudonyms of the rows whose id is 0 or more, and puts their positions in the place of these.
func (p *people) addAll(c *schemas.Column, ids []int32) {
	var keys [block]packed
	var hashes [block]uint64
	var wait int32
	for from := 0; from < len(ids); from += block {
		part := ids[from:min(from+block, len(ids))]
		for i := range part {
			if part[i] >= 0 {
				keys[i] = p.pack(c.Text(from + i))
				hashes[i] = p.hash(keys[i])
				wait |= p.slots[hashes[i]&p.mask].id
			}
		}
		for i := range part {
			if part[i] >= 0 {
				part[i] = p.insert(c.Text(from+i), keys[i], hashes[i])
			}
		}
	}
	_ = wait // the first look at a slot only fetches it
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
	sortInParts(order, func(a, b headed) int {
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
	inParts(len(p.slots), func(_, from, to int) {
		for i := from; i < to; i++ {
			if s := &p.slots[i]; s.id != 0 {
				s.id = p.rank[s.id-1] + 1
			}
		}
	})
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
	k := p.pack(text)
	return p.probe(text, k, p.hash(k))
}

// probe looks for a pseudonym from the slot that its hash points at.
func (p *people) probe(text string, k packed, hash uint64) int32 {
	for at := hash & p.mask; p.slots[at].id != 0; at = (at + 1) & p.mask {
		if s := p.slots[at]; s.packed == k && p.is(s, text) {
			return s.id - 1
		}
	}
	return -1
}

// findAll finds the patients of the rows from, from+1, ….
func (p *people) findAll(c *schemas.Column, from int, patients []int32) {
	var keys [block]packed
	var hashes [block]uint64
	for ; len(patients) > 0; from += block {
		part := patients[:min(block, len(patients))]
		for i := range part {
			keys[i] = p.pack(c.Text(from + i))
			hashes[i] = p.hash(keys[i])
			part[i] = p.slots[hashes[i]&p.mask].id // fetches the slot
		}
		for i := range part {
			part[i] = p.probe(c.Text(from+i), keys[i], hashes[i])
		}
		patients = patients[len(part):]
	}
}

func (p *people) count() int { return len(p.texts) }
