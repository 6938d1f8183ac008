package cohorts

import (
	"fmt"
	"slices"
	"unicode"
	"unicode/utf8"

	"deltoid/schemas"
)

// Flow is the way from the rows read to the shoulders counted. Every step's numbers add up: what it keeps plus what
// leaves is what the step before kept.
type Flow struct {
	RowsRead int // rows of the table the shoulders come from
	Steps    []FlowStep
}

// FlowStep is one step of a flow.
type FlowStep struct {
	ID           string // stable, for estimates: "set-aside", "linked", "primary", "data-cut", "observed", "criterion-1"
	Label        string // what is kept
	Leaving      string // why the others leave: "Not reverse replacement", "Set aside by a rule"
	Unit         string // "rows" until rows become shoulders, then "shoulders"
	Kept         int    // rows or shoulders
	KeptPatients int    // 0 while Unit is "rows"
	Left         int
	LeftPatients int // patients with no shoulder left; 0 up to the step at which rows become shoulders
	LeftUnknown  int // of Left: only because a value that the criterion needs is missing
}

// close returns an error when the steps do not add up, which is a fault of the program.
func (f *Flow) close() error {
	before := f.RowsRead
	for _, s := range f.Steps {
		if s.Kept+s.Left != before {
			return fmt.Errorf("the participant flow does not add up at %q: %d kept and %d left of %d; this is a fault of the "+
				"program, please report it", s.Label, s.Kept, s.Left, before)
		}
		before = s.Kept
	}
	return nil
}

// selection is a flow while it is being walked.
type selection struct {
	registry *Registry
	flow     *Flow
	kept     []int32 // positions in Registry.Shoulders
	patients int
}

// newSelection walks the steps from the rows read to the shoulders of the registry.
func newSelection(r *Registry) *selection {
	s := &selection{registry: r, flow: &Flow{RowsRead: r.Table.Rows()}, patients: r.Patients}
	s.kept = make([]int32, len(r.Shoulders))
	for i := range s.kept {
		s.kept[i] = int32(i)
	}
	aside := r.Table.CountAside()
	rows := r.Table.Rows() - aside
	s.step(FlowStep{ID: "set-aside", Label: "Rows not set aside", Leaving: "Set aside by a rule", Unit: "rows",
		Kept: rows, Left: aside})
	shoulders := FlowStep{ID: "primary", Label: "Index procedures", Leaving: "Revisions of these shoulders", Unit: "shoulders",
		Kept: len(r.Shoulders), KeptPatients: r.Patients, Left: r.revisionRows}
	if r.Ready {
		shoulders.Label, shoulders.Leaving = "Shoulders", "Not a shoulder"
	} else {
		left := r.unlinked()
		s.step(FlowStep{ID: "linked", Label: "Rows linked to an index procedure", Leaving: "Revisions without an index procedure",
			Unit: "rows", Kept: rows - left, Left: left})
	}
	s.step(shoulders)
	return s
}

// unlinked returns the number of rows of the registry's table that belong to no shoulder.
func (r *Registry) unlinked() int {
	for _, l := range r.Ledgers {
		if l.Table == r.Table.Schema.Name {
			return l.Unlinked
		}
	}
	return 0
}

func (s *selection) step(step FlowStep) { s.flow.Steps = append(s.flow.Steps, step) }

// operated keeps the shoulders operated on by the data cut.
func (s *selection) operated(f FollowUp) {
	if f.DataCut == schemas.NoDay {
		return
	}
	s.keep(FlowStep{ID: "data-cut", Label: "Operated on by the data cut", Leaving: "Operated on after the data cut"},
		func(shoulder *Shoulder) verdict { return verdictOf(shoulder.Day <= f.DataCut) })
}

// observed keeps the shoulders with a contact, when the last contact ends follow-up.
func (s *selection) observed(f FollowUp) {
	if s.registry.Ready || !f.toContact() {
		return
	}
	s.keep(FlowStep{ID: "observed", Label: "Known about since the operation", Leaving: "No contact recorded since the operation"},
		func(shoulder *Shoulder) verdict { return verdictOf(shoulder.LastContact != schemas.NoDay) })
}

