package change

import (
	"fmt"
	"math"
	"slices"

	"deltoid/stats/describe"
)

// NoAnswer is the category of an anchor question that was not answered.
const NoAnswer int32 = math.MinInt32

// Anchored is scores with the answer of each row to an anchor question. Categories are whole numbers, in order: a
// larger one is a better answer, whichever way the score runs.
type Anchored struct {
	Scores
	Anchor []int32
}

// The defaults of Question.
const (
	// DefaultFloor is the least correlation of anchor with change that supports a threshold. Common practice after Revicki and others,
	// J. Clin. Epidemiol. 61 (2008) 102–109, who ask for 0.30 to 0.35.
	DefaultFloor = 0.3
	// DefaultFewest is the least number of rows in a category that a method uses; a rule of this package.
	DefaultFewest = 10
)

// Question is what a threshold is asked for.
type Question struct {
	Scale Scale
	// About says whether the anchor is about the change (a minimal or substantial improvement) or about
	// the state (an acceptable one).
	About Measure
	// Improved is the lowest category that counts as improved (or as acceptable).
	Improved int32
	// Minimal is the category of those who are improved just enough, and Unchanged that of those who are not: for a substantial
	// benefit, the category that means it and the one that does not. Methods of OfState do not use them.
	Minimal, Unchanged int32
	// Floor is the least rank correlation of anchor with change (or state); 0 is DefaultFloor.
	Floor float64
	// Fewest is the least number of rows in each category that a method uses; 0 is DefaultFewest.
	Fewest int
	// AnchorReliability is that of the anchor question, ScoreReliability that of the score (as by Reliability); 0 is not known.
	AnchorReliability, ScoreReliability float64
	Resampling
}

// Resampling says how patients are drawn again.
type Resampling struct {
	Replicates int // 0 asks for no intervals by resampling
	Seed       uint64
	Level      float64 // of every interval
}

func (q Question) floor() float64 {
	if q.Floor == 0 {
		return DefaultFloor
	}
	return q.Floor
}

func (q Question) fewest() int {
	if q.Fewest == 0 {
		return DefaultFewest
	}
	return q.Fewest
}

func (q Question) check() error {
	for _, share := range []struct {
		name  string
		value float64
	}{{"Floor", q.Floor}, {"AnchorReliability", q.AnchorReliability}, {"ScoreReliability", q.ScoreReliability}} {
		if !(share.value >= 0 && share.value <= 1) {
			return fmt.Errorf("%s is %v, want 0 to 1", share.name, share.value)
		}
	}
	if q.Replicates < 0 || q.Fewest < 0 {
		return fmt.Errorf("the question asks for %d replicates and for %d rows in a category, want 0 or more", q.Replicates, q.Fewest)
	}
	if q.About == OfChange && q.Minimal == q.Unchanged {
		return fmt.Errorf("the answers Minimal and Unchanged are both %d: declare the answer of those who are improved just enough and of those who are not", q.Minimal)
	}
	return firstError(q.Scale.check(), checkLevel(q.Level))
}

// Category is what the rows of one answer are like.
type Category struct {
	Answer int32
	// Values are improvements (or states, in the units of the score).
	Values describe.Moments
}

// AnchorChecks says whether an anchor question can carry a threshold.
type AnchorChecks struct {
	// N rows have all that is needed; NoAnswer rows have the scores but not the answer, NoScore rows the answer but not the scores.
	N, NoAnswer, NoScore int
	Categories           []Category // in rising order
	Improved             int        // rows at or above Question.Improved
	// ByRank is the Spearman correlation of the answers with improvement (or state, oriented so that positive is better);
	// Polyserial supposes a normal variable behind them.
	ByRank, Polyserial Estimate
	// WithBaseline and WithFollowUp are Spearman correlations of the answers with each score, oriented so that better is larger;
	// BaselineGivenFollowUp is the first with the follow-up score held. Of two who end alike, the one who
	// began worse should report more change: an answer about change has that one below 0.
	WithBaseline, WithFollowUp, BaselineGivenFollowUp Estimate
	// RecallRisk says in a sentence why the answers look like answers about the present state instead of
	// the change; empty where they do not. A warning, not a refusal.
	RecallRisk string
	// Falling names pairs of neighbouring categories of which the better has the lower mean.
	Falling [][2]int32
	// Support is OK where the correlation reaches the floor.
	Support State
}

// CheckAnchor checks an anchor question. Support is NotSupported where the rank correlation is below the floor or negative: a
// negative one says that the direction of the scale, or the order of the answers, is declared the wrong way round.
//
// Source of the check of recall: Guyatt, Norman, Juniper & Griffith, J. Clin. Epidemiol. 55 (2002) 900–908, as remembered.
func CheckAnchor(a Anchored, q Question) (AnchorChecks, error) {
	if err := firstError(a.check(q.Scale), q.check(), checkLength("Anchor", len(a.Anchor), len(a.Baseline))); err != nil {
		return AnchorChecks{}, err
	}
	return checkAnchor(a, q), nil
}

func checkAnchor(a Anchored, q Question) AnchorChecks {
	x, rows, c := a.answered(q)
	if c.Support = a.state(q.Scale); !c.Support.OK() {
		c.refuse(q.Level)
		return c
	}
	answers := pick(a.Anchor, rows)
	c.count(x, answers, q)
	if c.Support = c.enough(answers); !c.Support.OK() {
		c.refuse(q.Level)
		return c
	}
	p := peopleOf(pick(a.Patient, rows), len(rows))
	ranks := asNumbers(answers)
	c.ByRank = byRank(x, ranks, p, q.Level)
	c.Polyserial = polyserial(x, answers, p, q.Level)
	c.recall(a, rows, ranks, p, q)
	c.Support = c.support(q)
	return c
}

