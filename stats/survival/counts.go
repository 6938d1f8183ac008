package survival

import (
	"fmt"
	"slices"
)

// Counts is what the estimates need to know about the rows: for each group, how many entered
// and how many left at each distinct time, by cause. It does not grow with the number of rows,
// only with the number of distinct times.
type Counts struct {
	causes int
	groups []tally
}

// tally is the counts of one group.
type tally struct {
	n       int64
	start   int64 // there from the very start
	entered cells // later entries; cause is 0
	left    cells // exits
	// Sums of weights beside entered and left; nil where every row counts for 1.
	enteredWeight, leftWeight []float64
}

// Groups returns the number of groups.
func (c *Counts) Groups() int { return len(c.groups) }

// Causes returns the number of causes.
func (c *Counts) Causes() int { return c.causes }

// N returns the number of rows counted in a group.
func (c *Counts) N(group int) int64 { return c.groups[group].n }

// Events returns the number of events of a cause in a group; cause 0 stands for any cause.
func (c *Counts) Events(group, cause int) int64 {
	var sum int64
	left := &c.groups[group].left
	for i, n := range left.count {
		if isEvent(left.causeOf(i), cause) {
			sum += int64(n)
		}
	}
	return sum
}

// checkCause refuses a cause that nothing was counted under; 0 stands for any cause.
func (c *Counts) checkCause(cause int) error {
	if cause < 0 || cause > c.causes {
		return fmt.Errorf("cause %d, want 0 (any) to %d", cause, c.causes)
	}
	return nil
}

// isEvent says whether a row that left by cause seen has the event asked for, where 0 asks for
// any cause.
func isEvent(seen uint8, asked int) bool {
	return seen != 0 && (asked == 0 || int(seen) == asked)
}

// AtRisk returns the number at risk at time t in a group: those with entry < t ≤ exit, and at
// t = 0 those who were there from the very start. There is no one at risk before 0.
func (c *Counts) AtRisk(group int, t float64) int64 {
	g := &c.groups[group]
	if !(t >= 0) {
		return 0
	}
	return g.start + countBefore(&g.entered, t) - countBefore(&g.left, t)
}

func countBefore(c *cells, t float64) int64 {
	earlier := c.part(0, c.before(t))
	return earlier.total()
}

// LastTime returns the largest exit in a group, and 0 for a group without rows.
func (c *Counts) LastTime(group int) float64 {
	left := &c.groups[group].left
	if left.len() == 0 {
		return 0
	}
	return left.time(left.len() - 1)
}

// LastDay is LastTime for counts of whole days.
func (c *Counts) LastDay(group int) int32 { return int32(c.LastTime(group)) }

// WeightAtRisk returns the sum of the weights at risk at time t in a group; without weights, people.
func (c *Counts) WeightAtRisk(group int, t float64) float64 {
	if c.AtRisk(group, t) == 0 {
		return 0
	}
	return c.groups[group].massAt([]float64{t})[0]
}

// Weightless says whether rows have weights and whoever is at risk at time t in a group has none.
func (c *Counts) Weightless(group int, t float64) bool {
	return c.Weighted(group) && c.AtRisk(group, t) > 0 && c.WeightAtRisk(group, t) == 0
}

// Add adds the counts of another file, hospital or registry. Both must have the same groups
// and causes; the unit of time has to be the same too, which only the caller can know.
// An error leaves the counts as they were.
func (c *Counts) Add(other *Counts) error {
	if len(c.groups) != len(other.groups) || c.causes != other.causes {
		return fmt.Errorf("counts of %d groups and %d causes cannot be added to %d groups and %d causes",
			len(other.groups), other.causes, len(c.groups), c.causes)
	}
	sum := make([]tally, len(c.groups))
	for g := range sum {
		var err error
		if sum[g], err = c.groups[g].plus(&other.groups[g]); err != nil {
			return fmt.Errorf("group %d: %w", g, err)
		}
	}
	c.groups = sum
	return nil
}

func (t *tally) plus(other *tally) (tally, error) {
	out := tally{n: t.n + other.n, start: t.start + other.start}
	weighted := t.leftWeight != nil || other.leftWeight != nil
	var err error
	out.entered, out.enteredWeight, err = merge(&t.entered, &other.entered, t.enteredWeight, other.enteredWeight, weighted)
	if err != nil {
		return tally{}, err
	}
	out.left, out.leftWeight, err = merge(&t.left, &other.left, t.leftWeight, other.leftWeight, weighted)
	return out, err
}

// Weighted says whether any row of a group was counted with a weight.
func (c *Counts) Weighted(group int) bool { return c.groups[group].leftWeight != nil }

// LateEntries returns the number of rows of a group that entered after the very start.
func (c *Counts) LateEntries(group int) int64 { return c.groups[group].entered.total() }

// Equal says whether both count as many rows, with the same weights, in every group at the same
// times and by the same causes, whether their times were whole or real numbers.
func (c *Counts) Equal(other *Counts) bool {
	if c.causes != other.causes || len(c.groups) != len(other.groups) {
		return false
	}
	for g := range c.groups {
		a, b := &c.groups[g], &other.groups[g]
		if a.n != b.n || a.start != b.start || !a.left.equal(&b.left) || !a.entered.equal(&b.entered) ||
			!slices.Equal(a.leftWeight, b.leftWeight) || !slices.Equal(a.enteredWeight, b.enteredWeight) {
			return false
		}
	}
	return true
}
