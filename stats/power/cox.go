package power

import (
	"math"

	"deltoid/stats/dist"
)

// The assumptions about a characteristic in a model of the hazard.
const (
	Spread    Name = "spread"
	Explained Name = "explained"
	EventRate Name = "event_share"
)

var characteristic = &Design{
	ID: "hazard of a characteristic", Question: "Does a characteristic go with the hazard, adjusted for others that it is correlated with?",
	Takes: takes([]Assumption{
		above(HazardRatio, Ratio, "hazard ratio for one unit more of the characteristic", "for a characteristic that is there or not: with it against without"),
		above(Spread, Points, "standard deviation of the characteristic", "in its unit; of one that a share p has, √(p(1 − p)), 0.5 at most"),
		{Name: Explained, Words: "share of its variance that the other characteristics explain", Help: "R² of a regression on the others; 0 without others", Unit: Share, From: 0, FromIn: true, To: 1},
		{Name: EventRate, Words: "share of the shoulders whose event will be observed", Help: "within the follow-up of the study; 1 to count events", Unit: Share, From: 0, To: 1, ToIn: true}},
		sized("shoulders"), tested(1, false), lost(), directed("hazard ratio"), clustered()),
	Goal: Power, Effect: HazardRatio, Counted: "shoulders", Groups: 1, sizeUnit: Persons, least: 1, null: func(*assumed) float64 { return 1 }, far: ratioFar,
	reach: func(a *assumed, n, _ float64) float64 {
		z := float64(math.Sqrt(n*a.x(EventRate)*(1-a.x(Explained))) * a.x(Spread) * math.Abs(math.Log(a.x(HazardRatio))))
		return dist.NormalLower(z + dist.NormalQuantile(a.tail()))
	},
	more: func(a *assumed, n, _ float64) []Quantity {
		return []Quantity{{"events", "events expected to be observed", Events, n * a.x(EventRate)},
			{"inflation", "factor on the size because others explain it", Ratio, 1 / (1 - a.x(Explained))}}
	},
	method: func(a *assumed) Method {
		return Method{"a " + a.sideWords() + " test of a characteristic in a Cox model", "Hsieh and Lavori, Control Clin Trials 2000;21:552", false}
	},
}

var incidence = &Design{
	ID: "cumulative incidence", Question: "Does the cumulative incidence of the event differ between two groups, when death may come first?",
	Takes: takes([]Assumption{
		share(First, "cumulative incidence of the event in the first group by a time", "how many do come to it although some die first"),
		share(Second, "cumulative incidence of the event in the second group by the same time", "how many do come to it although some die first"),
		above(At, Years, "years after the operation by which these have the event", "the time that goes with the incidences")},
		overTime(), sized("shoulders"), tested(2, false), directed("cumulative incidence in the second group"), clustered()),
	Goal: Power, Effect: Second, Counted: "shoulders", Groups: 2, sizeUnit: Persons, least: 1,
	null:  func(a *assumed) float64 { return a.x(First) },
	far:   func(a *assumed, higher bool) float64 { return cond(higher, 1, 0) },
	check: func(a *assumed) { a.timeAgrees() },
	reach: func(a *assumed, n1, n2 float64) float64 {
		w := a.watch()
		d := float64(n1*w.seen(a.causeHazard(First))) + float64(n2*w.seen(a.causeHazard(Second)))
		share := n2 / (n1 + n2)
		z := float64(math.Sqrt(d*share*(1-share)) * math.Abs(math.Log(a.subRatio())))
		return dist.NormalLower(z + dist.NormalQuantile(a.tail()))
	},
	more: func(a *assumed, n1, n2 float64) []Quantity {
		h := []float64{a.causeHazard(First), a.causeHazard(Second)}
		return append([]Quantity{{"subdistribution-ratio", "ratio of the subdistribution hazards", Ratio, a.subRatio()}}, a.followed(h, []float64{n1, n2})...)
	},
	method: func(a *assumed) Method {
		return Method{"a " + a.sideWords() + " test of the ratio of subdistribution hazards (Gray's test) by the number of events, with constant hazards of event and death",
			"Latouche, Porcher and Chevret, Stat Med 2004;23:3263", false}
	},
}

// causeHazard is the hazard of the event that gives a cumulative incidence by the stated time beside the hazard of death.
func (a *assumed) causeHazard(name Name) float64 {
	died, at, want := hazardOf(a.x(Deaths), 1), a.x(At), a.x(name)
	short := func(h float64) float64 { return float64(h/(h+died)*-math.Expm1(-(h+died)*at)) - want }
	high := hazardOf(want, at)
	for short(high) < 0 {
		high *= 2
	}
	return crossing(short, want/at*1e-3, high*(1+1e-12))
}

// subRatio is the ratio of the subdistribution hazards, taken as constant over time.
func (a *assumed) subRatio() float64 { return math.Log1p(-a.x(Second)) / math.Log1p(-a.x(First)) }
