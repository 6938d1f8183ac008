package schemas

import (
	"cmp"
	"slices"
)

// An export that is wrong on every row has as many findings as it has rows, and most of what they say they say alike. A
// finding is therefore kept in two parts: its kind, which all findings about one column of one file share, and a record
// of 24 bytes with the line and the places of two texts. Five million findings take about 170 MB in place of a gigabyte.
type store struct {
	kinds   []kind
	kindAt  map[kind]uint32
	last    uint32 // place of the kind added last: findings come column by column
	records []record
	texts   textStore
}

// kind is what the findings of one rule about one column of one file share.
type kind struct {
	rule                       *Rule
	table, file, field, header string
	column                     int
	masked                     bool
	order                      int
}

// record is what a finding has for itself.
type record struct {
	kind          uint32
	line          int32
	value, detail text
}

func (s *store) add(f *Finding) {
	s.records = append(s.records, record{kind: s.place(f), line: int32(f.Line), value: s.texts.add(f.Value), detail: s.texts.add(f.Detail)})
}

// place returns the place of a finding's kind.
func (s *store) place(f *Finding) uint32 {
	k := kind{f.Rule, f.Table, f.File, f.Field, f.Header, f.Column, f.Masked, f.order}
	if len(s.kinds) > 0 && s.kinds[s.last] == k {
		return s.last
	}
	at, known := s.kindAt[k]
	if !known {
		if s.kindAt == nil {
			s.kindAt = map[kind]uint32{}
		}
		at = uint32(len(s.kinds))
		s.kindAt[k], s.kinds = at, append(s.kinds, k)
	}
	s.last = at
	return at
}

// finding puts a finding together again.
func (s *store) finding(r *record) Finding {
	k := &s.kinds[r.kind]
	return Finding{Rule: k.rule, Table: k.table, File: k.file, Line: int(r.line), Column: k.column, Field: k.field, Header: k.header,
		Value: s.texts.get(r.value), Masked: k.masked, Detail: s.texts.get(r.detail), order: k.order}
}

// sort brings the findings into the order of table, file, line, column, rule, value and detail.
func (s *store) sort() {
	file, rest := s.ranks()
	slices.SortFunc(s.records, func(a, b record) int {
		if c := cmp.Or(cmp.Compare(file[a.kind], file[b.kind]), cmp.Compare(a.line, b.line), cmp.Compare(rest[a.kind], rest[b.kind])); c != 0 {
			return c
		}
		return cmp.Or(cmp.Compare(s.texts.get(a.value), s.texts.get(b.value)), cmp.Compare(s.texts.get(a.detail), s.texts.get(b.detail)))
	})
}

// ranks returns, for each kind, the rank of its file among the files of all tables, and the rank of what it
// says else among all kinds. Kinds that agree in them have equal ranks.
func (s *store) ranks() (file, rest []int32) {
	byFile := func(a, b kind) int {
		return cmp.Or(cmp.Compare(a.table, b.table), cmp.Compare(a.order, b.order), cmp.Compare(a.file, b.file))
	}
	byRest := func(a, b kind) int {
		return cmp.Or(cmp.Compare(a.column, b.column), cmp.Compare(a.rule.ID, b.rule.ID), cmp.Compare(a.field, b.field),
			cmp.Compare(a.header, b.header))
	}
	return s.rank(byFile), s.rank(byRest)
}

func (s *store) rank(compare func(a, b kind) int) []int32 {
	order := make([]uint32, len(s.kinds))
	for i := range order {
		order[i] = uint32(i)
	}
	slices.SortStableFunc(order, func(a, b uint32) int { return compare(s.kinds[a], s.kinds[b]) })
	ranks := make([]int32, len(s.kinds))
	for i := 1; i < len(order); i++ {
		ranks[order[i]] = ranks[order[i-1]]
		if compare(s.kinds[order[i-1]], s.kinds[order[i]]) != 0 {
			ranks[order[i]]++
		}
	}
	return ranks
}

// text is the place of a text in a textStore: block, offset and length. 0 is the empty text.
type text uint64

// textStore keeps texts in blocks, so that millions of short ones cost their letters and nothing else. A text that was met
// before is kept once as long as there are few different ones.
type textStore struct {
	blocks [][]byte
	known  map[string]text
}

const (
	textBlock    = 1 << 20
	textsKnown   = 1 << 14 // different texts that are looked up before they are kept again
	longestText  = textBlock - 1
	offsetBits   = 20
	lengthBits   = 20
	lengthMask   = 1<<lengthBits - 1
	offsetMask   = 1<<offsetBits - 1
	blockShifted = offsetBits + lengthBits
)

func (t *textStore) add(s string) text {
	if s == "" {
		return 0
	}
	if at, ok := t.known[s]; ok {
		return at
	}
	s = s[:min(len(s), longestText)]
	last := len(t.blocks) - 1
	if last < 0 || len(t.blocks[last])+len(s) > textBlock {
		t.blocks = append(t.blocks, make([]byte, 0, textBlock))
		last++
	}
	at := text(last)<<blockShifted | text(len(t.blocks[last]))<<lengthBits | text(len(s))
	t.blocks[last] = append(t.blocks[last], s...)
	if len(t.known) < textsKnown {
		if t.known == nil {
			t.known = map[string]text{}
		}
		t.known[t.get(at)] = at
	}
	return at
}

func (t *textStore) get(at text) string {
	if at == 0 {
		return ""
	}
	block, offset := at>>blockShifted, at>>lengthBits&offsetMask
	return string(t.blocks[block][offset : offset+at&lengthMask])
}
