package survival_test

import (
	"fmt"

	"deltoid/stats/survival"
)

// Ten lamps in two rooms, each burning for some days; a lamp that still burned when it was last
// seen is censored (cause 0).
func Example() {
	counts, err := survival.Count(survival.Data{
		Exit:   []int32{3, 5, 5, 8, 10, 2, 2, 6, 7, 10},
		Cause:  []uint8{1, 1, 0, 1, 0, 1, 1, 1, 0, 0},
		Group:  []int32{0, 0, 0, 0, 0, 1, 1, 1, 1, 1},
		Groups: 2,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for room := range counts.Groups() {
		p := counts.ProductLimit(room, 1).At(7)
		fmt.Printf("room %d on day 7: %.3f (%.3f to %.3f), %d at risk\n", room, p.Value, p.Lower, p.Upper, p.AtRisk)
	}
	// Output:
	// room 0 on day 7: 0.600 (0.126 to 0.882), 2 at risk
	// room 1 on day 7: 0.400 (0.052 to 0.753), 2 at risk
}

// Where nobody is left to watch, there is no estimate.
func ExampleCurve_At() {
	counts, _ := survival.Count(survival.Data{Exit: []int32{4, 9}, Cause: []uint8{1, 0}})
	curve := counts.ProductLimit(0, 1)
	for _, t := range []float64{2, 9, 20} {
		p := curve.At(t)
		fmt.Println(t, p.Value, p.Status, "| interval:", p.Limits)
	}
	// Output:
	// 2 1 estimated | interval: no events
	// 9 0.5 estimated | interval: estimated
	// 20 0 beyond follow-up | interval: beyond follow-up
}

// Curves of several files: the counts add up, the rows stay where they are.
func ExampleCounts_Add() {
	north, _ := survival.Count(survival.Data{Exit: []int32{4, 9}, Cause: []uint8{1, 0}})
	south, _ := survival.Count(survival.Data{Exit: []int32{4, 6, 9}, Cause: []uint8{0, 1, 0}})
	if err := north.Add(south); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(north.N(0), "lamps,", north.Events(0, 1), "failed;", north.AtRisk(0, 6), "at risk on day 6")
	// Output:
	// 5 lamps, 2 failed; 3 at risk on day 6
}

// The level of an interval is a probability; its opposite is refused.
func ExampleCurve_Interval() {
	counts, _ := survival.Count(survival.Data{Exit: []int32{2, 4, 6, 8}, Cause: []uint8{1, 1, 0, 1}})
	_, err := counts.ProductLimit(0, 1).Interval(4, 0.05, survival.LogLog)
	fmt.Println(err)
	// Output:
	// confidence level is 0.05, want a probability above 0.5 and below 1, such as 0.95
}

// The median is the middle of the stretch over which exactly half are left.
func ExampleCurve_Median() {
	counts, _ := survival.Count(survival.Data{Exit: []int32{2, 4, 6, 8}, Cause: []uint8{1, 1, 1, 1}})
	m := counts.ProductLimit(0, 1).Median()
	fmt.Println(m.Time, "from", m.Lower, "to", m.UpperStatus)
	// Output:
	// 5 from 2 to not reached
}

// Do two kinds of lamp last equally long? The test says with what it was made, so that it cannot
// end up beside other curves.
func ExampleLogRank() {
	counts, _ := survival.Count(survival.Data{
		Exit:   []int32{2, 3, 3, 5, 8, 9, 6, 9, 11, 12, 12, 12},
		Cause:  []uint8{1, 1, 1, 1, 1, 0, 1, 1, 0, 1, 0, 0},
		Group:  []int32{0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1},
		Groups: 2,
	})
	test, err := survival.LogRank(1, survival.Equal, counts)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("rows", test.N, "events", test.Events)
	fmt.Printf("expected %.2f, chi-square %.2f on %d df, p = %.3f\n", test.Expected, test.ChiSquare, test.DF, test.P)
	// Output:
	// rows [6 6] events [5 3]
	// expected [2.44 5.56], chi-square 4.51 on 1 df, p = 0.034
}

// The mean time to day 9, and how much longer it is for the second kind.
func ExampleCurve_RestrictedMean() {
	counts, _ := survival.Count(survival.Data{
		Exit:   []int32{2, 3, 3, 5, 8, 9, 6, 9, 11, 12},
		Cause:  []uint8{1, 1, 1, 1, 1, 0, 1, 1, 0, 1},
		Group:  []int32{0, 0, 0, 0, 0, 0, 1, 1, 1, 1},
		Groups: 2,
	})
	first, err := counts.ProductLimit(0, 1).RestrictedMean(9, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	second, _ := counts.ProductLimit(1, 1).RestrictedMean(9, 0.95)
	longer, _ := second.Minus(first, 0)
	fmt.Printf("%.2f and %.2f days; %.2f longer (%.2f to %.2f)\n", first.Value, second.Value, longer.Value, longer.Lower, longer.Upper)
	// Output:
	// 5.00 and 8.25 days; 3.25 longer (0.78 to 5.72)
}

// Pairs of lamps on one switch are not independent: the standard error has to be taken over
// switches.
func ExampleCurve_Robust() {
	data := survival.Data{
		Exit:    []int32{2, 2, 3, 4, 7, 8, 9, 9},
		Cause:   []uint8{1, 1, 1, 1, 1, 1, 0, 0},
		Cluster: []int32{0, 0, 1, 1, 2, 2, 3, 3},
	}
	counts, _ := survival.Count(data)
	curve := counts.ProductLimit(0, 1)
	robust, err := curve.Robust(data)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f, standard error %.3f; over switches %.3f\n", curve.At(4).Value, curve.At(4).SE, robust.At(4).SE)
	// Output:
	// 0.500, standard error 0.177; over switches 0.250
}
