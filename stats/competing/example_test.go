package competing_test

import (
	"fmt"

	"deltoid/stats/competing"
	"deltoid/stats/survival"
)

// Eight pumps, followed for up to nine days. Some break (cause 1), some are sold while they still
// run (cause 2), some run to the end. What share breaks by day 6?
func ExampleIncidence() {
	counts, err := survival.Count(survival.Data{
		Exit:   []int32{2, 3, 3, 5, 6, 6, 9, 9},
		Cause:  []uint8{1, 2, 1, 2, 1, 0, 0, 0},
		Causes: 2,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	broken := competing.Incidence(counts, 0, 1).At(6)
	fmt.Printf("broken by day 6: %.3f (%.3f to %.3f), %d events, %d at risk\n",
		broken.Value, broken.Lower, broken.Upper, broken.Events, broken.AtRisk)

	// If no pump were ever sold, more of them would break under our eyes.
	unsold := counts.ProductLimit(0, 1).At(6).Complement()
	fmt.Printf("1 - product-limit: %.3f\n", unsold.Value)
	// Output:
	// broken by day 6: 0.375 (0.087 to 0.674), 3 events, 4 at risk
	// 1 - product-limit: 0.438
}

// All causes of a group come from one scan and add up with those still free of any event.
func ExampleAll() {
	counts, err := survival.Count(survival.Data{
		Exit:   []int32{1, 2, 2, 4, 5, 6},
		Cause:  []uint8{1, 2, 1, 0, 2, 0},
		Causes: 2,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	set := competing.All(counts, 0)
	for i, t := range set.Time {
		a, b := set.Cause(1).Incidence[i], set.Cause(2).Incidence[i]
		fmt.Printf("%v: %.4f + %.4f + %.4f = %.4f\n", t, set.EventFree[i], a, b, set.EventFree[i]+a+b)
	}
	// Output:
	// 1: 0.8333 + 0.1667 + 0.0000 = 1.0000
	// 2: 0.5000 + 0.3333 + 0.1667 = 1.0000
	// 4: 0.5000 + 0.3333 + 0.1667 = 1.0000
	// 5: 0.2500 + 0.3333 + 0.4167 = 1.0000
	// 6: 0.2500 + 0.3333 + 0.4167 = 1.0000
}

// Does one of two makes of pump break more often, given that some are sold before they can?
func ExampleGray() {
	counts, err := survival.Count(survival.Data{
		Exit:   []int32{2, 3, 3, 5, 6, 9, 4, 6, 8, 9, 9, 9},
		Cause:  []uint8{1, 2, 1, 1, 1, 0, 2, 1, 2, 0, 0, 0},
		Group:  []int32{0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1},
		Groups: 2, Causes: 2,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	test, err := competing.Gray(1, 0, counts)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("events %d, chi-square %.2f on %d df, p = %.3f\n", test.Events, test.ChiSquare, test.DF, test.P)
	// Output:
	// events [4 1], chi-square 3.41 on 1 df, p = 0.065
}
