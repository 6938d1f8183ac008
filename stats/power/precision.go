package power

import (
	"math"

	"deltoid/stats/dist"
)

// The assumptions about intervals.
const (
	HalfWidth Name = "half_width"
	Level     Name = "level"
	Interval  Name = "interval"
	Category  Name = "category_share"
)

var ninetyFive = Is(0.95)

func wide(unit Unit, words string) []Assumption {
	return []Assumption{
		above(HalfWidth, unit, "half the width of the interval", words),
		{Name: Level, Words: "level of the interval", Help: "0.95 is usual", Unit: Share, From: 0.5, To: 1, Usual: &ninetyFive},
	}
}

const inPoints = "how far the limits may lie from the estimate, in the unit of what is measured"
const inShares = "how far the limits may lie from the estimate, as a share: 0.02 for 2 percentage points"

var widthOfMean = &Design{
	ID: "width of a mean", Question: "How precisely is a mean, or a mean change, estimated?",
	Takes: takes([]Assumption{takesSD}, sized("shoulders"), wide(Points, inPoints), lost(), clustered()),
	Goal:  HalfWidth, Counted: "shoulders", Groups: 1, sizeUnit: Persons, least: 2,
	reach: func(a *assumed, n, _ float64) float64 { return -a.meanWidth(n) },
	method: func(*assumed) Method {
		return Method{"the interval of a mean by Student's distribution", sourceT, true}
	},
}

func (a *assumed) meanWidth(n float64) float64 {
	return critical((1-a.x(Level))/2, n-1) * a.x(SD) / math.Sqrt(n)
}

var widthOfMCID = &Design{
	ID: "width of an MCID", Question: "How precisely is a minimal clinically important difference estimated, as the mean change of those a little better?",
	Takes: takes([]Assumption{above(SD, Points, "standard deviation of the change among those a little better", "in points of the score"),
		{Name: Category, Words: "share of the shoulders whose patients say a little better", Help: "the answer to the anchor question that the difference rests on", Unit: Share, From: 0, To: 1, ToIn: true}},
		sized("shoulders"), wide(Points, inPoints), lost(), clustered()),
	Goal: HalfWidth, Counted: "shoulders", Groups: 1, sizeUnit: Persons, least: 2,
	reach: func(a *assumed, n, _ float64) float64 { return -a.meanWidth(math.Max(2, n*a.x(Category))) },
	more: func(a *assumed, n, _ float64) []Quantity {
		return []Quantity{{"category", "shoulders expected in the category", Persons, n * a.x(Category)}}
	},
	method: func(*assumed) Method {
		return Method{"the interval of a mean by Student's distribution, among the share expected in the category", "Revicki and others, J Clin Epidemiol 2008;61:102", false}
	},
}

var widthOfProportion = &Design{
	ID: "width of a proportion", Question: "How precisely is a share estimated?",
	Takes: takes([]Assumption{share(Proportion, "share with the outcome", "as a number between 0 and 1; 0.5 asks for the most"),
		choice(Interval, "the interval", "Wilson's keeps its level where shares are near 0 or 1", "Wilson", "Wilson", "plain")},
		sized("shoulders"), wide(Share, inShares), lost(), clustered()),
	Goal: HalfWidth, Counted: "shoulders", Groups: 1, sizeUnit: Persons, least: 1,
	reach: func(a *assumed, n, _ float64) float64 {
		p, z := a.x(Proportion), dist.NormalSpread(a.x(Level))
		if a.word(Interval) == "plain" {
			return -z * math.Sqrt(p*(1-p)/n)
		}
		square := float64(z * z)
		return -z * math.Sqrt(p*(1-p)/n+square/(4*n*n)) / (1 + square/n)
	},
	method: func(a *assumed) Method {
		if a.word(Interval) == "plain" {
			return Method{"the plain normal interval of a share", sourceFleiss, false}
		}
		return Method{"Wilson's interval of a share", "Wilson, J Am Stat Assoc 1927;22:209", false}
	},
}

var widthOfSurvival = &Design{
	ID: "width of a survival", Question: "How precisely is survival free of the event estimated at a time?",
	Takes: takes([]Assumption{share(First, "share with the event by the time of interest, if nobody dies or leaves before", "1 − survival, as a number between 0 and 1"),
		above(At, Years, "years after the operation at which survival is estimated", "the time of interest"),
		choice(Interval, "the scale of the interval", "the complementary log-log scale keeps limits between 0 and 1", "complementary log-log", "complementary log-log", "plain")},
		overTime(), sized("shoulders"), wide(Share, inShares), clustered()),
	Goal: HalfWidth, Counted: "shoulders", Groups: 1, sizeUnit: Persons, least: 1,
	check: func(a *assumed) {
		a.timeAgrees()
		w := a.watch()
		if w.watched(a.x(At)) == 0 {
			a.refuse(At, "below "+brief(math.Min(w.longest, w.limit)), "nobody can be under observation %s years after the operation", brief(a.x(At)))
		}
	},
	reach: func(a *assumed, n, _ float64) float64 {
		s := 1 - a.x(First)
		z := dist.NormalSpread(a.x(Level)) * math.Sqrt(a.hazardVariance()/n) // of −log S
		if a.word(Interval) == "plain" {
			return -z * s
		}
		z /= -math.Log(s)
		return -(math.Pow(s, math.Exp(-z)) - math.Pow(s, math.Exp(z))) / 2
	},
	more: func(a *assumed, n, _ float64) []Quantity {
		w := a.watch()
		left := n * w.watched(a.x(At)) * math.Exp(-(a.firstHazard()+w.ended)*a.x(At))
		return []Quantity{{"at-risk", "shoulders expected at risk at that time", Persons, left}}
	},
	method: func(a *assumed) Method {
		return Method{"the interval of the product-limit estimate with Greenwood's variance on the " + a.word(Interval) + " scale, under a constant hazard with " + a.word(Pattern) + " recruitment",
			"Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data (2002), section 1.4", false}
	},
}

// hazardVariance is the variance of the cumulative hazard at the time of interest, for one shoulder: Greenwood's sum as an
// integral of the hazard over the share at risk.
func (a *assumed) hazardVariance() float64 {
	w, h, at := a.watch(), a.firstHazard(), a.x(At)
	f := func(t float64) float64 { return h * math.Exp((h+w.ended)*t) / w.watched(t) }
	kink := math.Min(at, w.longest-w.recruitment)
	return integral(f, 0, kink, 2) + integral(f, kink, at, 8)
}
