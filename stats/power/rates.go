package power

import "math"

// The assumptions about rates.
const (
	Rate       Name = "rate"
	RateFirst  Name = "rate_first"
	RateSecond Name = "rate_second"
)

// rate returns a rate for one prosthesis-year.
func (a *assumed) rate(name Name) float64 { return a.x(name) / 100 }

func years() []Assumption {
	return []Assumption{{Name: Size, Words: "prosthesis-years in all", Help: "shoulders times years under observation, all groups together", Unit: Time, From: 0, To: largest}}
}

func rateFar(_ *assumed, higher bool) float64 { return cond(higher, math.Inf(1), 0) }

var takesRateTest = choice(Test, "the test", "exact counts every outcome that is possible", testExact, testExact, testNormal)

var oneRate = &Design{
	ID: "one rate", Question: "Does the rate of events in one cohort differ from a fixed rate?",
	Takes: takes([]Assumption{above(Rate, Per100, "true rate", "events for 100 prosthesis-years"), above(Reference, Per100, "rate to be compared with", "events for 100 prosthesis-years"), takesRateTest},
		years(), tested(1, false), directed("rate")),
	Goal: Power, Effect: Rate, Counted: "prosthesis-years", Groups: 1, sizeUnit: Time, least: 1e-6, whole: exactTest,
	outcomes: func(a *assumed, t, _ float64) float64 { return t * math.Max(a.rate(Rate), a.rate(Reference)) },
	null:     func(a *assumed) float64 { return a.x(Reference) }, far: rateFar,
	reach: func(a *assumed, t, _ float64) float64 {
		r, r0 := a.rate(Rate), a.rate(Reference)
		if a.word(Test) == testNormal {
			return a.zPower(r-r0, math.Sqrt(r0/t), math.Sqrt(r/t))
		}
		null := poisson(r0 * t)
		low, high := tails(null, a.tail())
		low, high = a.sided(low, high, math.MaxInt32, r > r0)
		return outside(poisson(r*t), low, high)
	},
	more: func(a *assumed, t, _ float64) []Quantity {
		return []Quantity{{"events", "events expected to be observed", Events, t * a.rate(Rate)}, {"events-expected", "events expected by the rate compared with", Events, t * a.rate(Reference)}}
	},
	method: func(a *assumed) Method {
		if a.word(Test) == testNormal {
			return Method{"a " + a.sideWords() + " normal test of one Poisson rate", sourceFleiss, false}
		}
		return Method{"a " + a.sideWords() + " exact test of one Poisson rate, every possible number of events being counted", "Garwood, Biometrika 1936;28:437", true}
	},
}

var twoRates = &Design{
	ID: "two rates", Question: "Does the rate of events differ between two groups?",
	Takes: takes([]Assumption{above(RateFirst, Per100, "rate in the first group", "events for 100 prosthesis-years"), above(RateSecond, Per100, "rate in the second group", "events for 100 prosthesis-years"), takesRateTest},
		years(), tested(2, false), directed("rate in the second group")),
	Goal: Power, Effect: RateSecond, Counted: "prosthesis-years", Groups: 2, sizeUnit: Time, least: 1e-6, whole: exactTest,
	outcomes: func(a *assumed, t1, t2 float64) float64 {
		mean := float64(t1*a.rate(RateFirst)) + float64(t2*a.rate(RateSecond))
		return 16 * mean * math.Sqrt(mean)
	},
	null: func(a *assumed) float64 { return a.x(RateFirst) }, far: rateFar,
	reach: func(a *assumed, t1, t2 float64) float64 {
		r1, r2 := a.rate(RateFirst), a.rate(RateSecond)
		if a.word(Test) == testNormal {
			pooled := (float64(r1*t1) + float64(r2*t2)) / (t1 + t2)
			return a.zPower(r1-r2, math.Sqrt(pooled*(1/t1+1/t2)), math.Sqrt(r1/t1+r2/t2))
		}
		return a.twoRatesExact(float64(r1*t1), float64(r2*t2), t2/(t1+t2))
	},
	more: func(a *assumed, t1, t2 float64) []Quantity {
		return []Quantity{{"events-first", "events expected in the first group", Events, t1 * a.rate(RateFirst)}, {"events-second", "events expected in the second group", Events, t2 * a.rate(RateSecond)}}
	},
	method: func(a *assumed) Method {
		if a.word(Test) == testNormal {
			return Method{"a " + a.sideWords() + " normal test of two Poisson rates", sourceFleiss, false}
		}
		return Method{"a " + a.sideWords() + " exact test of two Poisson rates given their events together, every possible outcome being counted", "Przyborowski and Wilenski, Biometrika 1940;31:313", true}
	},
}

// twoRatesExact adds up, over the number of events in all, the power of the binomial test that it leaves: without a
// difference each event falls into the second group with the share that the group has of the time.
func (a *assumed) twoRatesExact(mean1, mean2, share float64) float64 {
	all := poisson(mean1 + mean2)
	logs := logFactorials(len(all))
	total := 0.0
	for m, weight := range all {
		if weight < 1e-14 {
			continue
		}
		low, high := tails(binomial(m, share, logs), a.tail())
		low, high = a.sided(low, high, m+1, mean2*(1-share) > mean1*share)
		total += float64(weight * outside(binomial(m, mean2/(mean1+mean2), logs), low, high))
	}
	return total
}
