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
	Visits     []cohorts.Window // when scores are due, in the order of time; no two overlap
	Analyses   []Analysis
	Outputs    []Output
	Disclosure Disclosure
	Rules      []Lowered // rules that only warn, in the order of the plan
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

// Lowered is a rule whose severity the plan lowers to a warning, and why.
type Lowered struct{ Rule, Reason string }

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
	Variance Variance
	Shares   []float64 // shares of shoulders with the event: by when had each had it?
	Weights  string    // field of the numbers that shoulders count for; empty for 1 each
	Hazard   float64   // over how long on either side, in Unit, the hazard is smoothed; 0 for no hazard
	Place    string    // file:line in the plan

	// Of a comparison of groups.
	Tests   []Test
	Strata  string // field within whose groups the log-rank tests compare; empty for none
	Trend   bool   // test for a trend along the order of the groups
	Pairs   Pairs
	Horizon float64 // of the mean time free of the endpoint, in Unit; 0 for no mean

	// Of revision rates.
	Per       float64 // prosthesis-years that a rate is for
	Reference string  // code of the group that the others are compared with, or AllOthers

	// Of a regression.
	Model        Model
	AdjustFor    []Covariate
	Interactions [][2]string // fields whose effects may depend on one another
	Ties         Ties
	Penalised    bool        // by the penalty of Firth, for few events
	Outcome      *Outcome    // a field in place of the endpoint; nil for the endpoint
	Predict      *Prediction // nil for none

	// Of a model validation, whose Horizon it is that risks are predicted for.
	Given      *GivenModel // nil: the model is made here
	Replicates int         // samples of the bootstrap
	Seed       uint64

	// Of a projection.
	Shape Shape
	Cuts  []float64 // where the hazard changes, in Unit

	Scores   Scored   // of the kinds that are about scores
	Repeated Repeated // of repeated scores

	Next *NextStudy // of a next study, which also has Replicates and Seed; nil otherwise

	Within      *cohorts.Criterion // a criterion of this analysis alone; nil for the whole cohort
	Sensitivity []Sensitivity

	// Of a description of the cohort.
	Fields      []string // of the table of baseline characteristics; those exported when empty
	Medians     []string // fields shown with median and quartiles
	PValues     bool
	Instruments []string // whose visits are followed
}

// Kind is a kind of analysis.
type Kind string

// The kinds of analysis.
const (
	// ImplantSurvival asks for survival free of the endpoint, and its cumulative incidence, by group.
	ImplantSurvival Kind = "implant survival"
	// Comparison asks whether groups differ: by tests, at fixed times, and in the mean time free of the endpoint.
	Comparison Kind = "comparison of groups"
	// Reasons asks why implants are revised: the cumulative incidence of each reason.
	Reasons Kind = "reasons for revision"
	// RevisionRates asks how many are revised for so many prosthesis-years, by group and by stretch of follow-up.
	RevisionRates Kind = "revision rates"
	// Regression asks what changes the hazard or the cumulative incidence of the endpoint, each characteristic adjusted for the
	// others.
	Regression Kind = "regression"
	// Validation asks how well the risks that a model predicts agree with what happened.
	Validation Kind = "model validation"
	// Projection asks what a parametric curve says beyond what was seen.
	Projection Kind = "projection"
	// NextStudyKind asks how large the next study must be, drawn from the cohort itself.
	NextStudyKind Kind = "next study"
	// Baseline asks who the groups are: their characteristics at the operation, and how unlike the groups are.
	Baseline Kind = "baseline characteristics"
	// BothShoulders asks how many patients have both shoulders in, and which make matched pairs.
	BothShoulders Kind = "both shoulders"
	// Indication asks how the indication was decided: recorded against settled.
	Indication Kind = "indication"
	// ProcedureAudit asks how often the procedure is the one that the findings would lead one to expect.
	ProcedureAudit Kind = "procedure audit"
	// FollowUpKind asks how long and how complete follow-up is, and who is missing.
	FollowUpKind Kind = "follow-up"
	// Recovery asks how many improve by an amount that matters, or reach a state that does.
	Recovery Kind = "recovery"
	// ThresholdsKind asks which amount matters: thresholds of a score by every method.
	ThresholdsKind Kind = "thresholds"
)

// Variance says whether two shoulders of one patient are taken for two patients.
type Variance string

// The variances. Clustered is by patient; it is used wherever a patient has two shoulders in.
const (
	Clustered   Variance = "clustered"
	Independent Variance = "independent"
)

// Test is a test of whether groups differ over the whole of their follow-up.
type Test string

// The tests. Those that weight count some times more than others; Gray compares cumulative incidences.
const (
	LogRank            Test = "log-rank"
	WeightedEarly      Test = "weighted early"
	WeightedLate       Test = "weighted late"
	WeightedAtRisk     Test = "weighted by number at risk"
	WeightedRootAtRisk Test = "weighted by root of number at risk"
	Gray               Test = "Gray"
)

// Pairs says how the p-values of all pairs of groups are adjusted for their number.
type Pairs string

// The adjustments.
const (
	NoPairs           Pairs = "none"
	Holm              Pairs = "Holm"
	BenjaminiHochberg Pairs = "Benjamini-Hochberg"
)

// Sensitivity is a way to repeat an analysis on another choice of shoulders, or of groups.
type Sensitivity string

// The sensitivity analyses.
const (
	FirstShoulderOnly  Sensitivity = "first shoulder only"
	RecordedIndication Sensitivity = "recorded indication"
	WithoutMinimum     Sensitivity = "without minimum follow-up"
)

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
