package analyses

import (
	"math"
	"slices"

	"deltoid/cohorts"
	"deltoid/schemas"
	"deltoid/stats/covariates"
)

// numbers returns the value of a measured field for each shoulder, NaN where it is not recorded.
func (s *portrait) numbers(column *schemas.Column) []float64 {
	out := make([]float64, len(s.group))
	for i := range out {
		row := s.row(i)
		switch {
		case column.IsMissing(row):
			out[i] = math.NaN()
		case column.Numbers() != nil:
			out[i] = column.Numbers()[row]
		default:
			out[i] = float64(column.Integers()[row])
		}
	}
	return out
}

// averaged puts the mean of the known values in the place of the others.
func averaged(x []float64) []float64 {
	sum, n := 0.0, 0
	for _, v := range x {
		if !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	mean := 0.0
	if n > 0 {
		mean = sum / float64(n)
	}
	out := make([]float64, len(x))
	for i, v := range x {
		if out[i] = v; math.IsNaN(v) {
			out[i] = mean
		}
	}
	return out
}

// levelsOf returns the levels of a field of codes and the level of each shoulder, -1 where it is not recorded.
func (s *portrait) levelsOf(g cohorts.Grouping) ([]string, []int32, error) {
	of, labels, _, err := s.cohort.Groups(g)
	if err != nil {
		return nil, nil, err
	}
	labels, of = recorded(labels, of, cohorts.NotRecorded)
	return labels, of, nil
}

// dummies makes a column for each level of a field but the first.
func (s *portrait) dummies(g cohorts.Grouping, name string) ([]covariates.Column, error) {
	labels, of, err := s.levelsOf(g)
	if err != nil {
		return nil, err
	}
	var columns []covariates.Column
	for level := 1; level < min(len(labels), mostLevels); level++ {
		x := make([]float64, len(of))
		for i, at := range of {
			if at == int32(level) {
				x[i] = 1
			}
		}
		columns = append(columns, covariates.Column{Name: name + ": " + labels[level], Term: name, Values: x})
	}
	return columns, nil
}

// varying returns the columns of some rows; those in which nothing varies there are left out, as is a column that repeats one
// before it.
func varying(columns []covariates.Column, rows []int32) []covariates.Column {
	var out []covariates.Column
	for _, c := range columns {
		x := taken(c.Values, rows)
		constant := !slices.ContainsFunc(x, func(v float64) bool { return v != x[0] })
		again := slices.ContainsFunc(out, func(o covariates.Column) bool { return slices.Equal(o.Values, x) })
		if len(x) > 0 && !constant && !again {
			out = append(out, covariates.Column{Name: c.Name, Term: c.Term, Values: x})
		}
	}
	return out
}
