package power

import (
	"math"

	"deltoid/stats/dist"
)

// The assumptions about means.
const (
	Difference  Name = "difference"
	SD          Name = "sd"
	SDSecond    Name = "sd_second"
	Margin      Name = "margin"
	Correlation Name = "correlation"
)

var (
	takesDifference = anyNumber(Difference, Points, "difference between the means", "in points of the score, or in the unit of whatever is measured")
	takesSD         = above(SD, Points, "standard deviation", "between shoulders, in the unit of the difference; in the first group where the groups differ")
	takesSDSecond   = optional(above(SDSecond, Points, "standard deviation in the second group", "only when it differs from that of the first"), "the same as in the first group")
	takesPairR      = Assumption{Name: Correlation, Words: "correlation between the two values of a pair", Help: "of scores before and after, often about 0.5",
		Unit: Plain, From: -1, To: 1}
)

func noEffect(*assumed) float64 { return 0 }

func farAbove(_ *assumed, higher bool) float64 {
	if higher {
		return math.Inf(1)
	}
	return math.Inf(-1)
}

var oneMean = &Design{
	ID: "one mean", Question: "Does the mean, or the mean change, of one group differ from a fixed value?",
	Takes: takes([]Assumption{takesDifference, takesSD}, sized("shoulders"), tested(1, false), lost(), clustered()),
	Goal:  Power, Effect: Difference, Counted: "shoulders", Groups: 1, sizeUnit: Persons, least: 2, null: noEffect, far: farAbove,
	reach: func(a *assumed, n, _ float64) float64 {
		return a.studentPower(a.x(Difference)/a.x(SD)*math.Sqrt(n), n-1)
	},
	method: func(a *assumed) Method {
		return Method{"a " + a.sideWords() + " one-sample t test, with the exact power from Student's noncentral distribution", sourceT, true}
	},
}

const sourceT = "Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions 2 (1995), chapter 31"

var pairedMeans = &Design{
	ID: "paired means", Question: "Do two values of the same shoulders, or of the two shoulders of the same patients, differ on average?",
	Takes: takes([]Assumption{takesDifference, takesSD, takesPairR}, sized("pairs"), tested(1, false), lost(), clustered()),
	Goal:  Power, Effect: Difference, Counted: "pairs", Groups: 1, sizeUnit: Persons, least: 2, null: noEffect, far: farAbove,
	reach: func(a *assumed, n, _ float64) float64 {
		return a.studentPower(a.x(Difference)/a.spreadOfPairs()*math.Sqrt(n), n-1)
	},
	more: func(a *assumed, _, _ float64) []Quantity {
		return []Quantity{{"sd-of-differences", "standard deviation of the differences", Points, a.spreadOfPairs()}}
	},
	method: func(a *assumed) Method {
		return Method{"a " + a.sideWords() + " paired t test, with the exact power from Student's noncentral distribution", sourceT, true}
	},
}

func (a *assumed) spreadOfPairs() float64 { return a.x(SD) * math.Sqrt(2*(1-a.x(Correlation))) }

var twoMeans = &Design{
	ID: "two means", Question: "Do the means of two groups differ?",
	Takes: takes([]Assumption{takesDifference, takesSD, takesSDSecond}, sized("shoulders"), tested(2, false), lost(), clustered()),
	Goal:  Power, Effect: Difference, Counted: "shoulders", Groups: 2, sizeUnit: Persons, least: 2, null: noEffect, far: farAbove,
	reach: func(a *assumed, n1, n2 float64) float64 {
		se, df := a.meanSpread(n1, n2)
		return a.studentPower(a.x(Difference)/se, df)
	},
	method: func(a *assumed) Method { return a.meansMethod("two-sample t test") },
}

// meanSpread returns the standard error of a difference of means and its degrees of freedom: pooled where the groups have one
// standard deviation, else by Satterthwaite's approximation.
func (a *assumed) meanSpread(n1, n2 float64) (se, df float64) {
	s := a.x(SD)
	if !a.has(SDSecond) {
		return s * math.Sqrt(1/n1+1/n2), n1 + n2 - 2
	}
	v1, v2 := float64(s*s)/n1, float64(a.x(SDSecond)*a.x(SDSecond))/n2
	return math.Sqrt(v1 + v2), float64((v1+v2)*(v1+v2)) / (float64(v1*v1)/(n1-1) + float64(v2*v2)/(n2-1))
}

