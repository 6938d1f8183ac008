package report

// Status says whether an estimate has a value, and if not, why.
type Status string

// The statuses of an estimate. Anything but Estimated has a note that says why and what can be done; only Estimated and
// NoEvents may have a value.
const (
	Estimated       Status = "estimated"
	NotReached      Status = "not reached"
	BeyondFollowUp  Status = "beyond follow-up"
	NoEvents        Status = "no events"
	NotIdentifiable Status = "not identifiable"
	NotConverged    Status = "not converged"
	Masked          Status = "masked"
)

// Optional is a number that may be absent. The zero value is absent.
type Optional struct {
	X     float64
	Known bool
}

// Some returns a present number.
func Some(x float64) Optional { return Optional{X: x, Known: true} }

// Estimate is one row of the estimates table. Every number that a report, a notebook or a table shows is a part of one.
type Estimate struct {
	ID       string // unique in the document; lower case, parts joined by dots: "survival.revision.fracture.5y"
	Analysis string // id of the analysis, or "flow", "accounts"
	Endpoint string // id of the endpoint; empty where none applies
	Cohort   string
	Group    string // label of the group; empty for the whole cohort
	Measure  string // plain words: "cumulative incidence", "numbers at risk", "shoulders"
	At       Optional
	AtUnit   string // unit of At: "years"
	Value    Optional
	Lower    Optional
	Upper    Optional
	Level    Optional // probability the interval aims at: 0.95
	N        Optional // shoulders (or rows, or patients, as Unit says) the value rests on
	Events   Optional
	Unit     string // "probability", "shoulders", "patients", "rows", "years"
	Method   string
	Status   Status
	Note     string
}

// Count makes an estimate that is a plain count.
func Count(id, analysis, measure string, n int, unit string) Estimate {
	return Estimate{ID: id, Analysis: analysis, Measure: measure, Value: Some(float64(n)), Unit: unit, Method: "count",
		Status: Estimated}
}

// Total says that counts add up: the value of Whole is the sum of the values of Parts. Disclosure uses totals to see
// that no masked count can be worked out from the others.
type Total struct {
	Whole string   // id of an estimate
	Parts []string // ids of estimates
}

// Derived says that an estimate is worked out from others, as a difference is from two values: who knows it and all but one
// of them knows that one. Disclosure masks it together with any of them.
type Derived struct {
	Estimate string   // id
	From     []string // ids
}
