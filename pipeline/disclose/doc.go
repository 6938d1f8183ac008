// Package disclose looks at a finished report before anyone else does and hides the small numbers in it.
//
// A [report.Document] goes in, a [Cleared] comes out. Package render accepts nothing but a Cleared, so no number reaches
// a page that was not looked at here.
//
// # What is small
//
// With the threshold k of a [Policy], a count of people from 1 to k-1 is small. Zero is not: it is shown, unless it is
// needed to hide a neighbour. Rows of an export, findings, missing values, hospitals and surgeons are not people. The counts
// of a document are the values of its count estimates, the numbers N and Events behind its other estimates, and N-Events
// behind a probability. All are compared as numbers.
//
// # What is hidden
//
// An estimate is masked whole (value, limits, N and events go, the status becomes masked, the note says why) when it
// prints a small count, because a probability at full precision gives its count away; when the numbers at risk of its
// group at its time are small; or when it belongs to a group of an analysis that is small as a whole.
//
// Counts are tied together: by the document's totals; by groups that add up to their whole cohort; by time, since events
// only grow, numbers at risk only fall, and both together never exceed N; and by being one number printed twice. For
// the last, N of the same cohort and group with equal values are taken as one number, so are Events of the same cohort,
// group and endpoint, and a count estimate of that cohort and group (and endpoint) that equals one of them joins it. So
// are count estimates by which two analyses say the same of one cohort, group and endpoint. To hide a number is to mask
// every estimate that prints it.
//
// An estimate worked out from others, as the document's Derived says, is masked with any of them. A stacked figure keeps its
// lowest layers as long as nothing that they show is masked, and the whole on top of them.
//
// More is hidden until every small count is safe: for each value from 1 to k-1 there is a table of whole numbers that
// has this value there, agrees with everything still shown and with all ties, and has 1 to k-1 wherever a small count
// is hidden. Such a table is searched for and found, so the check is a proof and not a bound. A number hidden for the
// sake of another keeps at least k-1 possible values in the same sense. (At k = 2, which would leave a single value, both
// are held to 1 and 2.) A search that takes too many steps counts as one without a table: more is then hidden, not less.
//
// Some values cannot be kept so even if nothing at all were shown: of a hidden whole of 3, none of its three parts of 1 can be 4
// where all four are known to be small. For these values the table may have any number wherever a number is hidden: who
// does not know which of them are small finds the value possible.
//
// What is hidden next is the smallest shown number that makes the count safe: a part before a whole, zero last, equal
// values by id. If none is enough alone it is the first in that order. This is done twice, among all numbers that hang
// together with the count and among those only that help to rule out a value it should keep; the outcome that masks fewer
// estimates is taken. Where nothing is left to hide the count stays as it is.
//
// A report more than half of which is masked opens with a sentence on what can be done.
//
// # What is not hidden
//
// The difference between two numbers that are both shown can be small: five events up to one year and six up to two
// tell that one event came in the second year. So can the fall of the numbers at risk from tick to tick, and a step of
// a curve is often one shoulder. Groups of different reports or of different groupings are tied only by the totals that
// the document gives. A document in which something is masked says so in its cautions.
package disclose
