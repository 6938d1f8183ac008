package power

import (
	"math"
	"slices"
)

var (
	fivePercent = Is(0.05)
	twoSided    = Is(2)
	equal       = Is(1)
)

// above, between and share make assumptions that are numbers.
func above(name Name, unit Unit, words, help string) Assumption {
	return Assumption{Name: name, Words: words, Help: help, Unit: unit, From: 0, To: math.Inf(1)}
}

func anyNumber(name Name, unit Unit, words, help string) Assumption {
	return Assumption{Name: name, Words: words, Help: help, Unit: unit, From: math.Inf(-1), To: math.Inf(1)}
}

func share(name Name, words, help string) Assumption {
	return Assumption{Name: name, Words: words, Help: help, Unit: Share, From: 0, To: 1}
}

func choice(name Name, words, help string, usual string, choices ...string) Assumption {
	t := Assumption{Name: name, Words: words, Help: help, Unit: Choice, Choices: choices}
	if usual != "" {
		s := Says(usual)
		t.Usual = &s
	}
	return t
}

// zeroIn lets an assumption be 0.
func zeroIn(t Assumption) Assumption { t.FromIn = true; return t }

func optional(t Assumption, absent string) Assumption { t.Optional, t.Absent = true, absent; return t }

// tested is what every design that ends in a test takes: the choices of its planner.
func tested(groups int, sidesFixed bool) []Assumption {
	list := []Assumption{
		{Name: Power, Words: "power", Help: "chance that the study finds the effect if it is as assumed; 0.8 and 0.9 are usual", Unit: Share, From: 0, To: 1},
		{Name: Significance, Words: "significance level", Help: "chance to find an effect where there is none", Unit: Share, From: 0, To: 0.5, Usual: &fivePercent},
	}
	if !sidesFixed {
		list = append(list, Assumption{Name: Sides, Words: "sides of the test", Help: "2, or 1 when only one direction counts", Unit: Plain, From: 1, FromIn: true, To: 2, ToIn: true, Usual: &twoSided})
	}
	if groups == 2 {
		list = append(list, Assumption{Name: Allocation, Words: "shoulders in the second group for each one in the first", Help: "1 for equal groups", Unit: Ratio, From: 0, To: math.Inf(1), Usual: &equal})
	}
	return list
}

func sized(counted string) []Assumption {
	return []Assumption{{Name: Size, Words: counted + " recruited in all", Help: "all groups together, with those who will be lost", Unit: Persons, From: 1, FromIn: true, To: largest}}
}

func lost() []Assumption {
	return []Assumption{{Name: Loss, Words: "share of those recruited who will give no result", Help: "lost to follow-up, or score missing; 0 when nobody will be",
		Unit: Share, From: 0, FromIn: true, To: 1}}
}

func directed(words string) []Assumption {
	t := choice(Direction, "which way the "+words+" is looked for", "only when the smallest detectable one is looked for", "", "lower", "higher")
	return []Assumption{optional(t, "the effect is given")}
}

// takes joins the assumptions of a design.
func takes(own []Assumption, parts ...[]Assumption) []Assumption {
	return slices.Concat(append([][]Assumption{own}, parts...)...)
}

// tail returns the level of one side of the test.
func (a *assumed) tail() float64 {
	if _, ok := a.design.Taken(Sides); ok && a.twoSided() {
		return a.x(Significance) / 2
	}
	return a.x(Significance)
}

// testWords says which test with which level: "a two-sided log-rank test at the 5% level".
func (a *assumed) sideWords() string {
	if _, ok := a.design.Taken(Sides); ok && a.twoSided() {
		return "two-sided"
	}
	return "one-sided"
}
