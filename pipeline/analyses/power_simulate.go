package analyses

import (
	"fmt"
	"math"

	"deltoid/pipeline/report"
	"deltoid/stats/power"
	"deltoid/stats/trials"
)

// simulate makes studies up under the assumptions of a design and says how many find the effect. It is a check of the
// formula: nothing of the one enters into the other.
func (s *planning) simulate() (report.Text, error) {
	design, test := s.madeUp()
	o := trials.Options{Seed: s.asked.Seed, Level: s.answer.Given[power.Significance].Number, Sides: int(s.answer.Given[power.Sides].Number),
		Better: s.better(), Most: s.asked.Simulations, Batch: s.asked.Simulations}
	result, err := trials.Simulate(design, test, o)
	if err != nil {
		return nil, fmt.Errorf("%s: making studies up: %w", s.asked.Place, err)
	}
	e := report.Estimate{ID: s.id("simulated"), Analysis: s.asked.ID, Measure: "power in made-up studies", Unit: report.UnitProbability, N: report.Some(float64(result.Replicates)),
		Method: fmt.Sprintf("share of made-up studies, seed %d, %s; Monte-Carlo error %.2g; Wilson's interval", s.asked.Seed, result.Test, result.Power.Error), Status: report.Estimated}
	if result.Status == trials.NoVerdicts {
		e.Status, e.Note = report.NotIdentifiable, "the analysis could say nothing about any made-up study: "+result.Reason
	} else {
		e.Value, e.Lower, e.Upper, e.Level = report.Some(result.Power.Value), report.Some(result.Power.Lower), report.Some(result.Power.Upper), report.Some(0.95)
	}
	s.add(e)
	return say("Of ", shown{e.ID, report.ShowN}, " studies made up under these assumptions ", withInterval(e.ID), " found the effect ("+result.Test+")."), nil
}

// better is the side that counts in a test with one side.
func (s *planning) better() trials.Direction {
	if s.answer.Given[power.Margin].Number > 0 || s.answer.Given[s.asked.Design.Effect].Number < s.answer.Null() {
		return trials.Lower
	}
	return trials.Higher
}

const yearInDays = 365.25

// scoredAfter is the day of the second score; with all scores of a shoulder equally alike it matters to nothing.
const scoredAfter = 365

// madeUp turns the design into one that can be drawn, with the analysis that is run on each study.
func (s *planning) madeUp() (*trials.Design, trials.Test) {
	give := s.answer.Given
	d := &trials.Design{Both: give[power.BothShoulders].Number}
	d.Patients = int(math.Round(give[power.Size].Number / (1 + d.Both)))
	clusters := trials.NoClusters
	if d.Both > 0 {
		clusters = trials.ByPatient
		d.Dependence = trials.WithCorrelation(give[power.ShoulderLikeness].Number)
		if s.answer.Clusters.Within == "patients" {
			d.Sides = trials.Apart
		}
	}
	d.Arms = []trials.Arm{{Name: s.asked.Groups[0], Share: 1}, {Name: s.asked.Groups[1], Share: give[power.Allocation].Number}}
	if h, ok := s.answer.Hazards(); ok {
		return d, s.followedUp(d, h, clusters)
	}
	return d, s.scored(d, clusters)
}

// followedUp gives the arms their hazards and the study its time, and chooses the test of follow-up.
func (s *planning) followedUp(d *trials.Design, h power.Hazards, clusters trials.Clusters) trials.Test {
	give := s.answer.Given
	rate := func(yearly float64) trials.Hazard {
		if yearly == 0 {
			return nil
		}
		return trials.Constant(yearly / yearInDays)
	}
	for i := range d.Arms {
		d.Arms[i].Event, d.Arms[i].Death, d.Arms[i].Loss = rate(h.Groups[i]), rate(h.Died), rate(h.Lost)
	}
	days := func(name power.Name) int32 { return int32(math.Round(give[name].Number * yearInDays)) }
	d.Accrual = trials.Accrual{Days: days(power.Recruitment), FollowUp: days(power.FollowUp), Longest: days(power.FollowedFor), Pattern: pattern(give[power.Pattern].Word)}
	margin := give[power.Margin].Number
	switch {
	case s.asked.Design.ID == "cumulative incidence":
		return trials.Gray(0)
	case margin > 0:
		return trials.Cox(trials.Model{Clusters: clusters, Margin: margin})
	case clusters != trials.NoClusters:
		return trials.ClusteredLogRank(clusters)
	}
	return trials.LogRank()
}

// pattern is recruitment that rises from nothing, or falls to it, in a straight line.
func pattern(word string) []trials.Entered {
	if word == "even" {
		return nil
	}
	const pieces = 50
	var list []trials.Entered
	for i := 1; i <= pieces; i++ {
		by := float64(i) / pieces
		share := float64(by * by)
		if word == "falling" {
			share = 1 - float64((1-by)*(1-by))
		}
		list = append(list, trials.Entered{By: by, Share: share})
	}
	return list
}

// scored gives the study a score before and one after a year, and chooses the test of means.
func (s *planning) scored(d *trials.Design, clusters trials.Clusters) trials.Test {
	give := s.answer.Given
	sd := give[power.SD].Number
	d.Accrual.FollowUp = scoredAfter
	d.Scores = &trials.Scores{Visits: []int32{0, scoredAfter}, Mean: [][]float64{{0, 0}, {0, give[power.Difference].Number}}, SD: []float64{sd, sd},
		Correlation: trials.EqualCorrelation(2, give[power.Correlation].Number), Shoulders: give[power.ShoulderLikeness].Number,
		Missing: trials.Missing{Share: []float64{0, give[power.Loss].Number}}}
	switch give[power.Analysis].Word {
	case "change":
		return trials.MeanDifference(1, true, 0)
	case "adjusted for the score before":
		return trials.AdjustedMeans(1, clusters, 0)
	}
	return trials.MeanDifference(1, false, 0)
}
