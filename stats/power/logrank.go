package power

import (
	"math"

	"deltoid/stats/dist"
)

// The assumptions about hazards.
const (
	HazardRatio Name = "hazard_ratio"
	Formula     Name = "formula"
)

// The formulas for the log-rank test.
const (
	schoenfeld    = "Schoenfeld"
	freedman      = "Freedman"
	lachinFoulkes = "Lachin-Foulkes"
)

var (
	takesRatio  = above(HazardRatio, Ratio, "hazard ratio of the second group against the first", "below 1 when the second group has fewer events")
	takesFirst  = share(First, "share with the event in the first group by a time, if nobody dies or leaves before", "1 − survival, as a number between 0 and 1")
	takesAt     = above(At, Years, "years after the operation by which that share has the event", "the time that goes with the share")
	takesHRBand = Assumption{Name: Margin, Words: "hazard ratio that would no longer be accepted", Help: "only for non-inferiority: how many times as high the hazard may be", Unit: Ratio,
		From: 1, To: math.Inf(1), Optional: true, Absent: "the test is one of a difference"}
)

func noRatio(a *assumed) float64 {
	if a.has(Margin) {
		return a.x(Margin)
	}
	return 1
}

// ratioFar is as far as a smallest detectable ratio is looked for. The formulas take the logarithm of the ratio for moderate;
// of a fiftyfold one they would claim more than few events can tell.
func ratioFar(_ *assumed, higher bool) float64 { return cond(higher, 50, 0.02) }

// marginAgrees refuses a margin on the wrong side of the true ratio.
func (a *assumed) marginAgrees() {
	if !a.has(Margin) {
		return
	}
	m := a.x(Margin)
	switch {
	case a.word(Formula) == freedman:
		a.refuse(Formula, schoenfeld+", "+lachinFoulkes, "%s has no form with a margin", freedman)
	case a.has(HazardRatio) && a.x(HazardRatio) > m:
		a.refuse(HazardRatio, "below "+brief(m), "the true hazard ratio %s lies beyond the margin, so that the second group is inferior", brief(a.x(HazardRatio)))
	}
	if a.twoSided() {
		a.refuse(Sides, "1, with half the significance level if it was meant to be two-sided", "a test against a margin looks to one side, but sides is 2")
	}
}

var takesFormula = choice(Formula, "the formula", "Schoenfeld's counts events; Freedman's is more cautious with large effects; Lachin and Foulkes' uses the hazards and takes exponential times", schoenfeld,
	schoenfeld, freedman, lachinFoulkes)

var logRank = &Design{
	ID: "survival of two groups", Question: "Does survival free of the event differ between two groups?",
	Takes: takes([]Assumption{takesFirst, takesAt, takesRatio, takesHRBand, takesFormula}, overTime(), sized("shoulders"), tested(2, false), directed("hazard ratio"), clustered()),
	Goal:  Power, Effect: HazardRatio, Counted: "shoulders", Groups: 2, sizeUnit: Persons, least: 1, null: noRatio, far: ratioFar,
	check: func(a *assumed) { a.timeAgrees(); a.marginAgrees() },
	reach: func(a *assumed, n1, n2 float64) float64 {
		w, h1, h2 := a.watch(), a.firstHazard(), a.firstHazard()*a.x(HazardRatio)
		d := float64(n1*w.seen(h1)) + float64(n2*w.seen(h2))
		switch a.word(Formula) {
		case lachinFoulkes:
			mean := (float64(n1*h1) + float64(n2*h2)) / (n1 + n2)
			null := math.Sqrt((1/n1 + 1/n2) / w.seen(mean))
			spread := math.Sqrt(1/(n1*w.seen(h1)) + 1/(n2*w.seen(h2)))
			return a.zPower(math.Log(a.x(HazardRatio)/noRatio(a)), null, spread)
		case freedman:
			return a.freedmanPower(d, n2/n1)
		}
		return a.schoenfeldPower(d, n2/(n1+n2))
	},
	more: func(a *assumed, n1, n2 float64) []Quantity {
		h := a.firstHazard()
		return append([]Quantity{{"share-second", "share with the event in the second group by the same time", Share, -math.Expm1(-h * a.x(HazardRatio) * a.x(At))}},
			a.followed([]float64{h, h * a.x(HazardRatio)}, []float64{n1, n2})...)
	},
	method: func(a *assumed) Method {
		m := a.ratioMethod()
		m.Words += ", the events expected under constant hazards with " + a.word(Pattern) + " recruitment"
		return m
	},
}

