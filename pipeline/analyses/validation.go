package analyses

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/survival"
)

// checked is one validation of a model while it is being written down.
type checked struct {
	*modelled
	mask int
	risk []float64 // predicted by the horizon, of every row used
	why  string    // there is nothing to hold against what happened
	v    *hazards.Validation
	o    *hazards.Optimism // of a model that is made here
}

// validateModel asks how well the risks that a model predicts agree with what happened.
func validateModel(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	f, err := follow(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	s := &checked{modelled: &modelled{followed: f}, mask: p.Disclosure.MaskBelow}
	if err := s.makeRisks(); err != nil {
		return report.Section{}, err
	}
	if err := s.compareRisks(); err != nil {
		return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
	}
	s.validationCounts()
	s.scores()
	section := report.Section{ID: asked.ID, Heading: s.validationHeading(), Question: "How well do the risks that the model predicts agree with what happened?",
		Sheets: []report.Sheet{s.scoreSheet()}, Method: s.validationMethod()}
	if figure, groups, any := s.calibration(); any {
		section.Figures, section.Sheets = []report.Figure{figure}, append(section.Sheets, groups)
	}
	section.Sheets = append(section.Sheets, s.validationComplete())
	section.Answer = s.validationAnswer()
	section.Notes = append(s.validationNotes(), s.notes()...)
	return section, nil
}

// makeRisks predicts the risk of every shoulder in which all is known.
func (s *checked) makeRisks() (err error) {
	if s.asked.Given != nil {
		err = s.givenTerms()
	} else {
		err = s.readTerms()
	}
	if err != nil {
		return err
	}
	s.complete()
	if s.asked.Given != nil {
		s.risk, err = s.givenRisks()
		return err
	}
	for _, t := range s.terms {
		if err := t.settle(s.modelled); err != nil {
			return err
		}
	}
	if err := s.cross(); err != nil {
		return err
	}
	if s.fit, err = s.fitTerms(s.terms); err != nil || s.fit.why != "" {
		s.why = s.fit.whyOr(err)
		return err
	}
	return s.ownRisks()
}

func (f *fitted) whyOr(err error) string {
	if err != nil || f == nil {
		return ""
	}
	return f.why
}

// ownRisks are those of the model that was made here.
func (s *checked) ownRisks() (err error) {
	if s.beyond() {
		s.why = "the horizon lies beyond the follow-up of the shoulders used; ask for an earlier one"
		return nil
	}
	if s.fit.incidence != nil {
		s.risk, err = s.fit.incidence.Risks(s.days(s.asked.Horizon))
		return err
	}
	if s.asked.Ties == plan.ExactTies {
		s.why = "under the exact partial likelihood time is discrete, and there is no curve; ask for Efron's ties"
		return nil
	}
	s.risk, err = s.fit.hazard.Risks(s.days(s.asked.Horizon))
	return err
}

func (s *checked) beyond() bool {
	return len(s.data.exit) == 0 || float64(slices.Max(s.data.exit)) < s.days(s.asked.Horizon)
}

// givenTerms makes a term of every characteristic of a given model.
func (s *checked) givenTerms() error {
	for _, c := range s.asked.Given.Coefficients {
		if slices.ContainsFunc(s.terms, func(t *term) bool { return t.field == c.Field }) {
			continue
		}
		t, err := s.readTerm(plan.Covariate{Field: c.Field, Per: 1, Place: c.Place})
		if err != nil {
			return err
		}
		s.terms = append(s.terms, t)
	}
	s.nameTerms()
	return nil
}

// givenRisks are those of a model that was made elsewhere.
func (s *checked) givenRisks() ([]float64, error) {
	g := hazards.Given{Survival: s.asked.Given.Survival}
	var columns []covariates.Column
	for i, c := range s.asked.Given.Coefficients {
		t := s.termOf(c.Field)
		column := covariates.Column{Name: t.title + strconv.Itoa(i), Values: make([]float64, len(s.rows))}
		labels := s.labelsOf(t, c.Codes)
		for row, at := range s.rows {
			switch {
			case t.x != nil:
				column.Values[row] = t.x[at]
			case labels[t.levels[t.of[at]]]:
				column.Values[row] = 1
			}
		}
		columns = append(columns, column)
		g.Names, g.Coefficients, g.Centres = append(g.Names, column.Name), append(g.Coefficients, c.Value), append(g.Centres, c.Centre)
	}
	if len(s.rows) == 0 {
		s.why = "no shoulder has a value in every characteristic of the model"
		return nil, nil
	}
	return g.Risks(columns)
}

// labelsOf are the labels of some codes.
func (s *checked) labelsOf(t *term, codes []string) map[string]bool {
	out := map[string]bool{}
	column := s.cohort.Registry.Column(t.field, s.cohort.Definition.Indication)
	for _, code := range codes {
		out[code] = true
		if column != nil {
			out[column.Field.Label(code)] = true
		}
	}
	return out
}

// fromStart is the data with time counted from the landmark, where there is one.
func (s *checked) fromStart() (d hazards.Data, horizon float64) {
	d, horizon = s.hazardData(), s.days(s.asked.Horizon)
	d.Stratum = nil
	landmark := s.asked.Groups.Landmark
	if landmark == 0 {
		return d, horizon
	}
	d.Exit = slices.Clone(d.Exit)
	entry := slices.Clone(d.Entry)
	for i := range d.Exit {
		d.Exit[i] -= landmark
		entry[i] -= landmark
	}
	d.Entry = entry
	return d, horizon - float64(landmark)
}

// compareRisks holds the risks against what happened, and takes the optimism off those of a model that was made here.
func (s *checked) compareRisks() (err error) {
	if s.why != "" {
		return nil
	}
	d, horizon := s.fromStart()
	if horizon <= 0 {
		s.why = "the horizon does not come after the landmark"
		return nil
	}
	o := hazards.ValidationOptions{Level: s.asked.Level, Groups: s.groupsOfRisk()}
	if s.v, err = hazards.Validate(d, 1, s.risk, horizon, o); err != nil {
		return err
	}
	if s.v.Status != covariates.Converged {
		s.why = s.noValidation()
		return nil
	}
	if s.asked.Given != nil || s.asked.Groups.Landmark > 0 {
		return nil
	}
	if s.fit.incidence != nil {
		s.o, err = hazards.IncidenceOptimism(d, 1, s.columns(), horizon, s.asked.Replicates, s.asked.Seed)
		return err
	}
	s.o, err = s.fit.hazard.Optimism(horizon, s.asked.Replicates, s.asked.Seed)
	return err
}

func (s *checked) columns() (out []covariates.Column) {
	for _, t := range s.terms {
		out = append(out, t.columns...)
	}
	return out
}

// noValidation says why risks cannot be held against what happened, without counts, which might be small.
func (s *checked) noValidation() string {
	switch s.v.Status {
	case covariates.Unsupported:
		return "some shoulders came under observation late, and who had come to the endpoint before is not known; keep those seen from the start (“within”), or " +
			"count from a landmark"
	case covariates.NoRows:
		return "the horizon lies beyond the follow-up of the shoulders used; ask for an earlier one"
	}
	return "by the horizon nobody has come to the endpoint, or everybody of whom it is known has; ask for another one"
}

// Groups of similar risk: ten where there are events enough in each.
const (
	mostGroups   = 10
	fewestGroups = 2
)

// groupsOfRisk is the largest number of groups of which each has events enough, and shoulders without one, to be shown.
func (s *checked) groupsOfRisk() int {
	order := make([]int, len(s.risk))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(s.risk[a], s.risk[b]) })
	horizon := s.days(s.asked.Horizon)
	before := make([]int, len(order)+1) // events among the rows with the lowest risks
	for at, i := range order {
		if before[at+1] = before[at]; s.data.cause[i] == 1 && float64(s.data.exit[i]) <= horizon {
			before[at+1]++
		}
	}
	least := max(fewestEvents, s.mask)
	for k := mostGroups; k > fewestGroups; k-- {
		if enough(before, k, least) {
			return k
		}
	}
	return fewestGroups
}

