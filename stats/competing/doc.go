// Package competing estimates how often each of several causes comes first, when any of them
// puts an end to the risk of the others: the cumulative incidence of Aalen and Johansen with
// its variance and intervals.
//
// Gray compares incidences between groups, ClusteredGray those of rows in clusters or with weights.
//
// Subdistribution models how covariates change such an incidence.
//
// The estimates start from survival.Counts, so the rules for numbers at risk, ties and time 0 are those
// of package survival.
package competing
