package cohorts

import (
	"fmt"
	"slices"

	"deltoid/schemas"
)

// Cohort is the shoulders of a registry that meet a definition.
type Cohort struct {
	Name       string
	Registry   *Registry
	Definition Definition
	Shoulders  []int32 // positions in Registry.Shoulders, rising
}

// Patients returns the number of patients with a shoulder in the cohort.
func (c *Cohort) Patients() int { return countPatients(c.Registry, c.Shoulders) }

func countPatients(r *Registry, shoulders []int32) int {
	n, last := 0, int32(-1)
	for _, position := range shoulders {
		if p := r.Shoulders[position].Patient; p != last {
			n, last = n+1, p
		}
	}
	return n
}

// Define keeps the shoulders of a registry that meet a definition, and counts everyone who leaves.
//
// The steps of the flow are: rows that no rule set aside; rows linked to an index procedure; the index procedures, where
// rows become shoulders; those operated on by the data cut; those with a contact since, when the last contact ends
// follow-up; then every criterion in order, the minimum follow-up, the first shoulder of each patient, and what one analysis
// alone is about. A step that
// cannot apply, or is not asked for, is left out: a ready table has only shoulders, and its follow-up is its own.
//
// The error is a [schemas.Problem], or [schemas.Problems], when a criterion cannot be understood. When no shoulder is
// left it is a [schemas.Problem] of the kind CohortProblem, and the flow up to the step at which the last ones left is
// returned with it. Any other error is a fault of the program: the flow does not add up.
func Define(r *Registry, d Definition, f FollowUp) (*Cohort, *Flow, error) {
	if err := checkCut(r, f); err != nil {
		return nil, nil, err
	}
	if err := d.Minimum.check(r); err != nil {
		return nil, nil, err
	}
	tests, err := d.compile(r)
	if err != nil {
		return nil, nil, err
	}
	s := newSelection(r)
	s.operated(f)
	s.observed(f)
	for i, criterion := range d.Criteria {
		s.criterion(fmt.Sprintf("criterion-%d", i+1), criterion, tests[i])
	}
	s.choices(d, f)
	for i, criterion := range d.Within {
		s.criterion(fmt.Sprintf("within-%d", i+1), criterion, tests[len(d.Criteria)+i])
	}
	if err := s.flow.close(); err != nil {
		return nil, s.flow, err
	}
	if len(s.kept) == 0 {
		return nil, s.flow, s.nobodyLeft(d)
	}
	return &Cohort{Name: d.Name, Registry: r, Definition: d, Shoulders: s.kept}, s.flow, nil
}

// checkCut refuses a data cut that the registry cannot have.
func checkCut(r *Registry, f FollowUp) error {
	switch {
	case f.DataCut == schemas.NoDay:
		return nil
	case r.Ready:
		return &schemas.Problem{Kind: schemas.PlanProblem,
			What:   "a ready table cannot have a data cut: its days count from each operation",
			Remedy: "remove the data cut from the study plan; the column \"follow_up\" says how long each shoulder was observed"}
	case f.DataCut < -farthest || f.DataCut > farthest:
		return &schemas.Problem{Kind: schemas.PlanProblem, What: fmt.Sprintf("the data cut is day %d", f.DataCut),
			Allowed: fmt.Sprintf("days from %d to %d", -farthest, farthest)}
	}
	return nil
}

// compile prepares the conditions of every criterion, those within an analysis last, and reports everything that is wrong in
// one pass.
func (d Definition) compile(r *Registry) ([][]test, error) {
	all := slices.Concat(d.Criteria, d.Within)
	tests := make([][]test, len(all))
	var problems schemas.Problems
	for i, criterion := range all {
		for _, condition := range criterion.Where {
			one, problem := condition.compile(r, d.Indication, criterion.Place)
			if problem != nil {
				problems = append(problems, problem)
				continue
			}
			tests[i] = append(tests[i], one)
		}
	}
	if len(problems) > 0 {
		return nil, problems
	}
	return tests, nil
}
