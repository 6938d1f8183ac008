// Package describe says what a sample is like and how two or more samples differ: means, quantiles,
// proportions and their intervals, standardised differences, agreement, and the plain tests.
//
// # The way through
//
// Every function takes slices of numbers without missing values, or counts, and changes neither. What
// is missing is the caller's to leave out and to count.
//
//	age := describe.MomentsOf(ages)              // number, mean, standard deviation
//	quartile := describe.Sort(ages).Quantile(0.25, describe.Linear)
//	share := describe.Wilson(18, 20, 0.95)       // proportion with its interval
//	d := describe.StandardisedMeans(a, b)        // difference of two groups
//	k := describe.Agreement(table, describe.NoPartialCredit, 0.95)
//
// # Rules
//
// What cannot be worked out is a Status, never a NaN: an empty sample, a spread of one number, a
// number that is not finite. Sums are compensated and products rounded before they are summed, so
// that the same input gives the same bits on every processor. No result depends on a clock, a random
// number or the number of processors; quantiles and ranks do not depend on the order of a sample.
package describe
