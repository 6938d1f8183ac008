package power

import (
	"math"

	"deltoid/stats/dist"
)

// The assumptions about proportions.
const (
	Proportion Name = "proportion"
	First      Name = "first"
	Second     Name = "second"
	OnlyFirst  Name = "only_first"
	OnlySecond Name = "only_second"
	Worse      Name = "worse"
)

// The tests of proportions.
const (
	testNormal    = "normal"
	testUnpooled  = "unpooled"
	testCorrected = "continuity-corrected"
	testFisher    = "Fisher"
	testExact     = "exact"
)

func shareFar(_ *assumed, higher bool) float64 { return cond(higher, 1, 0) }

func tables(_ *assumed, n1, n2 float64) float64 { return n1 * n2 }

func exactTest(a *assumed) bool { return a.word(Test) == testExact || a.word(Test) == testFisher }

var oneProportion = &Design{
	ID: "one proportion", Question: "Does the share with an outcome in one group differ from a fixed value?",
	Takes: takes([]Assumption{share(Proportion, "true share with the outcome", "as a number between 0 and 1"), share(Reference, "share to be compared with", "from a registry or a publication"),
		choice(Test, "the test", "exact counts every outcome that is possible", testExact, testExact, testNormal)},
		sized("shoulders"), tested(1, false), lost(), directed("share"), clustered()),
	Goal: Power, Effect: Proportion, Counted: "shoulders", Groups: 1, sizeUnit: Persons, least: 1, whole: exactTest, outcomes: func(_ *assumed, n, _ float64) float64 { return n },
	null: func(a *assumed) float64 { return a.x(Reference) }, far: shareFar,
	reach: func(a *assumed, n, _ float64) float64 {
		p, p0 := a.x(Proportion), a.x(Reference)
		if a.word(Test) == testNormal {
			root := math.Sqrt(n)
			return a.zPower(p-p0, math.Sqrt(p0*(1-p0))/root, math.Sqrt(p*(1-p))/root)
		}
		logs := logFactorials(int(n))
		low, high := tails(binomial(int(n), p0, logs), a.tail())
		low, high = a.sided(low, high, int(n)+1, p > p0)
		return outside(binomial(int(n), p, logs), low, high)
	},
	method: func(a *assumed) Method {
		if a.word(Test) == testNormal {
			return Method{"a " + a.sideWords() + " normal test of one proportion", sourceFleiss, false}
		}
		return Method{"a " + a.sideWords() + " exact binomial test, every possible number of outcomes being counted", sourceFleiss, true}
	},
}

const sourceFleiss = "Fleiss, Levin and Paik, Statistical Methods for Rates and Proportions (2003), chapters 2 to 4"

func twoTests(usual string) Assumption {
	return choice(Test, "the test", "Fisher's exact test is worked out by counting every table that is possible", usual,
		testNormal, testUnpooled, testCorrected, testFisher)
}

var twoProportions = &Design{
	ID: "two proportions", Question: "Does the share with an outcome differ between two groups?",
	Takes: takes([]Assumption{share(First, "share with the outcome in the first group", "as a number between 0 and 1"), share(Second, "share with the outcome in the second group", "as a number between 0 and 1"),
		twoTests(testNormal)}, sized("shoulders"), tested(2, false), lost(), directed("share in the second group"), clustered()),
	Goal: Power, Effect: Second, Counted: "shoulders", Groups: 2, sizeUnit: Persons, least: 1, whole: exactTest, outcomes: tables,
	null: func(a *assumed) float64 { return a.x(First) }, far: shareFar,
	reach:  func(a *assumed, n1, n2 float64) float64 { return a.proportionsPower(a.x(First), a.x(Second), n1, n2) },
	method: (*assumed).proportionsMethod,
}

func (a *assumed) proportionsPower(p1, p2, n1, n2 float64) float64 {
	switch a.word(Test) {
	case testFisher:
		return a.fisherPower(p1, p2, int(n1), int(n2))
	case testCorrected:
		// The corrected size is n/4 (1 + √(1 + 4c/n))²; solved for n it is (√n' − c/√n')².
		k := n2 / n1
		c := (k + 1) / (2 * k * math.Abs(p1-p2))
		root := math.Sqrt(n1) - c/math.Sqrt(n1)
		if !(root > 0) {
			return 0
		}
		n1 = float64(root * root)
		n2 = float64(n1 * k)
	}
	v1, v2 := float64(p1*(1-p1)), float64(p2*(1-p2))
	spread := math.Sqrt(v1/n1 + v2/n2)
	pooled := spread
	if a.word(Test) != testUnpooled {
		p := (float64(n1*p1) + float64(n2*p2)) / (n1 + n2)
		pooled = math.Sqrt(p * (1 - p) * (1/n1 + 1/n2))
	}
	return a.zPower(p1-p2, pooled, spread)
}

