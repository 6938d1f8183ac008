// Package survival estimates how long something lasts when not everybody is followed to the
// end: the product-limit estimate with its variance, intervals and quantiles, numbers at risk,
// and the tests and summaries built on them.
//
// # The way through
//
// Count makes one pass over the rows and keeps, for each group, how many leave at each distinct
// time and by which cause. Everything else is computed from these Counts: curves, numbers at
// risk, tests. Counts of several files add up, so that nobody has to share a row.
//
//	counts, err := survival.Count(data)
//	curve := counts.ProductLimit(group, cause)
//	point := curve.At(5 * 365.25)
//
// What there is to ask:
//
//	numbers at risk                    Counts.AtRisk
//	the estimate at a time, interval   Curve.At, Curve.Interval, Point.Complement
//	median and other quantiles         Curve.Median, Curve.Quantile
//	mean time to a horizon             Curve.RestrictedMean, Mean.Minus, Mean.Over
//	two curves at one time             Point.Minus, Point.Differs
//	groups over all their follow-up    LogRank, Test.Trend, Pairwise, CountByStratum
//	hazards                            Curve.Hazard, Curve.SmoothHazard
//	rows with weights or in clusters   Curve.Robust, LayOut, ClusteredLogRank
//	groups that share clusters         Curve.Influence, Curve.MeanInfluence
//
// # Rules
//
// Someone is at risk at time t if entry < t ≤ exit; someone who entered at 0 was there from the
// very start and is at risk at t = 0 too, so events of day 0 count. Counts.AtRisk is the only
// place where that rule is worked out; curves, tables and figures take it from there.
//
// An event comes before a censoring of the same time. A time is a whole number (days, as a
// rule) in Data and any real number in RealData; the unit is the caller's. No result depends on
// the order of the rows or on the number of processors.
//
// An estimate that cannot be made is a Status, never a NaN.
package survival
