package cohorts

import (
	"slices"

	"deltoid/schemas"
)

// Revision is one reoperation of a shoulder.
type Revision struct {
	Row      int32 // its row in the revisions table, in procedures when InProcedures, or in a ready table
	Shoulder int32 // position in Registry.Shoulders
	Day      int32
	Reason   string // code of the reason; empty when not recorded
	// InProcedures marks a revision that only the procedures table records.
	InProcedures bool
	Change       Change
	// SecondStage marks the second operation of an exchange in two stages whose first stage is on record. The exchange is
	// one revision, at its first stage; the second operation is counted by no endpoint.
	SecondStage bool
	// Conversion marks the replacement that took the place of a plate or a hemiarthroplasty. It ends the course of the
	// procedure before it, and is the index procedure of the next shoulder of the registry.
	Conversion bool
}

// Change says whether a reoperation added, exchanged or removed a component.
type Change uint8

// The kinds of change.
const (
	ChangeUnknown   Change = iota // not recorded, or the ready table does not tell
	ChangeOfNothing               // every component stayed in place
	ChangeOfPart                  // a component was added, exchanged or removed
)

// Counts names what an endpoint counts as a revision. The definitions stand side by side: two endpoints of one plan may
// use different ones.
type Counts string

// The definitions of a revision.
const (
	// AnyReoperation counts every row of the revisions table, and every row of procedures whose occasion is a revision.
	AnyReoperation Counts = "any reoperation"
	// ComponentExchanged counts a reoperation in which a component was added, exchanged or removed. One that left every
	// component in place does not count and ends nothing; one that does not say counts, and is counted aloud.
	ComponentExchanged Counts = "component exchanged"
	// StatedReasons counts a reoperation for one of the endpoint's reasons.
	StatedReasons Counts = "stated reasons"
)

// AllCounts lists the definitions of a revision.
func AllCounts() []Counts { return []Counts{AnyReoperation, ComponentExchanged, StatedReasons} }

// changeOf reads the field "exchanged" of the revisions table.
func changeOf(code string) Change {
	switch code {
	case "":
		return ChangeUnknown
	case "none":
		return ChangeOfNothing
	}
	return ChangeOfPart
}

// changeBy says what a revising row of procedures did: a replacement put components in, and a plate beside one did not.
func changeBy(procedure string) Change {
	switch procedure {
	case "reverse", "anatomic", "hemi":
		return ChangeOfPart
	case "plate":
		return ChangeOfNothing
	}
	return ChangeUnknown
}

// History says what a shoulder had before its index procedure.
type History uint8

// The histories.
const (
	NoHistory     History = iota // a ready table does not tell
	First                        // no replacement or plate on record before
	Conversion                   // a plate or a hemiarthroplasty, which the index procedure took the place of
	AfterRevision                // another prosthesis, with a revision between the two
)

// Code returns the history as the derived field "history" has it.
func (h History) Code() string { return historyCodes[h] }

var historyCodes = [...]string{"", "first", "conversion", "after_revision"}

// conversions says which procedures take the place of which: what is a conversion and not only a revision. A plate is no
// replacement, so every replacement after it is the first of the shoulder; a hemiarthroplasty that becomes an anatomic
// total keeps its humeral component as a rule, and stays a revision.
var conversions = map[string][]string{"plate": {"reverse", "anatomic", "hemi"}, "hemi": {"reverse"}}

// kinds are the kinds of procedure by row.
type kinds struct {
	codes []int16  // nil when not exported
	into  [][]bool // [in place][next]: next is a conversion of what is in place
	does  []Change // by code: what a revision of this kind did
}

func newKinds(c *schemas.Column) kinds {
	if c == nil {
		return kinds{}
	}
	k := kinds{codes: c.Codes(), does: make([]Change, len(c.Levels()))}
	for i, inPlace := range c.Levels() {
		k.does[i] = changeBy(inPlace)
		k.into = append(k.into, make([]bool, len(c.Levels())))
		for j, next := range c.Levels() {
			k.into[i][j] = slices.Contains(conversions[inPlace], next)
		}
	}
	return k
}

// of returns the code of a row, NoCode when it is not known.
func (k *kinds) of(row int32) int16 {
	if k.codes == nil {
		return schemas.NoCode
	}
	return k.codes[row]
}

func (k *kinds) converts(inPlace, next int16) bool {
	return inPlace >= 0 && next >= 0 && k.into[inPlace][next]
}

// replaces reports whether a revision of a kind put another prosthesis in.
func (k *kinds) replaces(kind int16) bool { return kind >= 0 && k.does[kind] == ChangeOfPart }

func (k *kinds) change(row int32) Change {
	if kind := k.of(row); kind >= 0 {
		return k.does[kind]
	}
	return ChangeUnknown
}

// RevisionsOf returns the revisions of a shoulder, the first first; second stages are among them.
func (r *Registry) RevisionsOf(shoulder int) []Revision {
	s := r.Shoulders[shoulder].revisions
	return r.Revisions[s.from:s.to]
}

// codeOf returns the code of a row, empty when it is missing or the column is.
func codeOf(c *schemas.Column, row int32) string {
	if c == nil || c.Codes()[row] < 0 {
		return ""
	}
	return c.Levels()[c.Codes()[row]]
}
