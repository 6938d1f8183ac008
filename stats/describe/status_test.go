package describe_test

import (
	"math"
	"reflect"
	"testing"

	"deltoid/stats/describe"
)

// What cannot be worked out says so, and holds no number.
func TestStatuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	of := describe.MomentsOf
	same := of([]float64{3, 3, 3})
	for name, c := range map[string]struct{ got, want describe.Status }{
		"mean of none":                {of(nil).Status, describe.NoRows},
		"mean with NaN":               {of([]float64{1, nan}).Status, describe.NotFinite},
		"mean with infinity":          {of([]float64{1, inf}).Status, describe.NotFinite},
		"spread of one":               {of([]float64{1}).Spread, describe.OneRow},
		"mean of one":                 {of([]float64{1}).Status, describe.Estimated},
		"spread of equal numbers":     {same.Spread, describe.Estimated},
		"spread beyond float64":       {of([]float64{-math.MaxFloat64, math.MaxFloat64}).Spread, describe.NotFinite},
		"standardised, none varies":   {describe.StandardisedMeans(same, of([]float64{4, 4})).Status, describe.NoSpread},
		"standardised, one number":    {describe.StandardisedMeans(same, of([]float64{4})).Status, describe.OneRow},
		"standardised shares 0 and 1": {describe.StandardisedShares(0, 5, 5, 5).Status, describe.NoSpread},
		"standardised shares of none": {describe.StandardisedShares(0, 0, 5, 5).Status, describe.NoRows},
		"one category":                {describe.StandardisedCategories([]int64{3, 0}, []int64{5, 0}).Status, describe.NoSpread},
		"no common category":          {describe.StandardisedCategories([]int64{3, 0, 0}, []int64{0, 5, 1}).Status, describe.NoOverlap},
		"categories of unlike number": {describe.StandardisedCategories([]int64{3}, []int64{1, 5}).Status, describe.NotCounts},
		"categories, none":            {describe.StandardisedCategories([]int64{0, 0}, []int64{1, 5}).Status, describe.NoRows},
		"negative count":              {describe.StandardisedCategories([]int64{-1, 2}, []int64{1, 5}).Status, describe.NotCounts},
		"proportion of none":          {describe.Wilson(0, 0, 0.95).Status, describe.NoRows},
		"more than all":               {describe.ExactProportion(3, 2, 0.95).Status, describe.NotCounts},
		"level":                       {describe.Wilson(1, 2, 95).Status, describe.NotFinite},
		"difference, one empty":       {describe.Newcombe(1, 2, 0, 0, 0.95).Status, describe.NoRows},
		"kappa of none":               {describe.Agreement([][]int64{{0, 0}, {0, 0}}, describe.NoPartialCredit, 0.95).Status, describe.NoRows},
		"kappa, one category":         {describe.Agreement([][]int64{{7, 0}, {0, 0}}, describe.LinearCredit, 0.95).Status, describe.OneCategory},
		"kappa, not square":           {describe.Agreement([][]int64{{7, 0}}, describe.LinearCredit, 0.95).Status, describe.NotCounts},
		"kappa, one by one":           {describe.Agreement([][]int64{{7}}, describe.LinearCredit, 0.95).Status, describe.OneCategory},
		"Welch, none varies":          {describe.Welch(same, same, 0.95).Status, describe.NoSpread},
		"Welch, one number":           {describe.Welch(same, of([]float64{1}), 0.95).Status, describe.OneRow},
		"Student, one and one":        {describe.Student(of([]float64{1}), of([]float64{2}), 0.95).Status, describe.OneRow},
		"pairs, all equal":            {describe.Paired(same, 0.95).Status, describe.NoSpread},
		"one group":                   {describe.OneWay([]describe.Moments{same}).Status, describe.NoRows},
		"groups, none varies":         {describe.OneWay([]describe.Moments{same, same}).Status, describe.NoSpread},
		"groups, one does not vary":   {describe.WelchOneWay([]describe.Moments{same, of([]float64{1, 2})}).Status, describe.NoSpread},
		"ranks, all equal":            {describe.RankSum([]float64{1, 1}, []float64{1}).Status, describe.NoSpread},
		"ranks of none":               {describe.RankSum(nil, []float64{1}).Status, describe.NoRows},
		"ranks with NaN":              {describe.RankGroups([]float64{nan}, []float64{1}).Status, describe.NotFinite},
		"signs, all 0":                {describe.SignedRank([]float64{0, 0}).Status, describe.NoSpread},
		"table with one column":       {describe.ChiSquare([][]int64{{3, 0}, {4, 0}}).Status, describe.NoSpread},
		"table of none":               {describe.FisherExact(nil).Status, describe.NoRows},
		"ragged table":                {describe.ChiSquare([][]int64{{3, 0}, {4}}).Status, describe.NotCounts},
		"exact test of a large table": {describe.FisherExact([][]int64{{90, 80, 70, 60}, {95, 85, 75, 65}, {50, 60, 70, 80}}).Status, describe.TooLarge},
		"pairs that all agree":        {describe.PairedShares(0, 0).Status, describe.NoRows},
	} {
		if c.got != c.want {
			t.Errorf("%s: %v, want %v", name, c.got, c.want)
		}
	}
}