// criterion keeps the shoulders that meet every condition. One that breaks none, but lacks a value, leaves as unknown.
func (s *selection) criterion(id string, c Criterion, tests []test) {
	s.keep(FlowStep{ID: id, Label: c.Label, Leaving: "Not " + lowerFirst(c.Label)},
		func(shoulder *Shoulder) verdict {
			worst := met
			for _, test := range tests {
				worst = max(worst, test(shoulder.Row))
			}
			return worst
		})
}

// choices keeps the shoulders that were followed long enough, and then one of each patient, when that is asked for.
func (s *selection) choices(d Definition, f FollowUp) {
	if d.Minimum.Days > 0 {
		step := FlowStep{ID: "minimum-follow-up", Label: "Operated on at least " + d.Minimum.Words + " before the data cut",
			Leaving: "Operated on less than " + d.Minimum.Words + " before the data cut"}
		if d.Minimum.Achieved {
			step.Label = "Followed for at least " + d.Minimum.Words + ", or revised before"
			step.Leaving = "Followed for less than " + d.Minimum.Words + ": died or lost to follow-up, which those kept did not, so what remains is no fair sample"
		}
		s.keep(step, func(shoulder *Shoulder) verdict { return d.Minimum.met(s.registry, shoulder, f) })
	}
	if d.FirstShoulderOnly {
		s.firstShoulders()
	}
}

// keep keeps the shoulders that meet a test and adds the step.
func (s *selection) keep(step FlowStep, test func(*Shoulder) verdict) {
	s.keepAt(step, func(position int32) verdict { return test(&s.registry.Shoulders[position]) })
}

// keepAt is keep for a test of positions.
func (s *selection) keepAt(step FlowStep, test func(position int32) verdict) {
	kept := make([]int32, 0, len(s.kept))
	for _, position := range s.kept {
		switch test(position) {
		case met:
			kept = append(kept, position)
		case unknown:
			step.LeftUnknown++
			step.Left++
		default:
			step.Left++
		}
	}
	step.Unit, step.Kept, step.KeptPatients = "shoulders", len(kept), countPatients(s.registry, kept)
	step.LeftPatients = s.patients - step.KeptPatients
	s.kept, s.patients = kept, step.KeptPatients
	s.step(step)
}

// lowerFirst makes the first letter small, unless the word is in capitals.
func lowerFirst(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	second, _ := utf8.DecodeRuneInString(s[size:])
	if s == "" || unicode.IsUpper(second) {
		return s
	}
	return string(unicode.ToLower(first)) + s[size:]
}

// nobodyLeft says at which step the last shoulders left, and ends the flow there.
func (s *selection) nobodyLeft(d Definition) *schemas.Problem {
	first := func(id string) int {
		return slices.IndexFunc(s.flow.Steps, func(step FlowStep) bool { return step.ID == id })
	}
	firstCriterion, firstWithin := first("criterion-1"), first("within-1")
	at := 0
	for s.flow.Steps[at].Kept > 0 {
		at++
	}
	s.flow.Steps = s.flow.Steps[:at+1]
	step := s.flow.Steps[at]
	if s.flow.RowsRead == 0 {
		return &schemas.Problem{Kind: schemas.CohortProblem,
			What: fmt.Sprintf("there is no shoulder for the cohort %q: the table %q has no rows", d.Name,
				s.registry.Table.Schema.Name),
			Remedy: "export the rows again"}
	}
	p := &schemas.Problem{Kind: schemas.CohortProblem,
		What: fmt.Sprintf("no shoulder is left in the cohort %q after the step %q, which left out all %d that remained", d.Name, step.Label,
			step.Left),
		Remedy: "look at this step of the participant flow, and at the findings"}
	switch {
	case step.ID == "minimum-follow-up":
		p.Where = d.Minimum.Place
		p.Remedy = "ask for a shorter minimum follow-up, or for none"
	case firstWithin >= 0 && at >= firstWithin:
		p.Where = d.Within[at-firstWithin].Place
		p.What += fmt.Sprintf(", %d of them because a value is missing", step.LeftUnknown)
		p.Remedy = "widen the criterion of the analysis, or put it right if it does not say what you mean"
	case firstCriterion >= 0 && at >= firstCriterion:
		p.Where = d.Criteria[at-firstCriterion].Place
		p.What += fmt.Sprintf(", %d of them because a value is missing", step.LeftUnknown)
		p.Remedy = "widen the criterion, or put it right if it does not say what you mean"
	}
	return p
}
