package cohorts

import (
	"cmp"
	"fmt"
	"slices"

	"deltoid/schemas"
)

// ready is a ready table while its rows become shoulders.
type ready struct {
	table    *schemas.Table
	patient  *schemas.Column // nil when the data have no patients: every row is one
	side     *schemas.Column // nil when the data do not tell
	sides    []Side
	entry    []int64 // nil when nobody came late
	followUp []int64
	outcome  *schemas.Column
	reason   *schemas.Column // nil when not exported
	doors    []door
	keys     []int32
	people   *people
}

// FromReady makes a registry of a ready table, in which somebody else has linked the records: one row a shoulder. Days
// count from the index procedure. A patient may have any number of rows when the side is missing. A table without a
// column of patients is taken as one row a patient, and the registry says so.
//
// Every row that no rule has set aside is a shoulder. A row that lacks what a shoulder needs, or whose observation ends
// before it begins, is set aside by the rule of package schemas that reading and checking would have found broken. An
// error is a [schemas.Problem] when a column is missing, and a fault of the program when the ledger does not close.
func FromReady(t *schemas.Table, found *schemas.Findings) (*Registry, error) {
	y, err := openReady(t)
	if err != nil {
		return nil, err
	}
	c := clerk{cut: schemas.NoDay}
	for row := range y.keys {
		y.keys[row] = -1
		if !t.IsAside(row) && y.usable(&c, row) {
			y.keys[row] = 0
			y.doors[row] = used
		}
	}
	found.Add(c.found...)
	y.people.addAll(y.pseudonym, y.keys)
	y.people.number()
	for row, id := range y.keys {
		if id >= 0 {
			y.keys[row] = 3*y.people.patient(id) + int32(y.sideOf(row))
		}
	}
	r := y.registry()
	ledger, err := (&records{table: t, doors: y.doors}).ledger()
	if err != nil {
		return nil, err
	}
	r.Ledgers = []schemas.Ledger{ledger}
	return r, r.derive()
}

func openReady(t *schemas.Table) (*ready, error) {
	for _, field := range []string{"follow_up", "outcome"} {
		if t.Column(field) == nil {
			return nil, noColumn(t, field)
		}
	}
	y := &ready{table: t, patient: t.Column("patient"), side: t.Column("side"), reason: t.Column("reason"),
		followUp: t.Column("follow_up").Integers(), outcome: t.Column("outcome"),
		doors: make([]door, t.Rows()), keys: make([]int32, t.Rows()), people: newPeople(t.Rows())}
	if y.side != nil {
		y.sides = sidesOf(y.side)
	}
	if c := t.Column("entry_day"); c != nil {
		y.entry = c.Integers()
	}
	return y, nil
}

// pseudonym returns what names the patient of a row, which is its place in its file where the data have no patients.
func (y *ready) pseudonym(row int) string {
	if y.patient == nil {
		file, line := y.table.Place(row)
		return fmt.Sprintf("%s:%010d", file, line)
	}
	return y.patient.Text(row)
}

func (y *ready) sideOf(row int) Side {
	if y.side == nil || y.side.Codes()[row] < 0 {
		return NoSide
	}
	return y.sides[y.side.Codes()[row]]
}

// observed returns the day on which observation begins, 0 when none is recorded.
func (y *ready) observed(row int) int64 {
	if y.entry == nil || y.entry[row] == schemas.NoInt {
		return 0
	}
	return y.entry[row]
}

// usable reports whether a row can become a shoulder, and sets it aside when it cannot.
func (y *ready) usable(c *clerk, row int) bool {
	rule, field, detail := y.unusable(row)
	if rule != nil {
		c.found = append(c.found, y.table.Find(rule, row, field, detail))
	}
	return rule == nil
}

func (y *ready) unusable(row int) (rule *schemas.Rule, field, detail string) {
	end, begin := y.followUp[row], y.observed(row)
	outcome := y.outcome.Codes()[row]
	switch {
	case y.patient != nil && y.patient.Text(row) == "":
		return schemas.RuleMissingRequired, "patient", ""
	case end == schemas.NoInt:
		return schemas.RuleMissingRequired, "follow_up", ""
	case outcome < 0:
		return schemas.RuleMissingRequired, "outcome", ""
	case !slices.Contains(outcomes, y.outcome.Levels()[outcome]):
		return schemas.RuleUnknownCode, "outcome", ""
	case end < 0 || end > farthest:
		return schemas.RuleOutOfRange, "follow_up", fmt.Sprintf("from 0 to %d", farthest)
	case begin < 0 || begin > farthest:
		return schemas.RuleOutOfRange, "entry_day", fmt.Sprintf("from 0 to %d", farthest)
	case begin > 0 && end <= begin:
		return schemas.RuleFollowUpOrder, "follow_up", fmt.Sprintf("observation begins on day %d", begin)
	}
	return nil, "", ""
}

// outcomes are the codes of a ready row's outcome.
var outcomes = []string{"unrevised", "revised", "died", "other_event"}

// registry makes the shoulders in order of patient and side, those that agree in both by what their rows say.
func (y *ready) registry() *Registry {
	r := &Registry{Table: y.table, Patients: y.people.count, Ready: true, Anonymous: y.patient == nil}
	keys := 3 * y.people.count
	rows := newBuckets(y.keys, keys)
	r.Shoulders = make([]Shoulder, 0, len(rows.rows))
	for key := range int32(keys) {
		same := rows.of(key)
		if len(same) > 1 {
			slices.SortFunc(same, func(a, b int32) int {
				return cmp.Or(cmp.Compare(y.followUp[a], y.followUp[b]), byContent(y.table, a, b))
			})
		}
		for _, row := range same {
			y.add(r, row, key/3, Side(key%3))
		}
	}
	return r
}

// add makes the shoulder of a row.
func (y *ready) add(r *Registry, row, patient int32, side Side) {
	end := int32(y.followUp[row])
	n := int32(len(r.Revisions))
	s := Shoulder{Row: row, Patient: patient, Side: side, Observed: int32(y.observed(int(row))), LastContact: end,
		Death: schemas.NoDay, OtherEvent: schemas.NoDay, revisions: span{n, n}}
	switch y.outcome.Levels()[y.outcome.Codes()[row]] {
	case "revised":
		r.Revisions = append(r.Revisions, Revision{Row: row, Shoulder: int32(len(r.Shoulders)), Day: end,
			Reason: codeOf(y.reason, row)})
		s.revisions.to++
	case "died":
		s.Death = end
	case "other_event":
		s.OtherEvent = end
	}
	r.Shoulders = append(r.Shoulders, s)
}
