package power

import (
	"math"

	"deltoid/stats/dist"
)

// The assumptions about repeated scores, correlations and areas.
const (
	Analysis       Name = "analysis"
	MeasuresBefore Name = "measures_before"
	MeasuresAfter  Name = "measures_after"
	Reference      Name = "reference"
	Area           Name = "area"
)

// The ways to analyse scores before and after.
const (
	byAdjustment = "adjusted for the score before"
	byChange     = "change"
	byAfter      = "score after alone"
)

var repeatedScores = &Design{
	ID: "repeated scores", Question: "Do the scores of two groups differ after the operation, given scores before it?",
	Takes: takes([]Assumption{takesDifference, takesSD,
		{Name: Correlation, Words: "correlation between any two scores of a shoulder", Help: "of scores before and after, often about 0.5", Unit: Plain, From: 0, FromIn: true, To: 1},
		{Name: MeasuresBefore, Words: "scores before the operation", Help: "how many; their mean is used", Unit: Plain, From: 1, FromIn: true, To: 100, ToIn: true, Usual: &one},
		{Name: MeasuresAfter, Words: "scores after the operation", Help: "how many; their mean is used", Unit: Plain, From: 1, FromIn: true, To: 100, ToIn: true, Usual: &one},
		choice(Analysis, "how the scores are compared", "the analysis adjusted for the score before needs the fewest", byAdjustment, byAdjustment, byChange, byAfter)},
		sized("shoulders"), tested(2, false), lost(), clustered()),
	Goal: Power, Effect: Difference, Counted: "shoulders", Groups: 2, sizeUnit: Persons, least: 3, null: noEffect, far: farAbove,
	reach: func(a *assumed, n1, n2 float64) float64 {
		df, factor := n1+n2-2, a.scoreFactor()
		if a.word(Analysis) == byAdjustment {
			// By chance the groups differ before the operation too. Adjusting for that costs d²/S of the variance, d being their difference
			// and S the sum of squares within them: on average 1/(N − 4).
			df--
			factor *= 1 + 1/(n1+n2-4)
		}
		return a.studentPower(a.x(Difference)/(a.x(SD)*math.Sqrt(factor*(1/n1+1/n2))), df)
	},
	more: func(a *assumed, _, _ float64) []Quantity {
		return []Quantity{{"variance-factor", "variance of what is compared, as a share of that of one score", Ratio, a.scoreFactor()}}
	},
	method: func(a *assumed) Method {
		return Method{"a " + a.sideWords() + " t test of " + map[string]string{byAdjustment: "scores after the operation, adjusted for those before it (analysis of covariance)",
			byChange: "changes of the score", byAfter: "scores after the operation"}[a.word(Analysis)] + ", all scores of a shoulder being equally correlated",
			"Frison and Pocock, Stat Med 1992;11:1685", false}
	},
}

// scoreFactor is the variance of what is compared, as a share of that of one score, when any two scores of a shoulder have the
// same correlation.
func (a *assumed) scoreFactor() float64 {
	r, before, after := a.x(Correlation), a.x(MeasuresBefore), a.x(MeasuresAfter)
	mean := func(k float64) float64 { return (1 + float64((k-1)*r)) / k }
	switch a.word(Analysis) {
	case byChange:
		return mean(after) + mean(before) - float64(2*r)
	case byAfter:
		return mean(after)
	}
	return mean(after) - float64(r*r)/mean(before)
}

var correlation = &Design{
	ID: "correlation", Question: "Are two measures of a shoulder correlated?",
	Takes: takes([]Assumption{{Name: Correlation, Words: "true correlation", Help: "of two measures of the same shoulder", Unit: Plain, From: -1, To: 1}},
		sized("shoulders"), tested(1, false), lost(), clustered()),
	Goal: Power, Effect: Correlation, Counted: "shoulders", Groups: 1, sizeUnit: Persons, least: 4, null: noEffect,
	far: func(_ *assumed, higher bool) float64 { return cond(higher, 1, -1) },
	reach: func(a *assumed, n, _ float64) float64 {
		t := critical(a.tail(), n-2)
		r, limit := math.Abs(a.x(Correlation)), math.Sqrt(float64(t*t)/(float64(t*t)+n-2))
		at := math.Atanh(r) + r/(2*(n-1))
		root := math.Sqrt(n - 3)
		p := float64(dist.NormalUpper((math.Atanh(limit) - at) * root))
		if a.twoSided() {
			p += float64(dist.NormalUpper((math.Atanh(limit) + at) * root))
		}
		return p
	},
	method: func(a *assumed) Method {
		return Method{"a " + a.sideWords() + " t test of Pearson's correlation, with Fisher's transformation and its correction for bias",
			"Cohen, Statistical Power Analysis for the Behavioral Sciences (1988), p. 546", false}
	},
}

var half = Is(0.5)

var rocArea = &Design{
	ID: "ROC area", Question: "Does a score tell those with from those without an outcome better than a reference area says?",
	Takes: takes([]Assumption{
		{Name: Area, Words: "true area under the ROC curve", Help: "0.5 tells nothing, 1 tells all", Unit: Plain, From: 0.5, To: 1},
		{Name: Reference, Words: "area to be exceeded", Help: "0.5 when the question is whether it tells anything", Unit: Plain, From: 0.5, FromIn: true, To: 1, Usual: &half}},
		sized("shoulders"), tested(2, false), lost(), clustered()),
	Goal: Power, Effect: Area, Counted: "shoulders", Groups: 2, sizeUnit: Persons, least: 2,
	null: func(a *assumed) float64 { return a.x(Reference) },
	far:  func(*assumed, bool) float64 { return 1 },
	check: func(a *assumed) {
		if a.has(Area) && a.x(Area) < a.x(Reference) {
			a.refuse(Area, "above "+brief(a.x(Reference)), "the true area %s is below the reference %s", brief(a.x(Area)), brief(a.x(Reference)))
		}
	},
	reach: func(a *assumed, n1, n2 float64) float64 {
		return a.zPower(a.x(Area)-a.x(Reference), areaSpread(a.x(Reference), n1, n2), areaSpread(a.x(Area), n1, n2))
	},
	method: func(a *assumed) Method {
		return Method{"a " + a.sideWords() + " normal test of the area under the ROC curve of shoulders with the outcome (first group) and without it (second group)",
			"Hanley and McNeil, Radiology 1982;143:29", false}
	},
}

// areaSpread is the standard error of an area when the scores are about exponential in both groups.
func areaSpread(area, n1, n2 float64) float64 {
	square := float64(area * area)
	q1, q2 := area/(2-area)-square, 2*square/(1+area)-square
	return math.Sqrt((float64(area*(1-area)) + float64((n1-1)*q1) + float64((n2-1)*q2)) / float64(n1*n2))
}
