package survival

import "fmt"

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
	Groups, Causes int
}

// RowError says which row of Data cannot be counted and why. Count returns the first such row.
type RowError struct {
	Row    int    // index into the columns
	Column string // "Entry", "Exit", "Cause" or "Group"
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

func (d Data) checkLengths() error {
	n := len(d.Exit)
	if len(d.Cause) != n {
		return fmt.Errorf("Cause has %d rows, Exit has %d", len(d.Cause), n)
	}
	if d.Entry != nil && len(d.Entry) != n {
		return fmt.Errorf("Entry has %d rows, Exit has %d", len(d.Entry), n)
	}
	if d.Group != nil && len(d.Group) != n {
		return fmt.Errorf("Group has %d rows, Exit has %d", len(d.Group), n)
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
