// Package trials plans studies where closed forms cannot: it draws invented studies, many of
// them, and counts how often the analysis finds what is there. It also works out the limits of
// looks at a study while it goes on.
//
// # A study from assumptions
//
// A Design says who is drawn: arms with hazards that are constant in pieces, deaths that hide
// events, loss, a pattern of accrual, two shoulders of one patient, hospitals, strata, scores at
// visits with some missing. A Test is what is done with each study; any analysis of stats can be
// one.
//
//	base, err := trials.HazardFor(0.95, 10*365.25)            // 95 % free of revision at ten years
//	d := &trials.Design{
//		Patients: 800,
//		Arms: []trials.Arm{
//			{Name: "usual", Share: 1, Event: base, Death: trials.Constant(0.04 / 365.25)},
//			{Name: "new", Share: 1, Event: base.Times(0.6), Death: trials.Constant(0.04 / 365.25)},
//		},
//		Accrual: trials.Accrual{Days: 1096, FollowUp: 1826},
//	}
//	r, err := trials.Simulate(d, trials.LogRank(), trials.Options{Seed: 1, Level: 0.05, Sides: 2})
//	// r.Power.Value, with its Monte-Carlo error r.Power.Error
//
// # A study from a cohort
//
// A Next draws the patients of a Cohort again, with their deaths, loss and follow-up, their events
// under the hazard ratio that one wants to be able to find.
//
// # Looks
//
// A Boundary holds the limits for z at each look, by the shapes of Pocock or of O'Brien and Fleming, or
// by spending the level as the information comes in; Looks in the Options hold them at
// events, scores or days of simulated studies.
//
// # Searches
//
// Curve, SizeFor and RatioFor ask for a row of studies, the size, or the smallest effect.
//
// # Rules
//
// Times are whole days; hazards are per day. Rules for ties and numbers at risk are those of package
// survival. What cannot be is an *Impossible, which names the assumption; a study that its analysis
// has no answer for counts as one that found nothing, and Result.Failed counts them. The same seed
// gives the same result on any number of processors.
package trials
