package cohorts

// The labels of groups that no code stands for.
const (
	All         = "All"          // the one group of a [Grouping] without a field
	NotRecorded = "Not recorded" // shoulders whose value is missing
)

// Grouping splits a cohort by one field.
type Grouping struct {
	By     string            // field; empty for one group of all
	Labels map[string]string // code → label, where the schema's label is not wanted
	Order  []string          // codes in the order wanted; others follow in schema order
	Place  string            // file:line in the plan, for messages
}
