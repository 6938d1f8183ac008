package change

import (
	"fmt"
	"math"
)

// Scale is the range of a score and with it its direction: a score of 0 to 100 on which more is better is
// {0, 100}, a pain of 0 to 10 is {10, 0}. An end may be infinite, as for strength in kilograms ({0, +Inf}); nothing
// that needs the end is then defined.
type Scale struct{ Worst, Best float64 }

// check asks for two different ends.
func (s Scale) check() error {
	if math.IsNaN(s.Worst) || math.IsNaN(s.Best) || s.Worst == s.Best {
		return fmt.Errorf("the scale from %v (worst) to %v (best) has no direction: declare both ends", s.Worst, s.Best)
	}
	return nil
}

// HigherIsBetter reports the direction.
func (s Scale) HigherIsBetter() bool { return s.Best > s.Worst }

// Sign is +1 where higher is better and −1 where lower is.
func (s Scale) Sign() float64 {
	if s.HigherIsBetter() {
		return 1
	}
	return -1
}

// Improvement returns the change from one score to another, positive for the better.
func (s Scale) Improvement(from, to float64) float64 {
	if s.HigherIsBetter() {
		return to - from
	}
	return from - to
}

// ShareOfPossible returns the improvement as a share of what was possible from the first score to the best
// end, 1 for all of it and below 0 for a loss. It is not defined from the best end itself, or on a scale whose best end is infinite.
func (s Scale) ShareOfPossible(from, to float64) (share float64, defined bool) {
	possible := s.Improvement(from, s.Best)
	if !(possible > 0) || math.IsInf(possible, 0) {
		return 0, false
	}
	return s.Improvement(from, to) / possible, true
}

func (s Scale) holds(x float64) bool {
	return finite(x) && x >= min(s.Worst, s.Best) && x <= max(s.Worst, s.Best)
}

// within returns the trouble with the first recorded value that lies off the scale.
func (s Scale) within(what string, x []float64) State {
	for i, v := range x {
		if !math.IsNaN(v) && !s.holds(v) {
			return state(OffScale, "%s of row %d is %v, off the scale from %v (worst) to %v (best): is it another version of the score?",
				what, i, v, s.Worst, s.Best)
		}
	}
	return State{}
}

// Scores holds two visits of each row (one shoulder) in columns of equal length that are read and never
// changed.
type Scores struct {
	// Baseline and FollowUp are NaN where the score was not recorded.
	Baseline, FollowUp []float64
	// Patient says which rows belong to one person, by a number of 0 or more; nil means that each row is a person of its own.
	Patient []int32
}

func (s Scores) check(scale Scale) error {
	if err := scale.check(); err != nil {
		return err
	}
	if err := checkLength("column FollowUp", len(s.FollowUp), len(s.Baseline)); err != nil {
		return err
	}
	return checkPatients(s.Patient, len(s.Baseline))
}

func checkPatients(patient []int32, rows int) error {
	if patient == nil {
		return nil
	}
	if err := checkLength("column Patient", len(patient), rows); err != nil {
		return err
	}
	for i, p := range patient {
		if p < 0 {
			return fmt.Errorf("column Patient, row %d: found %d, want 0 or more", i, p)
		}
	}
	return nil
}

// state returns the trouble with values off the scale.
func (s Scores) state(scale Scale) State {
	return firstTrouble(scale.within("baseline", s.Baseline), scale.within("follow-up", s.FollowUp))
}

// Improvements returns the improvement of every row, NaN where a score was not recorded.
func (s Scores) Improvements(scale Scale) []float64 {
	out := make([]float64, len(s.Baseline))
	for i, from := range s.Baseline {
		out[i] = scale.Improvement(from, s.FollowUp[i])
	}
	return out
}

// recorded returns the rows in which all columns have a number, and the values of one of them.
func recorded(columns ...[]float64) (rows []int32) {
	if len(columns) == 0 {
		return nil
	}
next:
	for i := range columns[0] {
		for _, c := range columns {
			if math.IsNaN(c[i]) {
				continue next
			}
		}
		rows = append(rows, int32(i))
	}
	return rows
}

// pick returns the values of some rows; nil stays nil.
func pick[T any](x []T, rows []int32) []T {
	if x == nil {
		return nil
	}
	out := make([]T, len(rows))
	for k, i := range rows {
		out[k] = x[i]
	}
	return out
}