func (c *AnchorChecks) refuse(level float64) {
	none := refused(c.N, level, c.Support)
	c.ByRank, c.Polyserial, c.WithBaseline, c.WithFollowUp, c.BaselineGivenFollowUp = none, none, none, none, none
}

// answered returns the measure (positive is better) of the rows that have it and an answer.
func (a Anchored) answered(q Question) (x []float64, rows []int32, c AnchorChecks) {
	for i, v := range a.measure(q) {
		switch said, has := a.Anchor[i] != NoAnswer, !math.IsNaN(v); {
		case said && has:
			x, rows = append(x, v), append(rows, int32(i))
		case has:
			c.NoAnswer++
		case said:
			c.NoScore++
		}
	}
	c.N = len(rows)
	return x, rows, c
}

// measure returns improvement, or the state with better as larger.
func (a Anchored) measure(q Question) []float64 {
	if q.About == OfChange {
		return a.Improvements(q.Scale)
	}
	out := make([]float64, len(a.FollowUp))
	for i, v := range a.FollowUp {
		out[i] = q.Scale.Sign() * v
	}
	return out
}

// count fills the categories.
func (c *AnchorChecks) count(x []float64, answers []int32, q Question) {
	kinds := slices.Compact(slices.Sorted(slices.Values(answers)))
	sign := 1.0
	if q.About == OfState {
		sign = q.Scale.Sign()
	}
	for _, kind := range kinds {
		var values []float64
		for i, answer := range answers {
			if answer == kind {
				values = append(values, sign*x[i])
			}
		}
		c.Categories = append(c.Categories, Category{kind, describe.MomentsOf(values)})
		if kind >= q.Improved {
			c.Improved += len(values)
		}
	}
	for k := 1; k < len(kinds); k++ {
		if sign*c.Categories[k].Values.Mean < sign*c.Categories[k-1].Values.Mean {
			c.Falling = append(c.Falling, [2]int32{kinds[k-1], kinds[k]})
		}
	}
}

// enough says whether anything can be said of the answers.
func (c *AnchorChecks) enough(answers []int32) State {
	switch {
	case c.N == 0:
		return state(NoRows, "no row has both the scores and an answer (%d have no answer, %d no score)", c.NoAnswer, c.NoScore)
	case len(c.Categories) == 1:
		return state(NoSpread, "all %d answers are %d: an anchor that does not vary says nothing", c.N, answers[0])
	}
	return State{}
}

func (c *AnchorChecks) recall(a Anchored, rows []int32, ranks []float64, p people, q Question) {
	both := recorded(pick(a.Baseline, rows), pick(a.FollowUp, rows))
	oriented := func(x []float64) []float64 {
		out := pick(x, rows)
		for i := range out {
			out[i] *= q.Scale.Sign()
		}
		return pick(out, both)
	}
	if len(both) < len(rows) {
		p = peopleOf(pick(pick(a.Patient, rows), both), len(both))
	}
	said := pick(ranks, both)
	c.WithBaseline = byRank(oriented(a.Baseline), said, p, q.Level)
	c.WithFollowUp = byRank(oriented(a.FollowUp), said, p, q.Level)
	between := byRank(oriented(a.Baseline), oriented(a.FollowUp), p, q.Level)
	c.BaselineGivenFollowUp = given(c.WithBaseline, c.WithFollowUp, between, float64(p.clusters.Count))
	if q.About == OfChange && c.BaselineGivenFollowUp.OK() && c.ByRank.OK() {
		c.RecallRisk = c.recallRisk()
	}
}

// given is the partial correlation of two columns, one of which correlates with a third as between and the other as with.
func given(e, with, between Estimate, patients float64) Estimate {
	if s := firstTrouble(e.State, with.State, between.State); !s.OK() {
		return refused(e.N, e.Level, s)
	}
	rest := (1 - float64(with.Value*with.Value)) * (1 - float64(between.Value*between.Value))
	if !(rest > 1e-12) {
		return refused(e.N, e.Level, state(NoSpread, "the follow-up score leaves nothing to correlate"))
	}
	e.Value = max(-1, min(1, (e.Value-float64(with.Value*between.Value))/math.Sqrt(rest)))
	return e.byFisher(math.Sqrt(1+float64(e.Value*e.Value)/2), patients-1)
}

// recallRisk is a rule of this package after the source of CheckAnchor.
func (c *AnchorChecks) recallRisk() string {
	switch held := c.BaselineGivenFollowUp; {
	case c.WithFollowUp.Value > c.ByRank.Value:
		return fmt.Sprintf("the answers go with the follow-up score (rank correlation %.2f) more than with the change (%.2f): they may be about the present state",
			c.WithFollowUp.Value, c.ByRank.Value)
	case held.Upper >= 0:
		return fmt.Sprintf("of those who end alike, the ones who began worse do not report more change (partial rank correlation %.2f, up to %.2f): the answers may be about the present state",
			held.Value, held.Upper)
	}
	return ""
}

func (c *AnchorChecks) support(q Question) State {
	r := c.ByRank
	switch {
	case !r.OK():
		return r.State
	case r.Value < 0:
		return state(NotSupported, "the answers run against the %v of the score (rank correlation %.2f): the direction of the scale or the order of the answers is declared the wrong way round, or the score is of another version",
			q.About, r.Value)
	case r.Value < q.floor():
		return state(NotSupported, "the rank correlation of anchor and %v is %.2f, below %v: the answers are not about what the score measures", q.About, r.Value, q.floor())
	}
	return State{}
}
