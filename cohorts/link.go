package cohorts

import (
	"fmt"

	"deltoid/schemas"
)

// linking is the work of joining the tables of one study.
type linking struct {
	cut        int32
	found      *schemas.Findings
	procedures *records
	revising   []bool // by row of procedures: the occasion is a revision
	revisions  *records
	occasions  *schemas.Column
	kinds      kinds
	reasons    *schemas.Column
	exchanged  *schemas.Column
	stages     *schemas.Column
	deaths     *records
	courses    []*records // complications, scores and contacts
	all        []*records // every table, in the order of schemas.Names

	people *people
	known  []known // by patient
}

// known is what is known of one patient, close together: most questions ask for all of it.
type known struct {
	first [2]int32 // day of the first index procedure of the left and of the right shoulder, or NoDay
	died  int32    // day of death, or NoDay
	last  int32    // the last day on which a row in use, other than an index procedure, knows of the patient
}

// shoulderKey numbers the shoulders that people can have: 2 for each patient, the left one first.
func shoulderKey(patient int32, side Side) int32 { return 2*patient + int32(side-Left) }

// Link joins the tables of a study, by name, into a registry: procedures, and as far as they are there revisions,
// complications, deaths, scores and contacts. The tables have been read and checked; rows that were set aside before are
// not looked at. f gives the data cut.
//
// Rows belong together by patient and side; deaths and contacts by patient. A shoulder's first primary is its index
// procedure. A later primary of the same shoulder is the index procedure of a second prosthesis when a revision lies
// between the two, on an earlier day than the later primary; otherwise it is set aside. A revision belongs to the last
// index procedure on or before its day.
//
// A conversion is a replacement on a later day than the index procedure of a plate, or a reverse replacement on a later
// day than that of a hemiarthroplasty, whichever of the two occasions the export gives it. It is a revision of the
// procedure before it and the index procedure of a shoulder of its own; revisions of the same day tell of it.
//
// Within one day the order is index procedure, revision, death: a revision on the day of the operation and a death on
// the day of either are legal, and so is any other record on the day of death.
//
// A row of procedures whose occasion is a revision is a revision of its shoulder, for a reason that is not recorded. When
// the revisions table has a row for the same patient, side and day, the two tell of one event, and that row gives the
// details. Both are used.
//
// The result does not depend on the order of the rows: rows are ordered by patient, side and day, those that agree in
// these by what they say, and those that say the same by their place.
//
// What breaks a rule of [Rules] goes to found. Every row of every table is used, set aside or unlinked, and the ledgers
// of the registry count that; when they do not close, the error is a fault of the program. Otherwise an error is a
// [schemas.Problem]: a table or a column that linking cannot do without is missing, or calendar days and day offsets are
// mixed.
func Link(tables map[string]*schemas.Table, f FollowUp, found *schemas.Findings) (*Registry, error) {
	l := &linking{cut: f.DataCut, found: found}
	if err := l.open(tables); err != nil {
		return nil, err
	}
	keys := l.placeProcedures()
	r := l.join(keys)
	for _, records := range l.courses {
		keys := l.follow(records)
		if keys != nil {
			r.scores = newScores(records, keys, 2*l.people.count)
		}
	}
	l.lastContacts(r)
	for _, records := range l.all {
		ledger, err := records.ledger()
		if err != nil {
			return nil, err
		}
		r.Ledgers = append(r.Ledgers, ledger)
	}
	return r, r.derive()
}

// open finds every table and column.
func (l *linking) open(tables map[string]*schemas.Table) error {
	if tables["procedures"] == nil {
		return &schemas.Problem{Kind: schemas.PlanProblem, What: "there is no table of procedures to link to",
			Remedy: "add the table \"procedures\" to the study plan, or give one ready row a shoulder in the table \"shoulders\""}
	}
	if tables["shoulders"] != nil {
		return &schemas.Problem{Kind: schemas.PlanProblem,
			What:   "the ready table \"shoulders\" cannot be linked with the table \"procedures\"",
			Remedy: "use either the ready table alone or the linked tables without it"}
	}
	for _, name := range schemas.Names() {
		t := tables[name]
		if t == nil {
			continue
		}
		if t.Offsets != tables["procedures"].Offsets {
			return &schemas.Problem{Kind: schemas.PlanProblem,
				What: fmt.Sprintf("the tables \"procedures\" and %q count their days differently: one has calendar dates, the "+
					"other day offsets", name),
				Remedy: "use dates in all tables of a study, or offsets in all"}
		}
		if err := l.openTable(name, t); err != nil {
			return err
		}
	}
	return nil
}

