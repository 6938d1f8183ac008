package cohorts

import "errors"

// Cohort is the shoulders of a registry that meet a definition.
type Cohort struct {
	Name      string
	Registry  *Registry
	Shoulders []int32 // positions in Registry.Shoulders, rising
}

// Define keeps the shoulders of r that meet d, observed as f says, and counts everyone who leaves.
func Define(r *Registry, d Definition, f FollowUp) (*Cohort, *Flow, error) {
	return nil, nil, errors.New("cohorts: defining is not built yet")
}
