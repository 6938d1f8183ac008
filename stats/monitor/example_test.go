package monitor_test

import (
	"fmt"

	"deltoid/stats/monitor"
	"deltoid/stats/survival"
)

// Four people, followed for up to four years; two have the event.
func Example() {
	counts, err := survival.Count(survival.Data{
		Exit:  []int32{200, 800, 1461, 1461},
		Cause: []uint8{1, 1, 0, 0},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	tallies, err := monitor.Tallies(counts, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := tallies[0].In(365.25).Rate(100, 0.95, monitor.Exact)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d events in %.2f years: %.1f per 100 years (%.1f to %.1f)\n", r.Events, r.Exposure, r.Value, r.Lower, r.Upper)
	// Output: 2 events in 10.74 years: 18.6 per 100 years (2.3 to 67.3)
}
