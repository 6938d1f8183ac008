package change

import (
	"deltoid/stats/describe"
)

// Changes describes the change of a score between two visits.
type Changes struct {
	// N rows have both scores; the other rows miss one or both.
	N, NoBaseline, NoFollowUp, Neither int

	// Baseline and FollowUp are those of the rows with both scores; Improvement is positive for the better.
	Baseline, FollowUp, Improvement describe.Moments
	// Mean is the mean improvement with its t-interval, by patient where patients have several rows.
	Mean Estimate
	// Possible is the mean share of the improvement that was possible (1 is all of it), MedianPossible
	// its median; AtBest rows started from the best end and have none.
	Possible       Estimate
	MedianPossible float64
	AtBest         int

	// Ceiling is the share of rows at the best end of the scale, Floor at the worst.
	CeilingBaseline, CeilingFollowUp, FloorBaseline, FloorFollowUp describe.Proportion
	// State is about everything above but the counts.
	State
}

// Describe describes the change of a score. A value off the scale is a state of the whole, since every
// number would rest on it.
//
// The share of the possible improvement is that of each row, averaged: the ratio of the means is another
// number, and rows that start close to the best end weigh in it less. Where Best is infinite it is NotDefined, and so are ceilings (their
// Status is describe.NoRows).
func Describe(s Scores, scale Scale, level float64) (Changes, error) {
	if err := firstError(s.check(scale), checkLevel(level)); err != nil {
		return Changes{}, err
	}
	var c Changes
	c.count(s)
	if c.State = s.state(scale); c.OK() && c.N == 0 {
		c.State = state(NoRows, "none of %d rows has both scores: there is one visit only, or the visits do not meet", len(s.Baseline))
	}
	if !c.OK() {
		c.Mean, c.Possible = refused(c.N, level, c.State), refused(c.N, level, c.State)
		return c, nil
	}
	rows := recorded(s.Baseline, s.FollowUp)
	both := Scores{Baseline: pick(s.Baseline, rows), FollowUp: pick(s.FollowUp, rows), Patient: pick(s.Patient, rows)}
	improvement := both.Improvements(scale)
	c.Baseline, c.FollowUp, c.Improvement = describe.MomentsOf(both.Baseline), describe.MomentsOf(both.FollowUp), describe.MomentsOf(improvement)
	c.Mean = meanOf(improvement, peopleOf(both.Patient, c.N), level)
	c.possible(both, scale, level)
	c.CeilingBaseline, c.FloorBaseline = ends(both.Baseline, scale, level)
	c.CeilingFollowUp, c.FloorFollowUp = ends(both.FollowUp, scale, level)
	return c, nil
}

func (c *Changes) count(s Scores) {
	for i, b := range s.Baseline {
		switch before, after := b == b, s.FollowUp[i] == s.FollowUp[i]; {
		case before && after:
			c.N++
		case before:
			c.NoFollowUp++
		case after:
			c.NoBaseline++
		default:
			c.Neither++
		}
	}
}

func (c *Changes) possible(s Scores, scale Scale, level float64) {
	var shares []float64
	var rows []int32
	for i, from := range s.Baseline {
		if share, ok := scale.ShareOfPossible(from, s.FollowUp[i]); ok {
			shares, rows = append(shares, share), append(rows, int32(i))
		}
	}
	c.AtBest = c.N - len(shares)
	if !finite(scale.Best) {
		c.AtBest = 0
		c.Possible = refused(c.N, level, state(NotDefined, "the scale has no best end"))
		return
	}
	if len(shares) == 0 {
		c.Possible = refused(0, level, state(NoRows, "every row starts from the best end of the scale"))
		return
	}
	c.Possible = meanOf(shares, peopleOf(pick(s.Patient, rows), len(rows)), level)
	c.MedianPossible, _ = describe.Sort(shares).Median()
}

// ends returns the shares at the best and at the worst end.
func ends(x []float64, scale Scale, level float64) (ceiling, floor describe.Proportion) {
	at := func(end float64) describe.Proportion {
		if !finite(end) {
			return describe.Proportion{Level: level, Status: describe.NoRows}
		}
		k := int64(0)
		for _, v := range x {
			if v == end {
				k++
			}
		}
		return describe.Wilson(k, int64(len(x)), level)
	}
	return at(scale.Best), at(scale.Worst)
}

func firstError(errors ...error) error {
	for _, err := range errors {
		if err != nil {
			return err
		}
	}
	return nil
}
