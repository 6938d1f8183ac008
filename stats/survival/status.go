package survival

// Status says whether a number could be estimated, and if not, why not.
type Status uint8

// The states of an estimate. Only Estimated has a number to show.
const (
	// Estimated: there is an estimate.
	Estimated Status = iota
	// NoEvents: nobody had the event, up to the time asked for.
	NoEvents
	// BeyondFollowUp: the time lies after the last exit and the curve had not reached 0.
	BeyondFollowUp
	// NobodyAtRisk: the time lies in a gap in which nobody is under observation.
	NobodyAtRisk
	// NotReached: the curve, or its limit, never falls far enough.
	NotReached
	// AtBound: the estimate is exactly 0 or 1, where the variance says nothing.
	AtBound
	// NoRows: the group is empty.
	NoRows
	// NotComparable: at no event were there people at risk in more than one group, or all had
	// the event at once, so nothing can be said about a difference.
	NotComparable
	// NoVariance: rows count for different weights, so the variance has to come from the rows,
	// by Curve.Robust.
	NoVariance
	// OneCluster: all rows belong to one cluster, so nothing can be said about how much clusters differ.
	OneCluster
	// NoWeight: whoever is at risk counts for nothing, all weights being 0.
	NoWeight
)

var statusText = [...]string{
	Estimated:      "estimated",
	NoEvents:       "no events",
	BeyondFollowUp: "beyond follow-up",
	NobodyAtRisk:   "nobody at risk",
	NotReached:     "not reached",
	AtBound:        "estimate at its bound",
	NoRows:         "no rows",
	NotComparable:  "groups cannot be compared",
	NoVariance:     "no variance without the rows",
	OneCluster:     "all rows in one cluster",
	NoWeight:       "nobody at risk has a weight",
}

// String returns the status in plain words.
func (s Status) String() string {
	if int(s) < len(statusText) {
		return statusText[s]
	}
	return "unknown status"
}