// fewestEvents is how many events a group has at least where that can be had; an interval of fewer says next to nothing.
const fewestEvents = 5

// enough says whether each of k groups of equal size has so many events, and so many shoulders without one.
func enough(before []int, k, least int) bool {
	n := len(before) - 1
	for g := range k {
		from, to := n*g/k, n*(g+1)/k
		events := before[to] - before[from]
		if events < least || to-from-events < least {
			return false
		}
	}
	return true
}

// validationCounts records who is in, and the events by the horizon.
func (s *checked) validationCounts() {
	all := 0
	for i := range s.episodes.Exit {
		if s.last(i) {
			all++
		}
	}
	s.countedIn(s.allID(), "", "shoulders followed", all, shoulders)
	s.countedIn(s.usedID(), "", "shoulders with every value of the model", s.n, shoulders)
	s.countedIn(s.lostID(), "", "shoulders left out because a value is missing", all-s.n, missingValues)
	s.total(s.allID(), s.usedID(), s.lostID())
	for _, t := range s.terms {
		if t.between[0] == nil {
			missing := 0
			for i := range s.episodes.Exit {
				if s.last(i) && t.missing(i) {
					missing++
				}
			}
			s.countedIn(s.id("missing", t.slug), "", "missing: "+inSentence(t.title), missing, missingValues)
		}
	}
	if s.v == nil || s.why != "" {
		return
	}
	events := s.countedIn(s.eventID(), "", "events by the horizon", s.v.Events, "events")
	others := s.countedIn(s.id("events", "others"), "", "came to a competing event by the horizon", s.v.Others, shoulders)
	left := s.countedIn(s.id("shoulders", "censored"), "", "no longer under observation at the horizon, without an event", s.v.Censored, shoulders)
	known := s.countedIn(s.id("shoulders", "followed-through"), "", "under observation at the horizon, without an event", s.v.N-s.v.Events-s.v.Others-s.v.Censored, shoulders)
	s.total(s.usedID(), events, others, left, known)
}

func (s *checked) observedMethod() string {
	if len(s.episodes.Causes) > 1 {
		return "Aalen–Johansen, delta-method variance, interval on the complementary log-log scale"
	}
	return "1 − product-limit, Greenwood's variance, interval on the complementary log-log scale"
}

// settlePoint fills in the observed risk.
func (s *checked) settlePoint(e *report.Estimate, p survival.Point) {
	if p.Status != survival.Estimated {
		e.Status, e.Note = report.NotIdentifiable, "nobody is under observation at this time; ask for another time"
		return
	}
	s.settleValue(e, measure{}, p)
}

// corrections are the numbers from which the bootstrap takes the optimism.
var corrections = []struct {
	slug, measure, unit string
	of                  func(p hazards.Performance) float64
}{
	{"concordance", "concordance over all follow-up", report.UnitProbability, func(p hazards.Performance) float64 { return p.Concordance }},
	{"slope", "slope of the log ratios", report.UnitRatio, func(p hazards.Performance) float64 { return p.Slope }},
	{"brier", "Brier score", report.UnitScore, func(p hazards.Performance) float64 { return p.Brier }},
	{"brier-scaled", "scaled Brier score", report.UnitScore, func(p hazards.Performance) float64 { return p.Scaled }},
	{"auc", "area under the curve at the horizon", report.UnitProbability, func(p hazards.Performance) float64 { return p.AUC }},
}
