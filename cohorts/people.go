package cohorts

import (
	"cmp"
	"encoding/binary"
	"slices"
	"strings"
)

// people numbers the patients of a study in the order of their pseudonyms, so that a patient's number does not depend
// on the order of the rows.
type people struct {
	seen  map[string]int32 // pseudonym → position in texts
	texts []string         // in order of appearance
	rank  []int32          // position in texts → patient
}

func newPeople(rows int) *people { return &people{seen: make(map[string]int32, rows)} }

// add returns the position of a pseudonym in texts.
func (p *people) add(text string) int32 {
	id, known := p.seen[text]
	if !known {
		id = int32(len(p.texts))
		p.seen[text] = id
		p.texts = append(p.texts, text)
	}
	return id
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
	for rank, o := range order {
		p.rank[o.id] = int32(rank)
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
	if id, known := p.seen[text]; known {
		return p.rank[id]
	}
	return -1
}

func (p *people) count() int { return len(p.texts) }
