package cohorts

import "deltoid/schemas"

// Side is the side of a shoulder.
type Side uint8

// The sides. A ready table of published data may have none.
const (
	NoSide Side = iota
	Left
	Right
)

// Shoulder is one index procedure and what is known of its course. Days are those of the exports; [schemas.NoDay]
// means that nothing is recorded.
type Shoulder struct {
	Row         int32 // its row in Registry.Table
	Patient     int32 // 0 … Registry.Patients-1
	Side        Side
	Day         int32 // day of the index procedure
	Observed    int32 // days after the index procedure at which observation begins; 0 unless entry is delayed
	Death       int32
	LastContact int32   // last day since the index procedure on which any other record knows of the patient
	OtherEvent  int32   // an event that ends follow-up and is neither revision nor death (ready tables only)
	History     History // what the shoulder had before
	revisions   span    // in Registry.Revisions, by day
}

// span is a range of a slice.
type span struct{ from, to int32 }

// Registry is the linked records of one study.
type Registry struct {
	Table     *schemas.Table // procedures, or a ready table: where the covariates are
	Patients  int
	Shoulders []Shoulder // by patient, side and day
	Revisions []Revision // by shoulder and day
	Ledgers   []schemas.Ledger
	Ready     bool // linked by somebody else: a ready table with one row a shoulder
	Anonymous bool // a ready table without a column of patients: every row is taken for a patient of its own

	revisionRows int // rows of Table in use that are no index procedure
	derived      map[string]*schemas.Column
	scores       *scores // nil when no scores were linked
}
