package trials

import "fmt"

// Accrual says when patients enter and how long they are watched, in days.
type Accrual struct {
	// Days is how long patients enter. 0: all at once.
	Days int32
	// Pattern divides Days: up to each point the given share of the patients have entered, the
	// points joined by straight lines. Nil is a steady stream; see Rising.
	Pattern []Entered
	// FollowUp is how long the study goes on after the last patient could enter.
	FollowUp int32
	// Longest is the longest that a patient is watched; 0 means until the study ends.
	Longest int32
}

// Entered is a point of a pattern of accrual.
type Entered struct {
	By    float64 // share of the days of accrual
	Share float64 // of the patients
}

// Rising is accrual whose rate grows in a straight line from 0 over the share ramp of the days of
// accrual and is steady from then on, in the given number of straight pieces for the rising part.
func Rising(ramp float64) []Entered {
	const pieces = 20
	whole := 1 - ramp/2
	var out []Entered
	for i := 1; i <= pieces && ramp > 0; i++ {
		by := ramp * float64(i) / pieces
		out = append(out, Entered{by, by * by / (2 * ramp) / whole})
	}
	if ramp < 1 {
		out = append(out, Entered{1, 1})
	}
	return out
}

// End is the day on which the study ends, counted from the first that a patient could enter.
func (a Accrual) End() int32 { return a.Days + a.FollowUp }

// day returns the day of entry of somebody before whom the share u of the patients entered.
func (a Accrual) day(u float64) int32 {
	if a.Pattern == nil {
		return int32(u * float64(a.Days))
	}
	var from Entered
	for _, p := range a.Pattern {
		if u < p.Share || p.By >= 1 {
			at := from.By + (p.By-from.By)*(u-from.Share)/(p.Share-from.Share)
			return max(0, min(int32(at*float64(a.Days)), a.Days-1))
		}
		from = p
	}
	return max(0, a.Days-1)
}

func (a Accrual) check() error {
	switch {
	case a.Days < 0:
		return impossible("days of accrual", a.Days, "0 or more", "")
	case a.FollowUp < 0:
		return impossible("follow-up after accrual", a.FollowUp, "0 or more", "the study cannot end before the last patient could enter; shorten accrual instead")
	case a.Longest < 0:
		return impossible("longest follow-up of a patient", a.Longest, "0 (until the end) or more", "")
	case a.End() < 1 || a.End() < 0:
		return impossible("length of the study", a.End(), "1 day or more", "")
	}
	return a.checkPattern()
}

func (a Accrual) checkPattern() error {
	var before Entered
	for i, p := range a.Pattern {
		if !(p.By > before.By && p.By <= 1 && p.Share >= before.Share && p.Share <= 1) {
			return impossible(fmt.Sprintf("point %d of the pattern of accrual", i+1), p, "rising shares up to 1", "")
		}
		before = p
	}
	if a.Pattern != nil && before != (Entered{1, 1}) {
		return impossible("last point of the pattern of accrual", before, "all patients at the end of accrual", "")
	}
	return nil
}
