// Package covariates is what regression models share, whatever their likelihood: named columns
// and their checks, one blocked weighted product of all columns with all, Newton's method with a
// verdict on how it ended, and the estimates, intervals and tests that come out of it.
//
// A model whose estimates do not exist is not a result: Status says separated, singular or limit
// reached, and Reason names the column and says what can be done.
//
// Work is cut into pieces of a size that depends on the number of rows alone, and their sums are
// added in order, so that no result depends on the number of processors.
package covariates
