package mixed

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
)

// Data holds one row for each score, in columns of equal length and any order; they are read and never changed.
type Data struct {
	// Outcome is the score.
	Outcome []float64
	// Subject numbers the shoulder, 0 or more.
	Subject []int32
	// Visit numbers the visit in order of time, from 0; a shoulder has each at most once.
	Visit []int32
	// Patient numbers the patient, 0 or more; nil makes every shoulder a patient of its own.
	Patient []int32
	// Time is when the score was taken, for SpatialPower and slopes; nil is the number of the visit.
	Time []float64
	// Visits names all visits, also those without a score.
	Visits []string
}

// mostVisits bounds the matrices of one shoulder.
const mostVisits = 200

func (d Data) check() error {
	n := len(d.Outcome)
	for _, c := range []struct {
		name    string
		rows    int
		missing bool
	}{{"Subject", len(d.Subject), false}, {"Visit", len(d.Visit), false}, {"Patient", len(d.Patient), d.Patient == nil}, {"Time", len(d.Time), d.Time == nil}} {
		if !c.missing && c.rows != n {
			return fmt.Errorf("column %s has %d rows, Outcome has %d", c.name, c.rows, n)
		}
	}
	if len(d.Visits) > mostVisits {
		return fmt.Errorf("there are %d visits, want %d at most", len(d.Visits), mostVisits)
	}
	for i, y := range d.Outcome {
		switch v := d.Visit[i]; {
		case !(math.Abs(y) <= 1e90):
			return &covariates.RowError{Row: i, Column: "Outcome", Found: fmt.Sprint(y), Want: "a number, at most 1e90 in size"}
		case d.Subject[i] < 0:
			return &covariates.RowError{Row: i, Column: "Subject", Found: fmt.Sprint(d.Subject[i]), Want: "0 or more"}
		case v < 0 || int(v) >= len(d.Visits):
			return &covariates.RowError{Row: i, Column: "Visit", Found: fmt.Sprint(v), Want: fmt.Sprintf("0 to %d", len(d.Visits)-1)}
		case d.Time != nil && !(math.Abs(d.Time[i]) <= 1e6):
			return &covariates.RowError{Row: i, Column: "Time", Found: fmt.Sprint(d.Time[i]), Want: "a number, at most 1e6 in size"}
		}
	}
	return nil
}

func (d Data) time(row int32) float64 {
	if d.Time == nil {
		return float64(d.Visit[row])
	}
	return d.Time[row]
}

// patients returns the patient of each row; it refuses a shoulder with two.
func (d Data) patients() ([]int32, error) {
	if d.Patient == nil {
		return d.Subject, nil
	}
	subjects, err := covariates.GroupRows(d.Subject, len(d.Subject))
	if err != nil {
		return nil, err
	}
	for g := range subjects.Count {
		rows := subjects.Of(g)
		for _, i := range rows {
			if d.Patient[i] != d.Patient[rows[0]] {
				return nil, &covariates.RowError{Row: int(i), Column: "Patient", Found: fmt.Sprint(d.Patient[i]),
					Want: fmt.Sprintf("%d, as in row %d of the same shoulder", d.Patient[rows[0]], rows[0])}
			}
		}
	}
	return d.Patient, nil
}
