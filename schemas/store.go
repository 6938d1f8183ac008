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
	sorted  bool
	spill   *spill // findings that were written out; nil when there are none
	limit   int    // records in memory before they are; mostRecords when 0
	stay    bool   // findings stay in memory, since they cannot be written out
	failed  error  // why those that were written out cannot be read again
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
	if !s.stay && (len(s.records) >= cmp.Or(s.limit, mostRecords) || s.texts.letters() >= mostLetters) {
		s.writeOut()
	}
	s.sorted = false
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
func (s *store) finding(e *entry) Finding {
	k := &s.kinds[e.kind]
	return Finding{Rule: k.rule, Table: k.table, File: k.file, Line: int(e.line), Column: k.column, Field: k.field, Header: k.header,
		Value: e.value, Masked: k.masked, Detail: e.detail, order: k.order}
}

// writeOut writes the findings in memory to the file of runs. Where that fails they stay in memory, as the later ones do.
func (s *store) writeOut() {
	if s.spill == nil {
		p, err := openSpill()
		if err != nil {
			s.stay = true
			return
		}
		s.spill = p
	}
	s.sort()
	if err := s.spill.write(len(s.records), s.inMemory()); err != nil {
		s.stay = true
		return
	}
	s.records, s.texts = s.records[:0], textStore{}
}

// inMemory goes through the findings in memory, which are sorted.
func (s *store) inMemory() func(yield func(*entry) bool) {
	return func(yield func(*entry) bool) {
		for i := range s.records {
			r := &s.records[i]
			if !yield(&entry{r.kind, r.line, s.texts.get(r.value), s.texts.get(r.detail)}) {
				return
			}
		}
	}
}

// each goes through all findings in their order.
func (s *store) each(yield func(*entry) bool) {
	s.sort()
	if s.spill == nil {
		s.inMemory()(yield)
		return
	}
	if err := s.spill.each(s.order(), s.inMemory(), yield); err != nil {
		s.failed = err
	}
}

// len returns the number of findings.
func (s *store) len() int {
	if s.spill == nil {
		return len(s.records)
	}
	return len(s.records) + s.spill.n
}

// order compares two findings as sort does.
func (s *store) order() func(a, b *entry) int {
	file, rest := s.ranks()
	return func(a, b *entry) int {
		return cmp.Or(cmp.Compare(file[a.kind], file[b.kind]), cmp.Compare(a.line, b.line), cmp.Compare(rest[a.kind], rest[b.kind]),
			cmp.Compare(a.value, b.value), cmp.Compare(a.detail, b.detail))
	}
}

// sort brings the findings in memory into the order of table, file, line, column, rule, value and detail.
func (s *store) sort() {
	if s.sorted {
		return
	}
	s.sorted = true
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

// letters is the room that the texts take.
func (t *textStore) letters() int { return len(t.blocks) * textBlock }

func (t *textStore) get(at text) string {
	if at == 0 {
		return ""
	}
	block, offset := at>>blockShifted, at>>lengthBits&offsetMask
	return string(t.blocks[block][offset : offset+at&lengthMask])
}
