// Package monitor watches how often something happens: events and the time in which they could
// have happened, rates, and how the rates of groups compare.
//
// A [Tally] is all that a rate is made of. It comes from [survival.Counts], so the rules for who
// is at risk and which stretch an event belongs to are those of package survival, or from
// elsewhere as two numbers.
//
//	tallies := monitor.Tallies(counts, 1)                 // one for each group, in days
//	rate, err := tallies[0].In(365.25).Rate(100, 0.95, monitor.Exact)
//
// What there is to ask:
//
//	a rate with its interval                 Tally.Rate
//	rates by stretch of follow-up            Stretches
//	one group against another, or the rest   Ratio, Difference, Others
//	several groups at once                   Homogeneity
//	subjects in clusters, two of a person    Clusters, Spread
//
// Events are taken to be Poisson: independent, and at a constant rate within a tally. A rate is a
// good summary of a stretch in which the hazard hardly changes; where it changes, look at
// Stretches too, and at the curves of package survival.
//
// An estimate that cannot be made is a [Status], never a NaN.
package monitor
