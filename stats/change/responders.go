package change

import (
	"math"

	"deltoid/stats/dist"
)

// Response is whether a row reached a threshold.
type Response uint8

// The responses. In Respond's rulings NotScored stands for "by the score".
const (
	// NotScored: the scores that are needed were not recorded.
	NotScored Response = iota
	// Reached: a responder.
	Reached
	// NotReached: not a responder.
	NotReached
	// LeftOut: the row does not belong to those who are counted.
	LeftOut
)

// Criterion says what a responder is.
type Criterion struct {
	Scale Scale
	// About is OfChange for a threshold in points of improvement, OfState for a score that has to be reached.
	About     Measure
	Threshold float64
}

// Respond says for each row whether it reached the threshold: improvement of at least Threshold points, or a follow-up score as good as
// Threshold or better. Rulings says what else is known of a row and comes before its scores: a revised shoulder may be ruled NotReached, that of a
// patient who died NotScored or LeftOut, as the caller declares; nil, and NotScored in a row, leave it to the scores.
func Respond(s Scores, c Criterion, rulings []Response) ([]Response, error) {
	if err := s.check(c.Scale); err != nil {
		return nil, err
	}
	if rulings != nil {
		if err := checkLength("rulings", len(rulings), len(s.Baseline)); err != nil {
			return nil, err
		}
	}
	out := make([]Response, len(s.Baseline))
	for i := range out {
		if rulings != nil && rulings[i] != NotScored {
			out[i] = rulings[i]
			continue
		}
		out[i] = c.of(s.Baseline[i], s.FollowUp[i])
	}
	return out, nil
}

func (c Criterion) of(from, to float64) Response {
	beyond := c.Scale.Improvement(from, to) - c.Threshold
	if c.About == OfState {
		beyond = c.Scale.Improvement(c.Threshold, to)
	}
	switch {
	case math.IsNaN(beyond):
		return NotScored
	case beyond >= 0:
		return Reached
	}
	return NotReached
}

// Share is the proportion of responders with what missing scores could make of it.
type Share struct {
	Reached, NotReached, NotScored, LeftOut int64
	// Complete is among the rows with a response.
	Complete Estimate
	// Worst counts every row without a score as not a responder, Best as one. The lower limit of Worst and the
	// upper limit of Best hold whatever the missing scores were.
	Worst, Best Estimate
	// DesignEffect is by how much the variance of Complete grows through patients with several rows; 1 without them.
	DesignEffect float64
}

// ShareOf returns the share of responders with Wilson's interval. Where patients have several rows, n in it is divided by the design
// effect: the variance summed over patients over that of independent rows, never below 1; where all rows respond
// alike the number of patients stands for n.
//
// Sources: Wilson, J. Am. Stat. Assoc. 22 (1927) 209–212; the effective number as in Korn & Graubard, Surv. Methodol. 24
// (1998) 193–201; the bounds as in Manski, Am. Econ. Rev. 80 (1990) 319–323.
func ShareOf(responses []Response, patient []int32, level float64) (Share, error) {
	if err := firstError(checkPatients(patient, len(responses)), checkLevel(level)); err != nil {
		return Share{}, err
	}
	var s Share
	s.Reached, s.NotReached = count(responses, Reached), count(responses, NotReached)
	s.NotScored, s.LeftOut = count(responses, NotScored), count(responses, LeftOut)
	complete := shareAmong(responses, patient, level, LeftOut)
	s.Complete, s.DesignEffect = complete.estimate, complete.designEffect
	s.Worst = shareAmong(responses, patient, level, NotReached).estimate
	s.Best = shareAmong(responses, patient, level, Reached).estimate
	return s, nil
}

func count(responses []Response, kind Response) int64 {
	n := int64(0)
	for _, r := range responses {
		if r == kind {
			n++
		}
	}
	return n
}

// sharing is a share with what its differences from others need.
type sharing struct {
	estimate     Estimate
	designEffect float64
	rows         []int32
	influence    []float64 // of each of rows
}

// shareAmong takes rows without a score for missing.
func shareAmong(responses []Response, patient []int32, level float64, missing Response) sharing {
	var s sharing
	reached := 0.0
	for i, r := range responses {
		if r == NotScored {
			r = missing
		}
		if r == LeftOut {
			continue
		}
		s.rows = append(s.rows, int32(i))
		is := 0.0
		if r == Reached {
			is, reached = 1, reached+1
		}
		s.influence = append(s.influence, is)
	}
	n := float64(len(s.rows))
	if n == 0 {
		s.estimate = refused(0, level, state(NoRows, "no row has a response"))
		return s
	}
	p := peopleOf(pick(patient, s.rows), len(s.rows))
	for k := range s.influence {
		s.influence[k] = (s.influence[k] - reached/n) / n
	}
	s.designEffect = designEffect(reached, n, p.squares(s.influence), p)
	s.estimate = wilson(reached, n, s.designEffect, level)
	s.estimate.Patients = p.patients()
	return s
}

// designEffect is the variance of a share over that of independent rows.
func designEffect(reached, n, variance float64, p people) float64 {
	if !p.clustered() {
		return 1
	}
	if reached == 0 || reached == n {
		return n / float64(p.clusters.Count)
	}
	return max(1, variance*n*n*n/(reached*(n-reached)))
}

// wilson is the score interval at an effective number of rows. The standard error is that of the share itself.
func wilson(reached, n, effect, level float64) Estimate {
	e := Estimate{Value: reached / n, N: int(n), Level: level}
	z := dist.NormalSpread(level)
	zz, m := float64(z*z), n/effect
	x, q := reached/effect, 1-e.Value
	root := float64(z * math.Sqrt(zz/4+float64(x*q)))
	e.SE = math.Sqrt(e.Value * q / m)
	e.Lower, e.Upper = max(0, (x+zz/2-root)/(m+zz)), min(1, (x+zz/2+root)/(m+zz))
	if reached == 0 {
		e.Lower = 0
	}
	if reached == n {
		e.Upper = 1
	}
	return e
}
