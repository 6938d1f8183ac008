package plan

import (
	"deltoid/cohorts"
	"deltoid/schemas"
)

// Plan is a study plan that has been read and found right.
type Plan struct {
	Path       string // as given
	Study      string // short name: letters, digits, hyphens
	Title      string
	About      string
	Invented   bool
	Sources    []schemas.Source // by table name
	Offsets    bool             // days are offsets, not calendar dates
	FollowUp   cohorts.FollowUp
	Cohort     cohorts.Definition
	Endpoints  []cohorts.Endpoint
	Analyses   []Analysis
	Outputs    []Output
	Disclosure Disclosure
}

// Endpoint returns the endpoint with an id, or nil.
func (p *Plan) Endpoint(id string) *cohorts.Endpoint {
	for i := range p.Endpoints {
		if p.Endpoints[i].ID == id {
			return &p.Endpoints[i]
		}
	}
	return nil
}

// Analysis is one analysis that the plan asks for.
type Analysis struct {
	ID       string
	Kind     Kind
	Endpoint string // id
	Groups   cohorts.Grouping
	Times    []float64 // in Unit, rising
	Unit     schemas.Unit
	Headline Headline
	Level    float64 // of the intervals
	Interval Interval
	Until    float64 // end of the curves in Unit; the largest of Times when not given
	Place    string  // file:line in the plan
}

// Kind is a kind of analysis.
type Kind string

// ImplantSurvival asks for survival free of the endpoint, and its cumulative incidence, by group.
const ImplantSurvival Kind = "implant survival"

// Headline says which of the two answers leads.
type Headline string

// The two answers to "how many are revised": with death as a competing event, or had nobody died.
const (
	LeadIncidence Headline = "cumulative incidence"
	LeadSurvival  Headline = "survival"
)

// Interval is the scale on which an interval is made.
type Interval string

// The scales of an interval for a probability.
const (
	LogLogInterval Interval = "complementary log-log"
	LogInterval    Interval = "log"
	PlainInterval  Interval = "plain"
)

// Output is a kind of output file.
type Output string

// The outputs. The estimates and the run record are always written.
const (
	HTML     Output = "html"
	Markdown Output = "markdown"
	Notebook Output = "notebook"
	Figures  Output = "figures"
)

// Disclosure says which counts are too small to be shown.
type Disclosure struct {
	MaskBelow int
	Reason    string // why it departs from the default
}
