package cohorts

import (
	"sync/atomic"

	"deltoid/schemas"
)

// follow links the rows of complications, scores or contacts, which say that a patient was known about on a day. For
// scores it returns the shoulder key of every row in use, and -1 for the others.
func (l *linking) follow(r *records) (keys []int32) {
	if r.table.Schema.Name == "scores" {
		keys = make([]int32, len(r.days))
		for row := range keys {
			keys[row] = -1
		}
	}
	early := earlier(r.table)
	l.eachPart(r, func(c *clerk, row int, patient int32) {
		key := c.keyOf(r, row, patient)
		if key < 0 {
			return
		}
		if r.codes != nil {
			first := l.known[patient].first[key&1]
			if first == schemas.NoDay {
				c.find(r, int32(row), RuleNoIndexProcedure, "side", "the patient has an index procedure on the other side only")
				return
			}
			if r.days[row] < first {
				if rule := early(row); rule != nil && !c.find(r, int32(row), rule, "day", "the index procedure is on "+showDay(r.table, first)) {
					return
				}
			}
		}
		if died := l.known[patient].died; died != schemas.NoDay && r.days[row] > died {
			c.find(r, int32(row), RuleRecordAfterDeath, "day", "the patient died on "+showDay(r.table, died))
			return
		}
		c.use(r, int32(row))
		if keys != nil {
			keys[row] = key
		}
		raise(&l.known[patient].last, r.days[row])
	})
	return keys
}

// earlier returns the rule that a row breaks when it is earlier than the index procedure of its shoulder; nil for rows
// that may be, as most scores.
func earlier(t *schemas.Table) func(row int) *schemas.Rule {
	instrument := t.Column("instrument")
	switch {
	case t.Schema.Name == "complications":
		return func(int) *schemas.Rule { return RuleComplicationBeforePrimary }
	case t.Schema.Name != "scores" || instrument == nil || instrument.Codes() == nil:
		return func(int) *schemas.Rule { return nil }
	}
	afterOnly := make([]bool, len(instrument.Levels()))
	for i, code := range instrument.Levels() {
		known, ok := schemas.InstrumentOf(code)
		afterOnly[i] = ok && known.AfterOnly
	}
	return func(row int) *schemas.Rule {
		if code := instrument.Codes()[row]; code >= 0 && afterOnly[code] {
			return RuleScoreBeforePrimary
		}
		return nil
	}
}

// raise sets a shared day to a later one. The largest wins, whoever comes first.
func raise(day *int32, to int32) {
	for {
		old := atomic.LoadInt32(day)
		if old >= to || atomic.CompareAndSwapInt32(day, old, to) {
			return
		}
	}
}

// lastContacts sets each shoulder's last contact: the last day, not before its operation, on which any other row in use
// knows of the patient. A later operation on another shoulder is such a row.
func (l *linking) lastContacts(r *Registry) {
	for from := 0; from < len(r.Shoulders); {
		to, latest := from, int32(schemas.NoDay)
		for ; to < len(r.Shoulders) && r.Shoulders[to].Patient == r.Shoulders[from].Patient; to++ {
			latest = max(latest, r.Shoulders[to].Day)
		}
		for i := from; i < to; i++ {
			s := &r.Shoulders[i]
			if known := l.known[s.Patient].last; known >= s.Day {
				s.LastContact = known
			}
			if latest > s.Day {
				s.LastContact = max(s.LastContact, latest)
			}
		}
		from = to
	}
}
