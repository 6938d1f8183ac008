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

// Flow is the way from the rows read to the shoulders counted. Every step's numbers add up: what it keeps plus what
// leaves is what the step before kept.
type Flow struct {
	RowsRead int // rows of the table the shoulders come from
	Steps    []FlowStep
}

// FlowStep is one step of a flow.
type FlowStep struct {
	ID           string // stable, for estimates: "set-aside", "primary", "criterion-1"
	Label        string // what is kept
	Leaving      string // why the others leave: "Not reverse replacement", "Set aside by a rule"
	Unit         string // "rows" until rows become shoulders, then "shoulders"
	Kept         int    // rows or shoulders
	KeptPatients int    // 0 while Unit is "rows"
	Left         int
	LeftPatients int // patients with no shoulder left
	LeftUnknown  int // of Left: because a value that the criterion needs is missing
}

// Grouping splits a cohort by one field.
type Grouping struct {
	By     string            // field; empty for one group of all
	Labels map[string]string // code → label, where the schema's label is not wanted
	Order  []string          // codes in the order wanted; others follow in schema order
}
