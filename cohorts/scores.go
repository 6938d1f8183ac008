package cohorts

import (
	"math"
	"slices"
	"sync"

	"deltoid/schemas"
)

// scores are the linked scores of a registry.
type scores struct {
	days       []int32
	values     []float64
	instrument *schemas.Column
	keys       []int32 // shoulder key of each row in use, else -1
	shoulders  int     // number of shoulder keys
	sort       sync.Once
	byKey      buckets
}

// newScores keeps the rows that were linked. It is nil when the table cannot say what was measured.
func newScores(r *records, keys []int32, shoulders int) *scores {
	instrument, value := r.table.Column("instrument"), r.table.Column("value")
	if instrument == nil || instrument.Codes() == nil || value == nil || value.Numbers() == nil {
		return nil
	}
	return &scores{days: r.days, values: onOurScales(r.table, value), instrument: instrument, keys: keys, shoulders: shoulders}
}

// onOurScales returns the values with those turned round, or stretched, that are on another scale of their instrument, as
// their version or the plan says. The table keeps what the export says.
func onOurScales(t *schemas.Table, value *schemas.Column) []float64 {
	scales := t.Scales()
	if scales == nil {
		return value.Numbers()
	}
	ours := slices.Clone(value.Numbers())
	for row, x := range ours {
		ours[row] = scales(row).Ours(x)
	}
	return ours
}

// of returns the rows of each shoulder that hold a value of an instrument, in the order of the table.
func (s *scores) of(instrument string) func(*Shoulder) []int32 {
	s.sort.Do(func() { s.byKey = newBuckets(s.keys, s.shoulders) })
	code := int16(slices.Index(s.instrument.Levels(), instrument))
	var kept []int32
	return func(shoulder *Shoulder) []int32 {
		kept = kept[:0]
		for _, row := range s.byKey.of(shoulderKey(shoulder.Patient, shoulder.Side)) {
			if code >= 0 && s.instrument.Codes()[row] == code && !math.IsNaN(s.values[row]) {
				kept = append(kept, row)
			}
		}
		return kept
	}
}

// Instruments returns the instruments for which a score was linked, in schema order.
func (r *Registry) Instruments() []string {
	if r.scores == nil {
		return nil
	}
	seen := make([]bool, len(r.scores.instrument.Levels()))
	for row, key := range r.scores.keys {
		if code := r.scores.instrument.Codes()[row]; key >= 0 && code >= 0 {
			seen[code] = true
		}
	}
	var names []string
	for _, code := range levelsInOrder(r.scores.instrument) {
		if seen[code] {
			names = append(names, r.scores.instrument.Levels()[code])
		}
	}
	return names
}
