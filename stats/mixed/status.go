package mixed

// Status says how a fit, or one number of it, ended. Only a converged one has numbers to show.
type Status uint8

// The ways a fit or a number of it ends.
const (
	// Converged: the estimates are where the likelihood is largest.
	Converged Status = iota
	// NoRows: there is nothing to fit to, or no more rows than coefficients.
	NoRows
	// OneVisit: no shoulder has a second visit, so nothing is repeated.
	OneVisit
	// ConstantOutcome: every score is the same, or is told exactly by the columns.
	ConstantOutcome
	// Singular: a column is constant or a combination of others.
	Singular
	// NotIdentified: the data do not tell the parameters of the covariance apart.
	NotIdentified
	// OnBoundary: the largest likelihood belongs to a covariance that is not one: a variance of 0, or scores at two visits
	// that are exact functions of each other.
	OnBoundary
	// LimitReached: the largest likelihood was not found within the steps allowed.
	LimitReached
	// EmptyCell: a group has no score at a visit.
	EmptyCell
	// OneInCell: a group has a single score at a visit.
	OneInCell
	// TooFewDegrees: the variance of the number rests on less than one degree of freedom.
	TooFewDegrees
)

var statusText = [...]string{
	Converged: "converged", NoRows: "no rows", OneVisit: "one visit only", ConstantOutcome: "constant outcome", Singular: "singular",
	NotIdentified: "not identified", OnBoundary: "covariance on the boundary", LimitReached: "limit reached", EmptyCell: "empty cell",
	OneInCell: "one score in the cell", TooFewDegrees: "too few degrees of freedom",
}

// String returns the status in plain words.
func (s Status) String() string {
	if int(s) < len(statusText) {
		return statusText[s]
	}
	return "unknown status"
}
