package trials

import (
	"fmt"
	"math"
)

// Leaving says why the observation of a shoulder of a cohort ended.
type Leaving uint8

// The ways to leave.
const (
	AtCut    Leaving = iota // at the data cut
	ByEvent                 // by the event that is studied
	ByDeath                 // the patient died
	LostFrom                // lost to follow-up before the data cut
)

// Cohort is a cohort that was followed: what the next study is drawn from. Slices have one element
// for each shoulder and are read, never changed.
type Cohort struct {
	// Patient numbers patients from 0, each at least once. A patient may have more than two: a
	// replacement converted to another kind is a shoulder anew.
	Patient []int32
	// Exit is the day, from the operation, on which observation ended; Left why.
	Exit []int32
	Left []Leaving
	// Cut is the day, from the operation, of the data cut: how long the shoulder would have been
	// watched if nothing had ended it. Nil where that is not known; it is then drawn from those
	// who were watched to the cut.
	Cut []int32
	// Start is the day of the operation, counted from any day. Nil: all on one day.
	Start []int32
	// Stratum is 0 to Strata−1; nil: one stratum.
	Stratum []int32
	Strata  int
	// Covariate[j][i] is a covariate of shoulder i.
	Covariate [][]float64
}

// Check says what is impossible about the cohort.
func (c *Cohort) Check() error {
	if err := c.checkLengths(); err != nil {
		return err
	}
	patients := 0
	for i, p := range c.Patient {
		if p < 0 || int(p) >= len(c.Patient) {
			return impossible(fmt.Sprintf("patient of shoulder %d", i), p, fmt.Sprintf("0 to %d", len(c.Patient)-1), "")
		}
		patients = max(patients, int(p)+1)
		if err := c.checkRow(i); err != nil {
			return err
		}
	}
	return c.checkPatients(patients)
}

func (c *Cohort) checkLengths() error {
	n := len(c.Patient)
	if n == 0 {
		return impossible("number of shoulders of the cohort", 0, "1 or more", "")
	}
	for _, column := range []struct {
		name    string
		rows    int
		missing bool
	}{
		{"Exit", len(c.Exit), false}, {"Left", len(c.Left), false}, {"Cut", len(c.Cut), c.Cut == nil},
		{"Start", len(c.Start), c.Start == nil}, {"Stratum", len(c.Stratum), c.Stratum == nil},
	} {
		if !column.missing && column.rows != n {
			return impossible("length of "+column.name, column.rows, fmt.Sprintf("%d, one for each shoulder", n), "")
		}
	}
	for j, x := range c.Covariate {
		if len(x) != n {
			return impossible(fmt.Sprintf("length of covariate %d", j), len(x), fmt.Sprintf("%d, one for each shoulder", n), "")
		}
	}
	return nil
}

func (c *Cohort) checkRow(i int) error {
	at := fmt.Sprintf(" of shoulder %d", i)
	switch {
	case c.Exit[i] < 0 || c.Exit[i] > mostDays:
		return impossible("exit"+at, c.Exit[i], fmt.Sprintf("0 to %d", mostDays), "")
	case c.Left[i] > LostFrom:
		return impossible("reason for leaving"+at, c.Left[i], "at the cut, by event, by death or lost", "")
	case c.Cut != nil && c.Cut[i] < c.Exit[i]:
		return impossible("data cut"+at, c.Cut[i], fmt.Sprintf("%d, the exit, or later", c.Exit[i]), "")
	case c.Stratum != nil && (c.Stratum[i] < 0 || int(c.Stratum[i]) >= c.Strata):
		return impossible("stratum"+at, c.Stratum[i], fmt.Sprintf("0 to %d", c.Strata-1), "")
	}
	return nil
}

// mostDays is a follow-up longer than any life.
const mostDays = 60_000

func (c *Cohort) checkPatients(patients int) error {
	shoulders := make([]int, patients)
	for _, p := range c.Patient {
		shoulders[p]++
	}
	for p, n := range shoulders {
		if n < 1 {
			return impossible(fmt.Sprintf("number of shoulders of patient %d", p), n, "1 or more", "number the patients from 0 without gaps")
		}
	}
	return nil
}

// staircase is the cumulative hazard of one way to leave, by day: minus the logarithm of the
// product-limit estimate, so that a step has exactly the share of those at risk who left then.
type staircase struct {
	sum  []float64 // up to and with each day
	last int32     // the last day on which anybody was at risk
}

// climb works out the hazard of one way to leave. On one day events come first, then deaths, then
// those who are lost or watched to the cut; as everywhere, all who leave on a day are at risk on it.
func (c *Cohort) climb(way Leaving) staircase {
	last := int32(0)
	for _, t := range c.Exit {
		last = max(last, t)
	}
	left, of := make([]float64, last+1), make([]float64, last+1)
	for i, t := range c.Exit {
		left[t]++
		if c.Left[i] == way {
			of[t]++
		}
	}
	s := staircase{sum: make([]float64, last+1), last: last}
	n, sum := float64(len(c.Exit)), 0.0
	for t := range s.sum {
		if of[t] > 0 {
			sum -= math.Log1p(-of[t] / n)
		}
		s.sum[t] = sum
		n -= left[t]
	}
	return s
}

// after returns the first day after from on which the hazard, times ratio, has grown by a; −1 if
// it never does.
func (s staircase) after(from int32, ratio, a float64) int32 {
	if from >= s.last {
		return -1
	}
	base := 0.0
	if from >= 0 {
		base = s.sum[from]
	}
	want := base + a/ratio
	if !(s.sum[s.last] >= want) {
		return -1
	}
	low, high := from, s.last
	for high-low > 1 {
		if middle := low + (high-low)/2; s.sum[middle] >= want {
			high = middle
		} else {
			low = middle
		}
	}
	return high
}
