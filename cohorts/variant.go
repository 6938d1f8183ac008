package cohorts

import "slices"

// Vary defines the cohort again with variants of its definition, from the same registry. The flow has the same steps and
// may have one more. A cohort that was narrowed by [Cohort.Keep] is varied first and narrowed again: the result is what a plan
// would give that had the variant written into it. With the first shoulder of each patient only, then, it holds the
// patients whose first shoulder in the cohort meets the criterion, not the first of those shoulders that meet it. Errors are
// those of [Define].
func (c *Cohort) Vary(f FollowUp, variants ...Variant) (*Cohort, *Flow, error) {
	d := c.Definition
	for _, v := range variants {
		d = d.With(v)
	}
	return Define(c.Registry, d, f)
}

// Keep returns the shoulders of the cohort that meet one more criterion, and the step that it adds to the flow: for a
// comparison inside one indication, say. A cohort that nothing is left of is returned empty. The error is a
// [schemas.Problem] when the criterion cannot be understood.
func (c *Cohort) Keep(criterion Criterion) (*Cohort, FlowStep, error) {
	d := Definition{Criteria: []Criterion{criterion}, Indication: c.Definition.Indication}
	tests, err := d.compile(c.Registry)
	if err != nil {
		return nil, FlowStep{}, err
	}
	s := &selection{registry: c.Registry, flow: &Flow{}, kept: c.Shoulders, patients: c.Patients()}
	s.criterion("within-1", criterion, tests[0])
	out := &Cohort{Name: c.Name + ": " + criterion.Label, Registry: c.Registry, Definition: c.Definition, Shoulders: s.kept}
	out.Definition.Within = append(slices.Clone(c.Definition.Within), criterion)
	return out, s.flow.Steps[0], nil
}

// firstShoulders keeps one shoulder of each patient.
func (s *selection) firstShoulders() {
	first := map[int32]int32{} // by patient: position of the first shoulder
	for _, position := range s.kept {
		shoulder := &s.registry.Shoulders[position]
		if old, known := first[shoulder.Patient]; !known || shoulder.Day < s.registry.Shoulders[old].Day {
			first[shoulder.Patient] = position
		}
	}
	s.keepAt(FlowStep{ID: "first-shoulder", Label: "First shoulder of each patient",
		Leaving: "A later shoulder of a patient who is in already"}, func(position int32) verdict {
		return verdictOf(first[s.registry.Shoulders[position].Patient] == position)
	})
}
