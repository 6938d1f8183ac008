// Package cohorts says who is counted, from when, and until what.
//
// [Link] joins the checked tables of one study into a [Registry]: the shoulders with an index procedure, their
// revisions, and the last day of each patient. [Define] keeps those that meet the criteria of a [Definition] and counts
// every one that leaves in a [Flow]. [Cohort.Episodes] turns what is left into whole-day episodes that end in the event
// of an [Endpoint], in a competing event, or in censoring.
//
// The unit is the shoulder: one patient and one side. The patient goes along everywhere, because two shoulders of one
// patient are not independent.
package cohorts
