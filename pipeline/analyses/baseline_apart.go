package analyses

import (
	"math"

	"deltoid/cohorts"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/describe"
)

// compared returns the groups that are compared: all but the one of shoulders whose group is not recorded.
func (s *baseline) compared() []int {
	var groups []int
	for i := range s.groups {
		if s.labels[i] != cohorts.NotRecorded {
			groups = append(groups, i)
		}
	}
	return groups
}

// restsOn is the counts behind a difference or a p-value. Disclosure hides it with any of them; one that is small is known
// beforehand to go, so that no sentence leads with it.
type restsOn struct {
	ids   []string
	small bool
}

// difference records how far the groups are apart in one characteristic and returns its cell; nil where there is one group.
// Two groups have the difference of the first and the second, more the largest between any two.
func (s *baseline) difference(f *schemas.Field, rests restsOn, pair func(i, j int) describe.Standardised) report.Cell {
	groups := s.compared()
	if len(groups) < 2 {
		return nil
	}
	e := report.Estimate{ID: s.id(f.Name, "difference"), Analysis: s.asked.ID, Cohort: s.cohort.Name, Unit: report.UnitSpread,
		Measure: lowerTitle(f) + ": standardised difference", Method: "standardised difference", Status: report.Estimated}
	var status describe.Status
	var x float64
	if len(groups) == 2 {
		d := pair(groups[0], groups[1])
		x, status = d.Value, d.Status
		e.Note = s.labels[groups[0]] + " against " + s.labels[groups[1]]
	} else {
		d := describe.LargestBetween(len(groups), func(i, j int) describe.Standardised { return pair(groups[i], groups[j]) })
		x, status = d.Value, d.Status
		e.Note = "largest: " + s.labels[groups[d.I]] + " against " + s.labels[groups[d.J]]
	}
	switch {
	case status != describe.Estimated:
		e.Status, e.Note = report.NotIdentifiable, e.Note+": "+status.String()
	default:
		e.Value = report.Some(x)
	}
	s.add(e)
	s.derived(e.ID, rests.ids...)
	if math.Abs(x) > notable || status == describe.NoOverlap {
		s.unlike = append(s.unlike, f.Title)
	}
	if e.Value.Known && !rests.small && (s.largest == "" || math.Abs(x) > math.Abs(s.get(s.largest).Value.X)) {
		s.largest, s.largestOf = e.ID, f.Title
	}
	return report.Cell(say(inTable(e.ID)))
}

// categoriesApart is the standardised difference of two groups in the counts of their categories: with a sign for two
// categories, without one for more.
func categoriesApart(counts [][]int, i, j int) describe.Standardised {
	a, b := make([]int64, len(counts)), make([]int64, len(counts))
	var m, n int64
	for k, c := range counts {
		a[k], b[k] = int64(c[i]), int64(c[j])
		m, n = m+a[k], n+b[k]
	}
	if len(counts) == 2 {
		return describe.StandardisedShares(a[0], m, b[0], n)
	}
	return describe.StandardisedCategories(a, b)
}

// pValue records a p-value when the plan asks for it, and returns its cell; nil otherwise.
func (s *baseline) pValue(f *schemas.Field, rests restsOn, test func(groups []int) (describe.Test, string)) report.Cell {
	groups := s.compared()
	if !s.asked.PValues || len(groups) < 2 {
		return nil
	}
	t, method := test(groups)
	e := report.Estimate{ID: s.id(f.Name, "p"), Analysis: s.asked.ID, Cohort: s.cohort.Name, Unit: report.UnitPValue,
		Measure: lowerTitle(f) + ": p-value of any difference between the groups", Method: method, Status: report.Estimated}
	switch {
	case t.Status != describe.Estimated:
		e.Status, e.Note = report.NotIdentifiable, t.Status.String()
	default:
		e.Value = report.Some(t.P)
	}
	s.derived(e.ID, rests.ids...)
	return report.Cell(say(inTable(s.add(e))))
}

// testSamples tests the means of groups, or their ranks where medians are shown.
func testSamples(groups []int, samples [][]float64, moments []describe.Moments, median bool) (describe.Test, string) {
	var x [][]float64
	var m []describe.Moments
	for _, g := range groups {
		x, m = append(x, samples[g]), append(m, moments[g])
	}
	switch {
	case median && len(groups) == 2:
		return describe.RankSum(x[0], x[1]), "Wilcoxon's rank-sum test"
	case median:
		return describe.RankGroups(x...), "Kruskal and Wallis's rank test"
	case len(groups) == 2:
		return describe.Welch(m[0], m[1], 0.95).Test, "Welch's t-test"
	}
	return describe.WelchOneWay(m), "Welch's analysis of variance"
}

// testCategories tests a table of counts: exactly where a cell would be expected to hold fewer than 5 and the table is not
// too large for it.
func testCategories(groups []int, counts [][]int) (describe.Test, string) {
	table := make([][]int64, len(counts))
	for k, c := range counts {
		for _, g := range groups {
			table[k] = append(table[k], int64(c[g]))
		}
	}
	if least, status := describe.SmallestExpected(table); status == describe.Estimated && least < 5 {
		if t := describe.FisherExact(table); t.Status != describe.TooLarge {
			return t, "Fisher's exact test"
		}
	}
	return describe.ChiSquare(table), "chi-square test"
}