func (l *linking) openTable(name string, t *schemas.Table) error {
	r, err := openRecords(t, name != "deaths" && name != "contacts")
	if err != nil {
		return err
	}
	l.all = append(l.all, r)
	switch name {
	case "procedures":
		l.procedures, l.kinds = r, newKinds(t.Column("procedure"))
		if l.occasions = t.Column("occasion"); l.occasions == nil {
			return noColumn(t, "occasion")
		}
	case "revisions":
		l.revisions, l.reasons = r, t.Column("reason")
		l.exchanged, l.stages = t.Column("exchanged"), t.Column("stage")
	case "deaths":
		l.deaths = r
	default:
		l.courses = append(l.courses, r)
	}
	return nil
}

// placeProcedures numbers the patients with an index procedure and returns the shoulder key of every row of procedures,
// -1 for one that is out of use.
func (l *linking) placeProcedures() []int32 {
	r := l.procedures
	keys := make([]int32, len(r.days))
	l.revising = make([]bool, len(r.days))
	inParts(len(keys), func(_, from, to int) {
		c := clerk{cut: l.cut}
		for row := from; row < to; row++ {
			keys[row] = l.occasion(&c, row)
		}
		l.found.Add(c.found...)
	})
	l.people = newPeople(len(r.days))
	l.people.addAll(r.patient.Text, keys)
	l.people.number()
	inParts(len(keys), func(_, from, to int) {
		c := clerk{cut: l.cut}
		for row := from; row < to; row++ {
			switch {
			case keys[row] >= 0:
				keys[row] = shoulderKey(l.people.patient(keys[row]), r.side(row))
			case l.revising[row]:
				keys[row] = c.keyOf(r, row, l.people.find(r.patient.Text(row)))
			}
		}
		l.found.Add(c.found...)
	})
	return keys
}

// occasion returns 0 for a primary and -1 for another row. It marks revisions, and refuses what is neither.
func (l *linking) occasion(c *clerk, row int) int32 {
	r := l.procedures
	if !c.usable(r, row) {
		return -1
	}
	switch code := l.occasions.Codes()[row]; {
	case code < 0:
		c.find(r, int32(row), schemas.RuleMissingRequired, "occasion", "")
	case l.occasions.Levels()[code] == "primary":
		return 0
	case l.occasions.Levels()[code] == "revision":
		l.revising[row] = true
	default:
		c.find(r, int32(row), schemas.RuleUnknownCode, "occasion", "")
	}
	return -1
}

// eachPart calls do for every usable row of a table and its patient, -1 for one without an index procedure. It works in
// parallel and hands over what was found.
func (l *linking) eachPart(r *records, do func(c *clerk, row int, patient int32)) {
	patients := make([]int32, len(r.days))
	l.people.findAll(r.patient.Text, patients)
	inParts(len(r.days), func(_, from, to int) {
		c := clerk{cut: l.cut}
		for row := from; row < to; row++ {
			if c.usable(r, row) {
				do(&c, row, patients[row])
			}
		}
		l.found.Add(c.found...)
	})
}

// keyOf returns the shoulder key of a usable row, or the patient for a table about patients. It unlinks the row and
// returns -1 when the patient has no index procedure.
func (c *clerk) keyOf(r *records, row int, patient int32) int32 {
	switch {
	case patient < 0:
		c.find(r, int32(row), RuleNoIndexProcedure, "patient", "")
		return -1
	case r.codes == nil:
		return patient
	}
	return shoulderKey(patient, r.side(row))
}

// place returns the buckets of a table by shoulder key, or by patient for a table about patients. A table that is not
// there gives empty buckets.
func (l *linking) place(r *records) buckets {
	if r == nil {
		return buckets{}
	}
	keys := make([]int32, len(r.days))
	for row := range keys {
		keys[row] = -1
	}
	l.eachPart(r, func(c *clerk, row int, patient int32) { keys[row] = c.keyOf(r, row, patient) })
	n := l.people.count
	if r.codes != nil {
		n *= 2
	}
	return newBuckets(keys, n)
}
