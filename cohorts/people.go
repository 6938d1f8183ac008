package cohorts

import (
	"cmp"
	"encoding/binary"
	"hash/maphash"
	"math/bits"
	"strings"
)

// people numbers the patients of a study in the order of their pseudonyms, so that a patient's number does not depend
// on the order of the rows. The pseudonyms stand on shelves by their hash, each shelf a hash table small enough for a
// processor's own cache. Rows are looked up shelf by shelf and not as they come, so that the time for a row does not
// grow with the number of patients. What is found by its hash is compared, so that the hash's seed, which differs from
// run to run, cannot be seen in any answer.
type people struct {
	seed    maphash.Seed
	mix     [2]uint64
	shelves []shelf
	shift   int     // a hash shifted so far right is the number of a shelf
	count   int     // of patients, once they are numbered
	rank    []int32 // place among all, shelf after shelf → patient
	batch   batch
}

// shelf is a hash table with linear probing.
type shelf struct {
	slots []slot
	names []name // in order of appearance
	first int    // place of the first name among all
}

type slot struct {
	packed
	id int32 // position in names + 1; 0 is free
}

type name struct {
	packed
	text string
}

// packed is a pseudonym of up to 15 bytes with its length in the last byte, or the beginning and the hash of a longer
// one, with a last byte that no length has.
type packed struct{ head, tail uint64 }

const (
	longest  = 15
	longMark = 0xff
	// shelfSize is for how many patients a shelf is made: its slots then take some 200 KB.
	shelfSize = 1 << 12
)

// newPeople makes shelves for at most so many patients.
func newPeople(most int) *people {
	width := bits.Len(uint(most) / shelfSize)
	p := &people{seed: maphash.MakeSeed(), shelves: make([]shelf, 1<<width), shift: 64 - width}
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

func (k packed) long() bool { return k.tail&longMark == longMark }

// hash folds the product of the two halves.
func (p *people) hash(k packed) uint64 {
	high, low := bits.Mul64(k.head^p.mix[0], k.tail^p.mix[1])
	return high ^ low
}

// seek returns the slot that holds a pseudonym, or the free one where it would stand.
func (s *shelf) seek(k packed, hash uint64, text func() string) *slot {
	mask := uint64(len(s.slots) - 1)
	for at := hash & mask; ; at = (at + 1) & mask {
		c := &s.slots[at]
		if c.id == 0 || c.packed == k && (!k.long() || s.names[c.id-1].text == text()) {
			return c
		}
	}
}

// find returns the position of a pseudonym on its shelf, or -1.
func (s *shelf) find(k packed, hash uint64, text func() string) int32 {
	if len(s.names) == 0 {
		return -1
	}
	return s.seek(k, hash, text).id - 1
}

// add returns the position of a pseudonym on its shelf.
func (p *people) add(s *shelf, k packed, hash uint64, text func() string) int32 {
	if 2*len(s.names) >= len(s.slots) {
		p.widen(s)
	}
	c := s.seek(k, hash, text)
	if c.id == 0 {
		s.names = append(s.names, name{k, text()})
		*c = slot{k, int32(len(s.names))}
	}
	return c.id - 1
}

// widen gives a shelf twice as many slots.
func (p *people) widen(s *shelf) {
	s.slots = make([]slot, max(64, 2*len(s.slots)))
	for i, n := range s.names {
		*s.seek(n.packed, p.hash(n.packed), func() string { return n.text }) = slot{n.packed, int32(i) + 1}
	}
}

// addAll adds the pseudonyms of the rows whose id is 0 or more. The ids become what patient takes.
func (p *people) addAll(text func(row int) string, ids []int32) {
	p.eachShelf(text, ids, func(at int32, k packed, hash uint64, text func() string) int32 {
		return at<<p.local() | p.add(&p.shelves[at], k, hash, text)
	})
}

// findAll looks up the pseudonyms of the rows whose id is 0 or more. The ids become the patients, -1 for nobody.
func (p *people) findAll(text func(row int) string, ids []int32) {
	p.eachShelf(text, ids, func(at int32, k packed, hash uint64, text func() string) int32 {
		return p.numbered(&p.shelves[at], k, hash, text)
	})
}

// find returns the patient with a pseudonym, or -1.
func (p *people) find(text string) int32 {
	k := p.pack(text)
	hash := p.hash(k)
	return p.numbered(&p.shelves[hash>>p.shift], k, hash, func() string { return text })
}

func (p *people) numbered(s *shelf, k packed, hash uint64, text func() string) int32 {
	at := s.find(k, hash, text)
	if at < 0 {
		return -1
	}
	return p.rank[s.first+int(at)]
}

// local is how many bits of what addAll gives are the position on the shelf.
func (p *people) local() int { return p.shift - 33 }

// patient returns the patient of what addAll gave, once all are numbered.
func (p *people) patient(id int32) int32 {
	return p.rank[p.shelves[id>>p.local()].first+int(id&(1<<p.local()-1))]
}

// number gives every patient a number, in the order of the pseudonyms. Nobody can be added afterwards.
func (p *people) number() {
	for i := range p.shelves {
		p.shelves[i].first = p.count
		p.count += len(p.shelves[i].names)
	}
	type placed struct {
		packed
		shelf, place int32
	}
	order := make([]placed, p.count)
	inPartsOf(1, len(p.shelves), func(_, at, _ int) {
		s := &p.shelves[at]
		for i, n := range s.names {
			order[s.first+i] = placed{n.packed, int32(at), int32(s.first + i)}
		}
	})
	text := func(o placed) string { s := &p.shelves[o.shelf]; return s.names[int(o.place)-s.first].text }
	sortInParts(order, func(a, b placed) int {
		switch {
		case a.head != b.head:
			return cmp.Compare(a.head, b.head)
		case a.long() || b.long():
			return strings.Compare(text(a), text(b))
		}
		return cmp.Compare(a.tail, b.tail)
	})
	p.rank = make([]int32, p.count)
	for patient, o := range order {
		p.rank[o.place] = int32(patient)
	}
}
