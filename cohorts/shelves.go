package cohorts

// batchSize is how many rows are sorted by shelf at a time: enough that each shelf is met by many rows in a row, few
// enough that what is set aside for sorting stays small beside the tables.
const batchSize = 1 << 20

// batch is some rows in the order of their shelves. Its room is used again for the next.
type batch struct {
	rows  []int32
	keys  []packed
	start []int32 // start[s] … start[s+1] are those of shelf s

	unsorted []packed // by row, as shelf
	shelf    []int32
}

// make makes room for so many rows.
func (b *batch) make(rows, shelves int) {
	if len(b.rows) < rows {
		*b = batch{rows: make([]int32, rows), keys: make([]packed, rows), unsorted: make([]packed, rows), shelf: make([]int32, rows)}
	}
	if b.start == nil {
		b.start = make([]int32, shelves+1)
	}
}

// eachShelf replaces the id of every row whose id is 0 or more by what do makes of its pseudonym. Shelves are worked on in
// parallel, the rows of one shelf in their order.
func (p *people) eachShelf(text func(row int) string, ids []int32, do func(shelf int32, k packed, hash uint64, text func() string) int32) {
	for from := 0; from < len(ids); from += batchSize {
		part := ids[from:min(from+batchSize, len(ids))]
		b := &p.batch
		p.sort(b, func(row int) string { return text(from + row) }, part)
		inPartsOf(1, len(p.shelves), func(_, s, _ int) {
			var row int32
			pseudonym := func() string { return text(from + int(row)) }
			for i := b.start[s]; i < b.start[s+1]; i++ {
				row = b.rows[i]
				part[row] = do(int32(s), b.keys[i], p.hash(b.keys[i]), pseudonym)
			}
		})
	}
}

// sort sorts rows by shelf: every part of the rows counts its own first, so that each knows where to put them.
func (p *people) sort(b *batch, text func(row int) string, ids []int32) {
	b.make(len(ids), len(p.shelves))
	counts := make([][]int32, countParts(len(ids)))
	inParts(len(ids), func(part, from, to int) {
		n := make([]int32, len(p.shelves))
		for row := from; row < to; row++ {
			if ids[row] >= 0 {
				k := p.pack(text(row))
				at := int32(p.hash(k) >> p.shift)
				b.unsorted[row], b.shelf[row] = k, at
				n[at]++
			}
		}
		counts[part] = n
	})
	total := int32(0)
	for s := range p.shelves {
		b.start[s] = total
		for _, n := range counts {
			n[s], total = total, total+n[s]
		}
	}
	b.start[len(p.shelves)] = total
	inParts(len(ids), func(part, from, to int) {
		next := counts[part]
		for row := from; row < to; row++ {
			if ids[row] >= 0 {
				at := next[b.shelf[row]]
				next[b.shelf[row]]++
				b.rows[at], b.keys[at] = int32(row), b.unsorted[row]
			}
		}
	})
}
