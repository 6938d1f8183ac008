// Package mixed is the linear mixed model for scores that were taken more than once: of one shoulder at several
// visits, and of two shoulders of one patient.
//
//	fit, err := mixed.Estimate(mixed.Data{Outcome: score, Subject: shoulder, Visit: visit, Patient: patient, Visits: names},
//		columns, mixed.Options{Covariance: mixed.Unstructured, PatientIntercept: true})
//	effect := fit.Effect(0, 0.95)
//
// The rows of a shoulder have the mean constant + Σ β_j x_j and a covariance over visits that is the same for every
// shoulder: unstructured, compound symmetric, autoregressive or a power of the time between. A patient with two
// shoulders may have a part of his own in both, and a shoulder an intercept and a slope of its own. A visit without
// a score is a row that is not there: estimates then hold if scores are missing at random, given those that are there.
//
// Covariance parameters have the largest restricted likelihood (REML), or the largest likelihood if asked for. Degrees
// of freedom are Kenward and Roger's or Satterthwaite's, and every test says which.
//
// Trajectories sets such a model up for groups followed over visits, with means, differences and changes, and Shift
// asks how much worse the scores that are missing would have to be to change an answer.
//
// What cannot be estimated has a status and a reason, never a number. Rows are gathered once by which visits a block
// has; everything after works on sums of products, so that a fit to many rows takes one pass over them. No result
// depends on the number of processors.
package mixed
