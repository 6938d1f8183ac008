package analyses

import (
	"math"

	"deltoid/pipeline/report"
	"deltoid/stats/change"
	"deltoid/stats/describe"
)

// describeVisit records the scores before the operation and at a visit: of those with both where change is asked about, of
// all with a score at the visit where it is not.
func (s *recovery) describeVisit(v *visitCount) error {
	w := s.visits.Windows[v.k]
	all := make([]change.Changes, len(s.labels))
	n := make([]int, len(s.labels))
	for column := range s.labels {
		var err error
		if all[column], err = change.Describe(s.pairOf(v.k, s.members[column]), s.scale, s.asked.Level); err != nil {
			return err
		}
		n[column] = all[column].N
	}
	if s.about == change.OfState {
		return s.describeState(v)
	}
	v.paired = s.counts(w.ID+".both-scores", w.Label+": with a score before the operation and at the visit", shoulders, n)
	v.ceiling = s.atEnd(v, "ceiling", "at the best end of the scale", all[len(all)-1].CeilingFollowUp)
	v.floor = s.atEnd(v, "floor", "at the worst end of the scale before the operation", all[len(all)-1].FloorBaseline)
	for column, c := range all {
		add := func(what, measure, unit string, x change.Estimate) string {
			e := s.estimate(w.ID+"."+what, column, w.Label+": "+measure, unit)
			e.Method = "of those with both scores"
			if settle(&e, x); !c.OK() {
				e.Status, e.Note = notFound(c.State)
				e.Value, e.Lower, e.Upper, e.Level = report.Optional{}, report.Optional{}, report.Optional{}, report.Optional{}
			}
			s.derived(e.ID, v.paired[column])
			return s.add(e)
		}
		v.meanBefore = append(v.meanBefore, add("mean-before", "mean score before the operation", s.scoreUnit(), mean(c.Baseline)))
		v.spreadBefore = append(v.spreadBefore, add("sd-before", "standard deviation of the score before the operation", s.scoreUnit(), spread(c.Baseline)))
		v.mean = append(v.mean, add("mean", "mean score", s.scoreUnit(), mean(c.FollowUp)))
		v.spread = append(v.spread, add("sd", "standard deviation of the score", s.scoreUnit(), spread(c.FollowUp)))
		v.change = append(v.change, add("change", "mean improvement", s.scoreUnit(), c.Mean))
		v.possible = append(v.possible, add("possible", "mean share of the possible improvement", report.UnitProbability, c.Possible))
	}
	return nil
}

// describeState records the scores at a visit alone.
func (s *recovery) describeState(v *visitCount) error {
	w := s.visits.Windows[v.k]
	values := make([][]float64, len(s.labels))
	n := make([]int, len(s.labels))
	for column, rows := range s.members {
		for _, i := range rows {
			if x := s.visits.Value[v.k][i]; !math.IsNaN(x) {
				values[column] = append(values[column], x)
			}
		}
		n[column] = len(values[column])
	}
	v.paired = s.counts(w.ID+".with-score", w.Label+": with a score", shoulders, n)
	for column, x := range values {
		add := func(what, measure, unit string, of change.Estimate) string {
			e := s.estimate(w.ID+"."+what, column, w.Label+": "+measure, unit)
			e.Method = "of those with a score"
			settle(&e, of)
			s.derived(e.ID, v.paired[column])
			return s.add(e)
		}
		m := describe.MomentsOf(x)
		v.mean = append(v.mean, add("mean", "mean score", s.scoreUnit(), mean(m)))
		v.spread = append(v.spread, add("sd", "standard deviation of the score", s.scoreUnit(), spread(m)))
	}
	at := func(end float64) describe.Proportion {
		whole, k := values[len(values)-1], 0
		for _, x := range whole {
			if x == end {
				k++
			}
		}
		return describe.Wilson(int64(k), int64(len(whole)), s.asked.Level)
	}
	v.ceiling = s.atEnd(v, "ceiling", "at the best end of the scale", at(s.scale.Best))
	v.floor = s.atEnd(v, "floor", "at the worst end of the scale", at(s.scale.Worst))
	return nil
}

// atEnd records the share of the whole cohort that is at one end of the scale, with its count, so that a small one is not given
// away. Few are there as a rule, and groups would only tie more numbers to them.
func (s *recovery) atEnd(v *visitCount, what, measure string, share describe.Proportion) string {
	w, last := s.visits.Windows[v.k], len(s.labels)-1
	e := s.estimate(w.ID+"."+what, last, w.Label+": share "+measure, report.UnitProbability)
	e.Method = "Wilson interval"
	if settle(&e, proportion(share)); e.Value.Known {
		for _, part := range []struct {
			name string
			n    int64
		}{{"count", share.K}, {"not", share.N - share.K}} {
			c := s.estimate(w.ID+"."+what+"."+part.name, last, w.Label+": "+measure+", "+part.name, shoulders)
			c.Value, c.Method = report.Some(float64(part.n)), "count"
			s.derived(e.ID, s.add(c))
		}
	}
	return s.add(e)
}

// mean and spread take moments for estimates without an interval; proportion takes a share with one.
func mean(m describe.Moments) change.Estimate {
	if m.Status != describe.Estimated {
		return change.Estimate{State: change.State{Status: change.NoRows}}
	}
	return change.Estimate{Value: m.Mean}
}

func spread(m describe.Moments) change.Estimate {
	if m.Spread != describe.Estimated {
		return change.Estimate{State: change.State{Status: change.TooFew}}
	}
	return change.Estimate{Value: m.SD}
}

func proportion(p describe.Proportion) change.Estimate {
	if p.Status != describe.Estimated {
		return change.Estimate{State: change.State{Status: change.NoRows}}
	}
	return change.Estimate{Value: p.Value, Lower: p.Lower, Upper: p.Upper, Level: p.Level}
}
