package ingest

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"deltoid/schemas"
)

// itemSet is the columns of items that one score is worked out from.
type itemSet struct {
	scoring *schemas.Scoring
	specs   []int          // places of the specs of the items, at least one
	at      map[string]int // item → place in specs
	scale   schemas.Scale  // that the total is on, as the plan declares
	ours    bool           // the scale of the scoring
}

// itemSet adds the specs of the items of a score. Where the plan declares another scale of the instrument, its items are on
// that scale too, and so is the total: what is turned round later is one thing for all values of the instrument.
func (r *reader) itemSet(score schemas.ItemScore) *itemSet {
	i, _ := schemas.InstrumentOf(score.Instrument)
	set := &itemSet{scoring: i.Scoring, at: map[string]int{}, ours: true}
	if s, ok := i.OnScale(r.src.Scales[score.Instrument]); ok && s.Name != i.Scale {
		set.scale, set.ours = s, false
	}
	for _, code := range slices.Sorted(maps.Keys(score.Columns)) {
		item, known := i.Scoring.Item(code)
		if !known {
			continue // the plan reader refuses it
		}
		low, high := item.Minimum, item.Maximum
		if !set.ours && set.scale.ItemMaximum > 0 {
			low, high = set.scale.ItemMinimum, set.scale.ItemMaximum
		}
		set.at[code] = len(set.specs)
		set.specs = append(set.specs, r.addItem(score.Columns[code], low, high))
	}
	return set
}

// addItem adds the spec of a column of an item, whose answers have a range of their own, and returns its place.
func (r *reader) addItem(header string, low, high float64) int {
	at := r.addWide("value", header) - 1
	f := *r.specs[at].field
	f.Minimum, f.Maximum = &low, &high
	r.specs[at].field, r.specs[at].low, r.specs[at].high = &f, low, high
	return at
}

// total works out a score from the answers of a row. An answer on a scale that runs the other way is turned round first and
// the total turned back, so that the table holds it on the scale that the plan declares.
func (s *itemSet) total(answer func(spec int) float64) (x float64, given, of int, ok bool) {
	x, given, of, ok = s.scoring.Total(func(code string) float64 {
		at, has := s.at[code]
		if !has {
			return math.NaN()
		}
		return s.turned(answer(s.specs[at]))
	})
	if ok && !s.ours {
		x = (x - s.scale.Plus) / s.scale.Times
	}
	return x, given, of, ok
}

// turned brings an answer onto the scale of the scoring.
func (s *itemSet) turned(x float64) float64 {
	if s.ours || s.scale.ItemMaximum == 0 {
		return x
	}
	if s.scale.Times < 0 {
		return s.scale.ItemMaximum - x
	}
	return x - s.scale.ItemMinimum
}

// itemised makes the row of a score that is worked out from items: none when no item is answered, and one that is set aside
// when an answer is wrong or too many are missing.
func (u *unfolder) itemised(row, s int) {
	set, at := u.scores[s].items, len(u.from)
	wrong, answered := false, false
	for _, spec := range set.specs {
		f := u.flawAt(spec, row)
		u.tell(spec, f, at, 1)
		wrong = wrong || f != nil
		answered = answered || f != nil || !math.IsNaN(u.c.columns[spec].numbers[row])
	}
	if !answered {
		u.c.unfold.empty++
		return
	}
	u.c.unfold.scores++
	x, given, of, ok := set.total(func(spec int) float64 { return u.c.columns[spec].numbers[row] })
	switch {
	case wrong:
		x = math.NaN()
	case !ok:
		x = math.NaN()
		u.tell(set.specs[0], &flaw{rule: schemas.RuleIncompleteItems, value: fmt.Sprintf("%d of %d items", given, of)}, at, 1)
	}
	u.add(row, s, x)
}
