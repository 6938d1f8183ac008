package cohorts

// Definition says which shoulders of a registry are counted.
type Definition struct {
	Name     string
	Criteria []Criterion // applied in order
}

// Criterion is one condition for staying in the cohort. A shoulder stays when every part of Where holds.
type Criterion struct {
	Label string // what is kept: "Reverse replacement"
	Where []Condition
	Place string // file:line in the plan, for messages
}

// Condition is a condition on one field of the registry's table. A missing value never meets it. Exactly one of In and
// the bounds is set.
type Condition struct {
	Field string
	In    []string // codes or texts
	From  *float64 // number or day, inclusive
	To    *float64 // number or day, inclusive
}
