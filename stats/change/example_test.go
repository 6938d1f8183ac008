package change_test

import (
	"fmt"

	"deltoid/stats/change"
)

// Twelve invented shoulders with a score of 0 to 100 before and after, and what their owners said: 0 the same, 1 a little better, 2 much better.
func ExampleThresholds() {
	scores := change.Scores{
		Baseline: []float64{30, 42, 25, 38, 41, 29, 35, 33, 47, 28, 36, 40},
		FollowUp: []float64{33, 44, 34, 39, 53, 43, 46, 50, 75, 66, 71, 46},
	}
	said := []int32{0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 1}
	table, err := change.Thresholds(change.Anchored{Scores: scores, Anchor: said}, change.Question{
		Scale: change.Scale{Worst: 0, Best: 100}, Improved: 1, Minimal: 1, Unchanged: 0, Fewest: 4,
		Resampling: change.Resampling{Level: 0.95},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, m := range []change.Method{change.MeanChange, change.Youden, change.Predictive, change.HalfSD, change.MeasurementError} {
		if row := table.Row(m); row.OK() {
			fmt.Printf("%v: %.1f points from %d shoulders\n", m, row.Value, row.N)
		} else {
			fmt.Printf("%v: %v, since %s\n", m, row.Status, row.Reason)
		}
	}
	// Output:
	// mean change of the minimally improved: 12.0 points from 5 shoulders
	// cut point by Youden's index: 10.0 points from 12 shoulders
	// predictive modelling: 8.6 points from 12 shoulders
	// half a standard deviation: 3.3 points from 12 shoulders
	// standard error of measurement: not defined, since the reliability of the score is not known: measure some rows twice, or give it in ScoreReliability
}

// A revised shoulder is not a missing score: the caller declares that it did not improve.
func ExampleRespond() {
	scores := change.Scores{Baseline: []float64{30, 42, 25, 38}, FollowUp: []float64{50, 47, 60, 70}}
	responses, err := change.Respond(scores, change.Criterion{Scale: change.Scale{Worst: 0, Best: 100}, Threshold: 12},
		[]change.Response{change.NotScored, change.NotScored, change.NotReached, change.NotScored})
	if err != nil {
		fmt.Println(err)
		return
	}
	share, err := change.ShareOf(responses, nil, 0.95)
	fmt.Printf("%d of %d, %.0f%% (%.0f to %.0f) %v\n", share.Reached, share.Complete.N, 100*share.Complete.Value, 100*share.Complete.Lower, 100*share.Complete.Upper, err)
	// Output: 2 of 4, 50% (15 to 85) <nil>
}
