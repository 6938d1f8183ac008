package describe

import "deltoid/stats/dist"

// Test is the outcome of a test of a hypothesis.
type Test struct {
	Statistic float64
	DF, DF2   float64 // degrees of freedom of the reference distribution; 0 where it has none
	P         float64 // two-sided
	Exact     bool    // P comes from the exact distribution
	Status    Status
}

// MeanTest is a test of two means, with their difference and its interval in the unit of the samples.
type MeanTest struct {
	Test
	Difference, SE float64
	Lower, Upper   float64
	Level          float64
}

// meanTest makes a t-test of a difference with a standard error.
func meanTest(difference, se, df, level float64) MeanTest {
	t := MeanTest{Difference: difference, SE: se, Level: level}
	switch {
	case levelStatus(level) != Estimated:
		return MeanTest{Level: level, Test: Test{Status: NotFinite}}
	case !(se > 0) || !(df >= 1) || !finite(df) || !finite(difference/se):
		return MeanTest{Level: level, Test: Test{Status: NoSpread}}
	}
	t.Statistic, t.DF = difference/se, df
	t.P = dist.StudentTwoSided(t.Statistic, df)
	half := float64(dist.StudentSpread(level, df) * se)
	t.Lower, t.Upper = difference-half, difference+half
	return t
}
