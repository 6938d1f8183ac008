package regression

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
)

// Data holds one row for each observation, in columns of equal length that are read and never
// changed.
type Data struct {
	// Outcome is 0 or 1 for Logistic, a count of 0 or more for Poisson.
	Outcome []float64
	// Weight is how much a row counts for; nil is 1 for all. A row of weight 0 is left out.
	Weight []float64
	// Offset is added to the predictor: for rates the log of the time at risk. Nil is 0 for all.
	Offset []float64
	// Cluster says which rows are not independent, by a number of 0 or more; nil means that all are.
	Cluster []int32
}

// Options are the choices of a model; the zero value is the usual one.
type Options struct {
	// Penalised adds half the log determinant of the information to the log-likelihood: estimates
	// then exist whatever the data, and lose their bias in small ones.
	Penalised bool
	// Robust asks for the variance from the rows, each a cluster of its own where the data have no
	// clusters. Data with clusters get it in any case.
	Robust bool
	// Steps of Newton's method at most; 0 is the usual number.
	Steps int
}

func (d Data) weight(i int) float64 {
	if d.Weight == nil {
		return 1
	}
	return d.Weight[i]
}

func (d Data) offset(i int) float64 {
	if d.Offset == nil {
		return 0
	}
	return d.Offset[i]
}

// check returns what is wrong with the data.
func (d Data) check(k kind) error {
	n := len(d.Outcome)
	for _, c := range []struct {
		name    string
		rows    int
		missing bool
	}{{"Weight", len(d.Weight), d.Weight == nil}, {"Offset", len(d.Offset), d.Offset == nil}, {"Cluster", len(d.Cluster), d.Cluster == nil}} {
		if !c.missing && c.rows != n {
			return fmt.Errorf("%s has %d rows, Outcome has %d", c.name, c.rows, n)
		}
	}
	for i, y := range d.Outcome {
		if k == logistic && y != 0 && y != 1 {
			return &covariates.RowError{Row: i, Column: "Outcome", Found: fmt.Sprint(y), Want: "0 or 1"}
		}
		if k == poisson && !(y >= 0 && y <= 1e15) {
			return &covariates.RowError{Row: i, Column: "Outcome", Found: fmt.Sprint(y), Want: "a count, 0 or more"}
		}
		if w := d.weight(i); !(w >= 0 && w <= 1e90) {
			return &covariates.RowError{Row: i, Column: "Weight", Found: fmt.Sprint(w), Want: "a finite number, 0 or more"}
		}
		if o := d.offset(i); !(math.Abs(o) <= 500) {
			return &covariates.RowError{Row: i, Column: "Offset", Found: fmt.Sprint(o), Want: "a number between −500 and 500"}
		}
	}
	return nil
}
