// Package cohorts says who is counted, from when, and until what.
//
// [Link] joins the checked tables of one study into a [Registry]: the shoulders with an index procedure, their
// revisions, and the last day of each patient. [FromReady] makes the same of a table that somebody else has linked.
// [Define] keeps the shoulders that meet the criteria of a [Definition] and counts every one that leaves in a [Flow].
// [Cohort.Episodes] turns what is left into whole-day episodes that end in the event of an [Endpoint], in a competing
// event, or in censoring.
//
// The unit is the shoulder: one patient and one side, or more exactly one prosthesis in it. The patient goes along
// everywhere, because two shoulders of one patient are not independent.
//
// Where two tables contradict each other, one principle decides: the row that cannot be attached to its index procedure
// is set aside, and the index procedure stays. The rules that follow from it are listed by [Rules]. Nothing leaves
// without being counted: rows by the ledgers of the registry, shoulders by the flow.
package cohorts
