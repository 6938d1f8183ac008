package cohorts

import "deltoid/schemas"

// Definition says which shoulders of a registry are counted.
type Definition struct {
	Name     string
	Criteria []Criterion // applied in order
	// Indication says what the field "indication" means in criteria and groupings; recorded when empty.
	Indication Basis
	// Minimum leaves out shoulders that were followed too short a time, after the criteria.
	Minimum MinimumFollowUp
	// FirstShoulderOnly keeps, last of all, one shoulder of each patient: the first of the cohort by day of operation,
	// the left one when both were operated on one day, and of two in one day on one side the one listed first.
	FirstShoulderOnly bool
	// Within is criteria of one analysis alone. They are applied after everything else, so that an analysis of a part of a
	// cohort is about a part of that cohort, whatever choices made it.
	Within []Criterion
}

// MinimumFollowUp is an explicit choice to count only shoulders that were followed for some time. The zero value leaves
// nobody out.
type MinimumFollowUp struct {
	Days  int32
	Words string // the length as the plan states it: "2 years"
	// Achieved asks that the shoulder was in fact followed that long, or revised before; the dead and the lost are left
	// out. When false the shoulder must only have been operated on that long before the data cut, which depends on
	// nothing that happened to it.
	Achieved bool
	Place    string // file:line in the plan, for messages
}

// Variant is a change to a cohort for a sensitivity analysis.
type Variant string

// The variants.
const (
	WithRecorded   Variant = "recorded indication"
	WithSettled    Variant = "settled indication"
	FirstShoulders Variant = "first shoulder only"
	AnyFollowUp    Variant = "without minimum follow-up"
)

// AllVariants lists the variants.
func AllVariants() []Variant {
	return []Variant{WithRecorded, WithSettled, FirstShoulders, AnyFollowUp}
}

// With returns the definition with a variant applied. A variant that does not exist changes nothing.
func (d Definition) With(v Variant) Definition {
	switch v {
	case WithRecorded:
		d.Indication = Recorded
	case WithSettled:
		d.Indication = Settled
	case FirstShoulders:
		d.FirstShoulderOnly = true
	case AnyFollowUp:
		d.Minimum = MinimumFollowUp{}
	}
	return d
}

// check refuses a minimum that the registry cannot have.
func (m MinimumFollowUp) check(r *Registry) error {
	if m.Days > 0 && !m.Achieved && r.Ready {
		return &schemas.Problem{Kind: schemas.PlanProblem, Where: m.Place,
			What:    "a ready table has no data cut, so nobody knows how long a shoulder could have been followed",
			Allowed: "a minimum follow-up that was achieved", Remedy: "count achieved follow-up, or ask for no minimum"}
	}
	return nil
}

// met says whether a shoulder was followed long enough.
func (m MinimumFollowUp) met(r *Registry, s *Shoulder, f FollowUp) verdict {
	enough := func(day int32) bool { return day-s.Day >= m.Days }
	switch {
	case !m.Achieved:
		return verdictOf(f.DataCut != schemas.NoDay && enough(f.DataCut))
	case enough(min(f.until(s), lastAlive(s))):
		return met
	}
	end := f.until(s)
	for _, v := range r.Revisions[s.revisions.from:s.revisions.to] {
		if !v.SecondStage && v.Day <= end {
			return met
		}
	}
	return failed
}

// lastAlive returns the day of death, or a day that no record can have.
func lastAlive(s *Shoulder) int32 {
	if s.Death == schemas.NoDay {
		return 2 * farthest
	}
	return s.Death
}

// Criterion is one condition for staying in the cohort. A shoulder stays when every part of Where holds.
type Criterion struct {
	Label string // what is kept: "Reverse replacement"
	Where []Condition
	Place string // file:line in the plan, for messages
}

// Condition is a condition on one field of the registry's table. A missing value never meets it. Exactly one of In and
// the bounds is set.
type Condition struct {
	Field string
	In    []string // codes or texts
	From  *float64 // number or day, inclusive
	To    *float64 // number or day, inclusive
}
