package cohorts

// Flow is the way from the rows read to the shoulders counted. Every step's numbers add up: what it keeps plus what
// leaves is what the step before kept.
type Flow struct {
	RowsRead int // rows of the table the shoulders come from
	Steps    []FlowStep
}

// FlowStep is one step of a flow.
type FlowStep struct {
	ID           string // stable, for estimates: "set-aside", "linked", "primary", "data-cut", "observed", "criterion-1"
	Label        string // what is kept
	Leaving      string // why the others leave: "Not reverse replacement", "Set aside by a rule"
	Unit         string // "rows" until rows become shoulders, then "shoulders"
	Kept         int    // rows or shoulders
	KeptPatients int    // 0 while Unit is "rows"
	Left         int
	LeftPatients int // patients with no shoulder left; 0 up to the step at which rows become shoulders
	LeftUnknown  int // of Left: only because a value that the criterion needs is missing
}
