package mixed_test

import (
	"fmt"

	"deltoid/stats/mixed"
)

// Eight shoulders of two groups before the operation and one and two years after; two have no last score.
func ExampleTrajectories() {
	scores := [][]float64{{31, 70, 74}, {40, 66, 75}, {22, 51}, {35, 74, 79}, {28, 80, 81}, {33, 77, 90}, {41, 79, 85}, {25, 60}}
	s := mixed.Followed{Groups: []string{"arthropathy", "fracture"}, Data: mixed.Data{Visits: []string{"before", "1 year", "2 years"}}}
	for shoulder, row := range scores {
		for visit, score := range row {
			s.Outcome, s.Subject = append(s.Outcome, score), append(s.Subject, int32(shoulder))
			s.Visit, s.Group = append(s.Visit, int32(visit)), append(s.Group, int32(shoulder/4))
		}
	}
	t, err := mixed.Trajectories(s, mixed.Options{Covariance: mixed.CompoundSymmetric})
	if err != nil || t.Fit.Status != mixed.Converged {
		fmt.Println(err, t.Fit.Status, t.Fit.Reason)
		return
	}
	for _, e := range []mixed.Effect{t.Mean(2, 0, nil, 0.95), t.Change(0, 0, 2, nil, 0.95), t.DifferenceOfChanges(1, 0, 0, 2, 0.95)} {
		fmt.Printf("%s: %.1f (%.1f to %.1f), %s with %.1f degrees of freedom\n", e.Name, e.Estimate, e.Lower, e.Upper, t.Fit.Options.Degrees, e.DF)
	}
	// Output:
	// arthropathy at 2 years: 72.6 (62.8 to 82.5), Kenward–Roger with 10.3 degrees of freedom
	// arthropathy from before to 2 years: 40.6 (32.9 to 48.4), Kenward–Roger with 10.2 degrees of freedom
	// fracture less arthropathy from before to 2 years: 10.1 (-0.9 to 21.1), Kenward–Roger with 10.2 degrees of freedom
}
