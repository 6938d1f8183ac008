package power

import "math"

var nonInferiorProportion = &Design{
	ID: "non-inferior proportion", Question: "Is the share with an outcome in the second group at most a margin worse than in the first?",
	Takes: takes([]Assumption{share(First, "share with the outcome in the first group", "as a number between 0 and 1"), share(Second, "true share with the outcome in the second group", "the same as in the first if they are thought equal"),
		share(Margin, "margin", "the largest difference to the worse that would still be accepted, as a number above 0"),
		choice(Worse, "which way is worse", "higher for revisions, lower for survival or responders", "", "lower", "higher"),
		choice(Test, "the variance at the margin", "restricted holds its level where shares are near 0 or 1", "restricted", "restricted", "unrestricted")},
		sized("shoulders"), tested(2, true), lost(), clustered()),
	Goal: Power, Effect: Second, Counted: "shoulders", Groups: 2, sizeUnit: Persons, least: 1,
	null: func(a *assumed) float64 {
		if a.word(Worse) == "higher" {
			return a.x(First) + a.x(Margin)
		}
		return a.x(First) - a.x(Margin)
	},
	far: func(a *assumed, _ bool) float64 { return cond(a.word(Worse) == "higher", 0, 1) },
	check: func(a *assumed) {
		p1, m := a.successes(First), a.x(Margin)
		switch {
		case m >= p1:
			a.refuse(Margin, "below "+brief(p1), "the margin %s goes beyond the range of a share when the first group has %s", brief(m), brief(a.x(First)))
		case a.has(Second) && a.successes(Second) < p1-m:
			a.refuse(Second, "on the near side of "+brief(a.design.null(a)), "the true share %s lies beyond the margin, so that the second group is inferior", brief(a.x(Second)))
		}
	},
	reach: func(a *assumed, n1, n2 float64) float64 {
		p1, p2, m := a.successes(First), a.successes(Second), a.x(Margin)
		spread := math.Sqrt(float64(p1*(1-p1))/n1 + float64(p2*(1-p2))/n2)
		null := spread
		if a.word(Test) == "restricted" {
			q1, q2 := restricted(p1, p2, m, n2/n1)
			null = math.Sqrt(float64(q1*(1-q1))/n1 + float64(q2*(1-q2))/n2)
		}
		return a.zPower(p2-p1+m, null, spread)
	},
	method: func(a *assumed) Method {
		if a.word(Test) == "restricted" {
			return Method{"a one-sided score test of the difference of two proportions against the margin, the variance estimated under the margin", "Farrington and Manning, Stat Med 1990;9:1447", false}
		}
		return Method{"a one-sided normal test of the difference of two proportions against the margin", "Blackwelder, Control Clin Trials 1982;3:345", false}
	},
}

// successes turns a share so that higher is better.
func (a *assumed) successes(name Name) float64 {
	if a.word(Worse) == "higher" {
		return 1 - a.x(name)
	}
	return a.x(name)
}

// restricted returns the shares that are most likely given the observed p1 and p2 when the second group, ratio times as
// large as the first, lies exactly a margin below the first: the root of a cubic.
//
// Source: Farrington & Manning, Stat. Med. 9 (1990) 1447–1454, appendix.
func restricted(p1, p2, margin, ratio float64) (q1, q2 float64) {
	a := 1 + ratio
	b := -(1 + ratio + p1 + float64(ratio*p2) + float64(margin*(ratio+2)))
	c := float64(margin*margin) + float64(margin*(float64(2*p1)+ratio+1)) + p1 + float64(ratio*p2)
	d := -p1 * margin * (1 + margin)
	v := b*b*b/(27*a*a*a) - b*c/(6*a*a) + d/(2*a)
	u := math.Copysign(math.Sqrt(math.Max(0, b*b/(9*a*a)-c/(3*a))), v)
	w := math.Pi / 3
	if u != 0 {
		w = (math.Pi + math.Acos(math.Max(-1, math.Min(1, v/(u*u*u))))) / 3
	}
	q1 = float64(2*u*math.Cos(w)) - b/(3*a)
	q1 = math.Min(1, math.Max(margin, q1))
	return q1, q1 - margin
}