func (a *assumed) meansMethod(test string) Method {
	if a.has(SDSecond) {
		return Method{"a " + a.sideWords() + " " + test + " for unequal variances, with the power from Student's noncentral distribution and Satterthwaite's degrees of freedom",
			"Moser, Stevens and Watts, Commun Stat Theory 1989;18:3963", false}
	}
	return Method{"a " + a.sideWords() + " " + test + ", with the exact power from Student's noncentral distribution", sourceT, true}
}

var takesMargin = above(Margin, Points, "margin", "the largest difference to the worse that would still be accepted, as a number above 0")

var nonInferiorMean = &Design{
	ID: "non-inferior mean", Question: "Is the mean of the second group at most a margin worse than that of the first?",
	Takes: takes([]Assumption{anyNumber(Difference, Points, "true difference to the better of the second group from the first", "0 if they are thought equal, below 0 if the second is thought worse"),
		takesMargin, takesSD, takesSDSecond}, sized("shoulders"), tested(2, true), lost(), clustered()),
	Goal: Power, Effect: Difference, Counted: "shoulders", Groups: 2, sizeUnit: Persons, least: 2,
	null: func(a *assumed) float64 { return -a.x(Margin) },
	far:  func(a *assumed, _ bool) float64 { return math.Inf(1) },
	check: func(a *assumed) {
		if a.has(Difference) && a.x(Difference) < -a.x(Margin) {
			a.refuse(Difference, "above "+brief(-a.x(Margin)), "the true difference %s lies beyond the margin, so that the second group is inferior", brief(a.x(Difference)))
		}
	},
	reach: func(a *assumed, n1, n2 float64) float64 {
		se, df := a.meanSpread(n1, n2)
		return beyond(critical(a.tail(), df), df, (a.x(Difference)+a.x(Margin))/se)
	},
	method: func(a *assumed) Method { return a.meansMethod("t test against the margin") },
}

var equivalentMeans = &Design{
	ID: "equivalent means", Question: "Do the means of two groups differ by less than a margin in either direction?",
	Takes: takes([]Assumption{anyNumber(Difference, Points, "true difference between the means", "0 if they are thought equal"), takesMargin, takesSD, takesSDSecond},
		sized("shoulders"), tested(2, true), lost(), clustered()),
	Goal: Power, Counted: "shoulders", Groups: 2, sizeUnit: Persons, least: 2,
	check: func(a *assumed) {
		if math.Abs(a.x(Difference)) >= a.x(Margin) {
			a.refuse(Difference, "between "+brief(-a.x(Margin))+" and "+brief(a.x(Margin)), "the true difference %s does not lie within the margin, so that the groups are not equivalent", brief(a.x(Difference)))
		}
	},
	reach: func(a *assumed, n1, n2 float64) float64 {
		se, df := a.meanSpread(n1, n2)
		return insideMargins(a.x(Difference)/se, a.x(Margin)/se, critical(a.tail(), df), df)
	},
	method: func(a *assumed) Method {
		m := a.meansMethod("pair of t tests against the two margins")
		m.Words = "two one-sided t tests, one against each margin, with the " + cut(m.Exact, "exact ", "") + "joint power of both"
		if m.Exact {
			m.Source = "Owen, Biometrika 1965;52:437; Schuirmann, J Pharmacokinet Biopharm 1987;15:657"
		}
		return m
	},
}

func cut(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}

// insideMargins is the probability that both one-sided tests reject: given the spread S, the difference has to lie within
// margin − c S of 0.
func insideMargins(shift, margin, c, df float64) float64 {
	return spreadOf(df, 0, margin/c, func(s float64) float64 {
		room := margin - float64(c*s)
		return float64(dist.NormalLower(room-shift)) - float64(dist.NormalLower(-room-shift))
	})
}