// No result holds a NaN or an infinity, whatever goes in.
func TestNoResultIsNaN(t *testing.T) {
	nan := math.NaN()
	pool := [][]float64{nil, {1}, {1, 1}, {1, 2}, {nan, 1}, {math.Inf(1), 2}, {-math.MaxFloat64, math.MaxFloat64}, {1e-320, 3e-320}}
	for _, a := range pool {
		for _, b := range pool {
			x, y := describe.MomentsOf(a), describe.MomentsOf(b)
			q, _ := describe.Sort(a).Quantile(0.3, describe.NormalUnbiased)
			m, _ := describe.Sort(a).Median()
			for _, result := range []any{x, q, m, describe.StandardisedMeans(x, y), describe.Welch(x, y, 0.95), describe.Student(x, y, 0.95),
				describe.Paired(x, 0.95), describe.OneWay([]describe.Moments{x, y}), describe.WelchOneWay([]describe.Moments{x, y}),
				describe.RankSum(a, b), describe.SignedRank(a), describe.RankGroups(a, b)} {
				finiteAll(t, reflect.ValueOf(result), result, a, b)
			}
		}
	}
}

func finiteAll(t *testing.T, v reflect.Value, result any, inputs ...any) {
	switch v.Kind() {
	case reflect.Float64:
		if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
			t.Errorf("%T %+v of %v", result, result, inputs)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			finiteAll(t, v.Field(i), result, inputs...)
		}
	}
}

// Of several groups the pair that differs most is named; one that shares nothing comes before any number.
func TestLargestBetween(t *testing.T) {
	between := func(values map[[2]int]describe.Standardised) describe.Largest {
		return describe.LargestBetween(3, func(i, j int) describe.Standardised { return values[[2]int{i, j}] })
	}
	got := between(map[[2]int]describe.Standardised{{0, 1}: {Value: 0.2}, {0, 2}: {Value: -0.5}, {1, 2}: {Status: describe.OneRow}})
	if got != (describe.Largest{Value: 0.5, I: 0, J: 2}) {
		t.Errorf("%+v", got)
	}
	got = between(map[[2]int]describe.Standardised{{0, 1}: {Value: 0.2}, {0, 2}: {Value: -0.5}, {1, 2}: {Status: describe.NoOverlap}})
	if got.Status != describe.NoOverlap || got.I != 1 || got.J != 2 {
		t.Errorf("%+v", got)
	}
	if got = describe.LargestBetween(1, nil); got.Status != describe.NoRows {
		t.Errorf("%+v", got)
	}
}
