package survival

import (
	"fmt"
	"math"
)

// Data holds one row for each subject (or each stretch of observation of a subject), in columns
// of equal length. Times are whole numbers of one unit, as a rule days.
//
// Columns are read, never changed. Rows may come in any order.
type Data struct {
	// Entry is when observation began. Nil means that everyone was there from the very start,
	// and so does an entry of 0. A later entry must come before the row's exit.
	Entry []int32
	// Exit is when observation ended, 0 or later.
	Exit []int32
	// Cause is why it ended: 0 for censored, 1 to Causes for an event of that cause.
	Cause []uint8
	// Group is 0 to Groups−1. Nil means one group.
	Group []int32
	// Weight is how much a row counts for: a finite number, 0 or more. Nil means that every row
	// counts for 1. A weight changes the estimate, never the number of people at risk, and a
	// variance then has to come from Curve.Robust, a test from ClusteredLogRank. A row that stands
	// for several people is to be given several times instead.
	Weight []float64
	// Cluster says which rows belong together, such as those of one patient: rows of one number,
	// 0 or more, are not independent. Nil means that all are. Only what says so looks at it, such
	// as Curve.Robust, LayOut and ClusteredLogRank.
	Cluster []int32
	// Groups is how many groups there are, with or without rows; 0 stands for 1.
	Groups int
	// Causes is how many causes there are, seen or not, at most 255; 0 stands for 1.
	Causes int
}

// RealData is Data with times that are real numbers: months with decimals, ages. Two times are
// tied only if they are the same float64, so a follow-up computed in two ways may come apart;
// whole days in Data never do.
type RealData struct {
	Entry, Exit    []float64
	Cause          []uint8
	Group          []int32
	Weight         []float64
	Cluster        []int32
	Groups, Causes int
}

// RowError says which row of Data cannot be counted and why. Count returns the first such row.
type RowError struct {
	Row    int    // index into the columns
	Column string // as the field of Data is called
	Found  string
	Want   string
}

func (e *RowError) Error() string {
	return fmt.Sprintf("row %d: %s is %s, want %s", e.Row, e.Column, e.Found, e.Want)
}

const maxGroups = 1 << 24

// normal fills in the defaults and checks everything that does not need a look at the rows.
func (d Data) normal() (Data, error) {
	d.Groups, d.Causes = max(d.Groups, 1), max(d.Causes, 1)
	if d.Causes > 255 {
		return d, fmt.Errorf("%d causes, want at most 255", d.Causes)
	}
	if d.Groups > maxGroups {
		return d, fmt.Errorf("%d groups, want at most %d", d.Groups, maxGroups)
	}
	return d, d.checkLengths()
}

// Check returns what Count would refuse: a *RowError for the first bad row, or which columns differ in
// length.
func (d Data) Check() error {
	d, err := d.normal()
	if err == nil {
		_, err = checkRows(d)
	}
	return err
}

func (d Data) checkLengths() error {
	n := len(d.Exit)
	for _, c := range []struct {
		name    string
		rows    int
		missing bool
	}{
		{"Cause", len(d.Cause), false}, {"Entry", len(d.Entry), d.Entry == nil}, {"Group", len(d.Group), d.Group == nil},
		{"Weight", len(d.Weight), d.Weight == nil}, {"Cluster", len(d.Cluster), d.Cluster == nil},
	} {
		if !c.missing && c.rows != n {
			return fmt.Errorf("%s has %d rows, Exit has %d", c.name, c.rows, n)
		}
	}
	return nil
}

// rowError describes what is wrong with row i, or returns nil.
func (d Data) rowError(i int) *RowError {
	if d.Exit[i] < 0 {
		return &RowError{i, "Exit", fmt.Sprint(d.Exit[i]), "0 or later"}
	}
	if int(d.Cause[i]) > d.Causes {
		return &RowError{i, "Cause", fmt.Sprint(d.Cause[i]), fmt.Sprintf("0 (censored) to %d", d.Causes)}
	}
	if d.Group != nil && (d.Group[i] < 0 || int(d.Group[i]) >= d.Groups) {
		return &RowError{i, "Group", fmt.Sprint(d.Group[i]), fmt.Sprintf("0 to %d", d.Groups-1)}
	}
	if d.Weight != nil && !isWeight(d.Weight[i]) {
		return &RowError{i, "Weight", fmt.Sprint(d.Weight[i]), "a finite number, 0 or more"}
	}
	if d.Cluster != nil && d.Cluster[i] < 0 {
		return &RowError{i, "Cluster", fmt.Sprint(d.Cluster[i]), "0 or more"}
	}
	if d.Entry == nil || d.Entry[i] == 0 {
		return nil
	}
	if d.Entry[i] < 0 {
		return &RowError{i, "Entry", fmt.Sprint(d.Entry[i]), "0 or later"}
	}
	if d.Entry[i] >= d.Exit[i] {
		return &RowError{i, "Entry", fmt.Sprint(d.Entry[i]), fmt.Sprintf("0, or before the exit at %d", d.Exit[i])}
	}
	return nil
}

func isWeight(w float64) bool { return w >= 0 && w <= math.MaxFloat64 }
