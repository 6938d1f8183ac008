package ingest

import (
	"math"

	"github.com/apache/arrow/go/v15/parquet"

	"deltoid/schemas"
)

// dictionary is the dictionary of a column of one row group. Each entry goes once through the rules of its field, into a
// column of its own; after that a value costs a look at a table. Entries that are a finding take the long way each time
// they stand, since every finding has a row.
type dictionary[T any] struct {
	entries []T
	once    *column  // of each entry, and of a missing value after the last
	clean   []bool   // whether it can be taken from there
	allOK   bool     // all can
	count   []int32  // how often each stands; the last place is that of the missing ones
	effects []effect // what else a clean entry does each time it stands
	to      []int16  // of a Code without a list: the place among the column's levels; notMet before
}

// effect is what is counted each time that an entry stands.
type effect struct {
	entry, recode, layout int // recode and layout are -1 when there is none
	rounded               int
}

const notMet = math.MinInt16

// newDictionary puts every entry through the rules once.
func newDictionary[T any](d *decoder[T], entries []T) *dictionary[T] {
	n := len(entries)
	k := &dictionary[T]{entries: entries, once: newColumn(d.c.spec, n+1), clean: make([]bool, n+1), count: make([]int32, n+1), allOK: true}
	add := d.adds(k.once)
	if texts, ok := any(entries).([]parquet.ByteArray); ok && d.c.takesTexts() {
		k.reserve(texts)
	}
	for i, v := range entries {
		before := len(k.once.flaws)
		add(v)
		k.clean[i] = len(k.once.flaws) == before && !k.once.tooLarge
		k.noteEffect(i)
		k.allOK = k.allOK && k.clean[i]
	}
	k.once.skip()
	k.clean[n] = !d.c.field.Required
	if d.c.levels != nil {
		k.to = make([]int16, n+1)
		for i := range k.to {
			k.to[i] = notMet
		}
	}
	return k
}

// reserve makes room for the letters of all entries.
func (k *dictionary[T]) reserve(texts []parquet.ByteArray) {
	letters := 0
	for _, b := range texts {
		letters += len(b)
	}
	k.once.bytes = make([]byte, 0, letters)
}

// noteEffect takes what an entry has added to the counts of its column for the effect that it has each time.
func (k *dictionary[T]) noteEffect(entry int) {
	c, e := k.once, effect{entry: entry, recode: notRecoded, layout: notRecoded}
	e.rounded, c.rounded = c.rounded, 0
	for i, n := range c.recoded {
		if n > 0 {
			e.recode, c.recoded[i] = i, 0
		}
	}
	for i, n := range c.written {
		if n > 0 {
			e.layout, c.written[i] = i, 0
		}
	}
	if k.clean[entry] && (e.rounded > 0 || e.recode >= 0 || e.layout >= 0) {
		k.effects = append(k.effects, e)
	}
}

// has reports whether there is an entry at each of the places.
func (k *dictionary[T]) has(places []uint32) bool {
	most := uint32(0)
	for _, p := range places {
		most = max(most, p)
	}
	return len(places) == 0 || int(most) < len(k.entries)
}

// spread puts places into their rows, and that of a missing value into the others. There is one place more than is used,
// so that no branch depends on the levels, which nobody can foresee.
func (k *dictionary[T]) spread(rows, places, levels []uint32) []uint32 {
	none, next := uint32(len(k.entries)), 0
	for i, level := range levels {
		p := places[next]
		if level == 0 {
			p = none
		}
		rows[i] = p
		next += int(level)
	}
	return rows
}

// add adds the values at some places.
func (k *dictionary[T]) add(d *decoder[T], rows []uint32) {
	for _, p := range rows {
		k.count[p]++
	}
	if !k.allOK || d.c.field.Required && k.count[len(k.entries)] > 0 {
		k.addEach(d, rows)
		return
	}
	k.addClean(d.c, rows)
}

func (k *dictionary[T]) addClean(c *column, rows []uint32) {
	o := k.once
	switch {
	case c.field.Type == schemas.Date:
		c.days = takeAll(c.days, o.days, rows)
	case c.field.Type == schemas.Integer:
		c.ints = takeAll(c.ints, o.ints, rows)
	case c.field.Type == schemas.Number:
		c.numbers = takeAll(c.numbers, o.numbers, rows)
	case c.levels != nil:
		k.addCodes(c, rows)
	case c.field.Type == schemas.Code:
		c.places = takeAll(c.places, o.places, rows)
	default:
		k.addTexts(c, rows)
	}
}

func takeAll[V any](to, from []V, places []uint32) []V {
	for _, p := range places {
		to = append(to, from[p])
	}
	return to
}

// addEach adds values one by one, since one of them is a finding.
func (k *dictionary[T]) addEach(d *decoder[T], rows []uint32) {
	for i, p := range rows {
		switch {
		case k.clean[p]:
			k.addClean(d.c, rows[i:i+1])
		case int(p) == len(k.entries):
			d.c.missing()
		default:
			d.add(k.entries[p])
		}
	}
}

// addCodes adds codes to a column that lists those that occur.
func (k *dictionary[T]) addCodes(c *column, rows []uint32) {
	for _, p := range rows {
		to := k.to[p]
		if to == notMet {
			to = k.enter(c, p)
		}
		c.places = append(c.places, to)
	}
}

// enter finds the place of an entry among the column's levels, where it may be new.
func (k *dictionary[T]) enter(c *column, p uint32) int16 {
	if k.once.places[p] == schemas.NoCode {
		k.to[p] = schemas.NoCode
		return schemas.NoCode
	}
	key := k.once.levels.keys[k.once.places[p]]
	at := c.levels.find([]byte(key))
	if at < 0 {
		if len(c.levels.keys) == mostLevels {
			c.tooLarge = true
			return schemas.NoCode
		}
		at = c.levels.insert(key)
	}
	k.to[p] = int16(at)
	return int16(at)
}

func (k *dictionary[T]) addTexts(c *column, rows []uint32) {
	o := k.once
	for _, p := range rows {
		begin := int32(0)
		if p > 0 {
			begin = o.ends[p-1]
		}
		if len(c.bytes)+int(o.ends[p]-begin) > math.MaxInt32 {
			c.tooLarge = true
			begin = o.ends[p]
		}
		c.bytes = append(c.bytes, o.bytes[begin:o.ends[p]]...)
		c.ends = append(c.ends, int32(len(c.bytes)))
	}
}

// settle counts the effects of the entries as often as they stood, and shows those that stood to the footer's limits.
func (k *dictionary[T]) settle(d *decoder[T]) {
	if k == nil {
		return
	}
	for _, e := range k.effects {
		n := int(k.count[e.entry])
		d.c.rounded += n * e.rounded
		if e.recode >= 0 {
			d.c.recoded[e.recode] += n
		}
		if e.layout >= 0 {
			d.c.written[e.layout] += n
		}
	}
	if d.see == nil {
		return
	}
	stood := k.entries[:0]
	for i, v := range k.entries {
		if k.count[i] > 0 {
			stood = append(stood, v)
		}
	}
	d.see(stood)
}
