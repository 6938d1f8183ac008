package covariates

import (
	"fmt"
	"math"
)

// Column is one covariate of a model, with one value for each row.
type Column struct {
	// Name is how estimates, statuses and errors call the column; names differ within a model.
	Name string
	// Term names the question the column belongs to: the levels of a factor, or the pieces of a
	// spline, share one and are tested together. Empty means a term of its own, called Name.
	Term string
	// Values are read, never changed.
	Values []float64
}

func (c Column) term() string {
	if c.Term == "" {
		return c.Name
	}
	return c.Term
}

// RowError says which value of which column cannot be used and why.
type RowError struct {
	Row    int
	Column string
	Found  string
	Want   string
}

func (e *RowError) Error() string {
	return fmt.Sprintf("row %d: %s is %s, want %s", e.Row, e.Column, e.Found, e.Want)
}

// largestValue keeps sums of products of three values and a million rows within a float64.
const largestValue = 1e90

// check looks at everything that does not need a look at the rows.
func check(columns []Column, rows int) error {
	seen := make(map[string]bool, len(columns))
	for i, c := range columns {
		if c.Name == "" {
			return fmt.Errorf("covariate %d has no name", i)
		}
		if seen[c.Name] {
			return fmt.Errorf("two covariates are called %s", c.Name)
		}
		seen[c.Name] = true
		if len(c.Values) != rows {
			return fmt.Errorf("covariate %s has %d rows, want %d", c.Name, len(c.Values), rows)
		}
	}
	return nil
}

// firstBad returns the error for the first value of a column that is not a number of use.
func (c Column) firstBad() error {
	for i, x := range c.Values {
		if !(math.Abs(x) <= largestValue) {
			return &RowError{i, c.Name, fmt.Sprint(x), fmt.Sprintf("a number, at most %g in size", float64(largestValue))}
		}
	}
	return nil
}
