// Package change says how much people improved between two visits, which improvement matters, and
// how many reached it: change scores, thresholds by anchor and by distribution, responders, pairs of
// sides, and the agreement of repeated measurements.
//
// # The way through
//
//	scores := change.Scores{Baseline: before, FollowUp: after, Patient: patient}
//	scale := change.Scale{Worst: 0, Best: 100}
//	c, err := change.Describe(scores, scale, 0.95)                    // change, ceiling and floor
//	t, err := change.Thresholds(change.Anchored{Scores: scores, Anchor: answer}, question) // every method in one table
//	responded, err := change.Respond(scores, change.Criterion{Scale: scale, Threshold: 13.6}, nil)
//	share, err := change.ShareOf(responded, patient, 0.95)            // complete cases and bounds
//	curve, err := change.ResponderCurve(scores, scale, change.OfChange, nil, 0.95)
//
// # Rules
//
// A change is counted as improvement: positive is better, whichever way the scale runs. Which way it
// runs is declared with the scale ([Scale]) and never taken from the data. NaN in a score means that it was
// not recorded, and [NoAnswer] that an anchor question was not answered; such rows are counted and left
// out of what needs them. Rows of one patient share a number in Patient and are never taken as
// independent.
//
// A slice of the wrong length, a scale or a level that cannot be, is an error. What the data do not
// let be worked out is a [State] with a reason and a remedy, never a NaN. No result depends on the number
// of processors.
package change