func (a *assumed) proportionsMethod() Method {
	switch a.word(Test) {
	case testFisher:
		return Method{"a " + a.sideWords() + " Fisher's exact test, every table that is possible being counted", "Fisher, Statistical Methods for Research Workers (1935); power by enumeration", true}
	case testCorrected:
		return Method{"a " + a.sideWords() + " test of two proportions with continuity correction", "Fleiss, Tytun and Ury, Biometrics 1980;36:343", false}
	case testUnpooled:
		return Method{"a " + a.sideWords() + " normal test of two proportions with separate variances", sourceFleiss, false}
	}
	return Method{"a " + a.sideWords() + " normal test of two proportions with pooled variance", sourceFleiss, false}
}

// The assumptions about responders.
const (
	MeanFirst  Name = "mean_first"
	MeanSecond Name = "mean_second"
	Threshold  Name = "threshold"
)

var responders = &Design{
	ID: "responders", Question: "Does the share of those who improve by a threshold differ between two groups, given means and spread of the change?",
	Takes: takes([]Assumption{anyNumber(MeanFirst, Points, "mean change in the first group", "in points of the score, better upwards"), anyNumber(MeanSecond, Points, "mean change in the second group", "in points of the score, better upwards"),
		above(SD, Points, "standard deviation of the change", "within a group, in points of the score"),
		anyNumber(Threshold, Points, "threshold for a responder", "the minimal clinically important difference, say"), twoTests(testNormal)},
		sized("shoulders"), tested(2, false), lost(), directed("mean change in the second group"), clustered()),
	Goal: Power, Effect: MeanSecond, Counted: "shoulders", Groups: 2, sizeUnit: Persons, least: 1, whole: exactTest, outcomes: tables,
	null: func(a *assumed) float64 { return a.x(MeanFirst) }, far: farAbove,
	reach: func(a *assumed, n1, n2 float64) float64 {
		return a.proportionsPower(a.respond(MeanFirst), a.respond(MeanSecond), n1, n2)
	},
	more: func(a *assumed, _, _ float64) []Quantity {
		return []Quantity{{"responders-first", "responders in the first group", Share, a.respond(MeanFirst)},
			{"responders-second", "responders in the second group", Share, a.respond(MeanSecond)}}
	},
	method: func(a *assumed) Method {
		m := a.proportionsMethod()
		m.Words += ", of responders whose shares follow from normally distributed changes"
		return m
	},
}

// respond is the share whose change reaches the threshold.
func (a *assumed) respond(mean Name) float64 {
	return dist.NormalUpper((a.x(Threshold) - a.x(mean)) / a.x(SD))
}

var pairedProportions = &Design{
	ID: "paired proportions", Question: "Does an outcome differ between two values of the same shoulders, or the two shoulders of the same patients?",
	Takes: takes([]Assumption{share(OnlyFirst, "share of the pairs in which only the first has the outcome", "as a number between 0 and 1"),
		share(OnlySecond, "share of the pairs in which only the second has the outcome", "as a number between 0 and 1"),
		choice(Test, "the test", "exact counts every outcome that is possible", testNormal, testNormal, testExact)},
		sized("pairs"), tested(1, false), lost(), directed("share of the pairs with only the second"), clustered()),
	Goal: Power, Effect: OnlySecond, Counted: "pairs", Groups: 1, sizeUnit: Persons, least: 1, whole: exactTest, outcomes: func(_ *assumed, n, _ float64) float64 { return n * n },
	null: func(a *assumed) float64 { return a.x(OnlyFirst) },
	far:  func(a *assumed, higher bool) float64 { return cond(higher, 1-a.x(OnlyFirst), 0) },
	check: func(a *assumed) {
		if a.x(OnlyFirst)+a.x(OnlySecond) > 1 {
			a.refuse(OnlySecond, "at most "+brief(1-a.x(OnlyFirst)), "the two shares of pairs that differ add up to %s", brief(a.x(OnlyFirst)+a.x(OnlySecond)))
		}
	},
	reach: (*assumed).pairsPower,
	method: func(a *assumed) Method {
		if a.word(Test) == testExact {
			return Method{"a " + a.sideWords() + " exact McNemar test, every possible number of pairs that differ being counted", "McNemar, Psychometrika 1947;12:153; power by enumeration", true}
		}
		return Method{"a " + a.sideWords() + " McNemar test", "Connor, Biometrics 1987;43:207", false}
	},
}

// pairsPower is the power of McNemar's test. The exact one has, given how many pairs differ, a binomial test of one half.
func (a *assumed) pairsPower(n, _ float64) float64 {
	p1, p2 := a.x(OnlyFirst), a.x(OnlySecond)
	differ, d := p1+p2, p2-p1
	if a.word(Test) == testNormal {
		root := math.Sqrt(n)
		return a.zPower(d, math.Sqrt(differ)/root, math.Sqrt(math.Max(differ-float64(d*d), 1e-300))/root)
	}
	logs := logFactorials(int(n))
	total := 0.0
	for m, weight := range binomial(int(n), math.Min(differ, 1), logs) {
		if weight < 1e-16 {
			continue
		}
		low, high := tails(binomial(m, 0.5, logs), a.tail())
		low, high = a.sided(low, high, m+1, d > 0)
		total += float64(weight * outside(binomial(m, p2/differ, logs), low, high))
	}
	return total
}