func (a *assumed) firstHazard() float64 { return hazardOf(a.x(First), a.x(At)) }

// schoenfeldPower is the power of so many events when a share of the shoulders is in the second group.
func (a *assumed) schoenfeldPower(events, share float64) float64 {
	z := float64(math.Sqrt(events*share*(1-share)) * math.Abs(math.Log(a.x(HazardRatio)/noRatio(a))))
	return dist.NormalLower(z + dist.NormalQuantile(a.tail()))
}

// freedmanPower is the power of so many events when the second group is ratio times as large as the first.
func (a *assumed) freedmanPower(events, ratio float64) float64 {
	hr := a.x(HazardRatio)
	z := math.Sqrt(events*ratio) * math.Abs(1-hr) / (1 + float64(ratio*hr))
	return dist.NormalLower(z + dist.NormalQuantile(a.tail()))
}

func (a *assumed) ratioMethod() Method {
	test := "log-rank test"
	if a.has(Margin) {
		test = "test of the hazard ratio against the margin"
	}
	switch a.word(Formula) {
	case freedman:
		return Method{"a " + a.sideWords() + " " + test + " by Freedman's formula", "Freedman, Stat Med 1982;1:121", false}
	case lachinFoulkes:
		return Method{"a " + a.sideWords() + " " + test + " by Lachin and Foulkes' formula for the log hazard ratio", "Lachin and Foulkes, Biometrics 1986;42:507", false}
	}
	return Method{"a " + a.sideWords() + " " + test + " by Schoenfeld's formula", "Schoenfeld, Biometrika 1981;68:316", false}
}

var eventsAlone = &Design{
	ID: "events for a hazard ratio", Question: "How many events does a hazard ratio need, however long they take to come?",
	Takes: takes([]Assumption{takesRatio, takesHRBand, choice(Formula, "the formula", "Freedman's is more cautious with large effects", schoenfeld, schoenfeld, freedman),
		{Name: Size, Words: "events in all", Help: "of both groups together", Unit: Events, From: 0, To: largest}}, tested(2, false), directed("hazard ratio")),
	Goal: Power, Effect: HazardRatio, Counted: "events", Groups: 2, sizeUnit: Events, null: noRatio, far: ratioFar, least: 1e-3,
	check: (*assumed).marginAgrees,
	reach: func(a *assumed, n1, n2 float64) float64 {
		if a.word(Formula) == freedman {
			return a.freedmanPower(n1+n2, n2/n1)
		}
		return a.schoenfeldPower(n1+n2, n2/(n1+n2))
	},
	method: (*assumed).ratioMethod,
}

var benchmark = &Design{
	ID: "survival against a benchmark", Question: "Does survival free of the event in one cohort differ from a benchmark?",
	Takes: takes([]Assumption{share(First, "share with the event in the benchmark by a time, if nobody dies or leaves before", "1 − survival, from a registry or a publication"), takesAt,
		above(HazardRatio, Ratio, "hazard ratio of the cohort against the benchmark", "below 1 when the cohort has fewer events")}, overTime(), sized("shoulders"), tested(1, false), directed("hazard ratio"), clustered()),
	Goal: Power, Effect: HazardRatio, Counted: "shoulders", Groups: 1, sizeUnit: Persons, least: 1, null: func(*assumed) float64 { return 1 }, far: ratioFar,
	check: (*assumed).timeAgrees,
	reach: func(a *assumed, n, _ float64) float64 {
		// Observed less expected events: mean and variance of one shoulder's share of it, when its hazard is the true one.
		w, h0 := a.watch(), a.firstHazard()
		h := h0 * a.x(HazardRatio)
		seen, time, squared := w.seen(h), w.time(h), w.squared(h)
		mean := seen - float64(h0*time)
		variance := seen - float64(h0*h*squared) + float64(h0*h0*squared) - float64(mean*mean)
		root := math.Sqrt(n)
		return a.zPower(mean*root, math.Sqrt(h0*time), math.Sqrt(variance))
	},
	more: func(a *assumed, n, _ float64) []Quantity {
		h := a.firstHazard() * a.x(HazardRatio)
		list := a.followed([]float64{h}, []float64{n})
		return append(list, Quantity{"events-expected", "events expected by the benchmark in the same time", Events, n * a.watch().time(h) * a.firstHazard()})
	},
	method: func(a *assumed) Method {
		return Method{"a " + a.sideWords() + " one-sample log-rank test of the observed against the expected events", "Finkelstein, Muzikansky and Schoenfeld, J Natl Cancer Inst 2003;95:1434; Wu, Pharm Stat 2015;14:26", false}
	},
}
