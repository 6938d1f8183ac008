package covariates

// Status says how a fit ended. Only a converged fit has estimates to show.
type Status uint8

// The ways a fit ends.
const (
	// Converged: the estimates are where the likelihood is largest.
	Converged Status = iota
	// NoRows: there is nothing to fit to.
	NoRows
	// NoEvents: nobody had the event (or, where the outcome is a response, nobody differs).
	NoEvents
	// TooFewEvents: there are more coefficients than events.
	TooFewEvents
	// Singular: a column is constant or a combination of others, so their effects cannot be told
	// apart.
	Singular
	// Separated: the likelihood keeps rising as a coefficient runs to infinity.
	Separated
	// LimitReached: the largest likelihood was not found within the steps allowed.
	LimitReached
	// Unsupported: there is no such method for data of this kind; the reason says what to do instead.
	Unsupported
)

var statusText = [...]string{
	Converged: "converged", NoRows: "no rows", NoEvents: "no events", TooFewEvents: "more coefficients than events",
	Singular: "singular", Separated: "separated", LimitReached: "limit reached",
	Unsupported: "no method for such data",
}

// String returns the status in plain words.
func (s Status) String() string {
	if int(s) < len(statusText) {
		return statusText[s]
	}
	return "unknown status"
}
