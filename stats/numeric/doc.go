// Package numeric holds the few pieces of floating-point arithmetic that the
// estimators share: a compensated sum, a product of ratios that keeps its last digit, a quadratic
// form, and products of tables of times and groups.
//
// Every operation rounds explicitly, so the same input gives the same bits on every
// processor.
package numeric
