package analyses

import (
	"fmt"
	"math"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/covariates"
	"deltoid/stats/mixed"
)

// repeated is a model of scores over visits while it is being written down. The visits of the model are places among the
// windows, its groups places among the columns; both are in the order in which the model numbers them.
type repeated struct {
	*scored
	places, columns []int
	data            mixed.Followed
	tried           []attempt
	model           *mixed.Trajectory // of the results; nil when no covariance could be told
	chosen          attempt
	adjusts         bool // for the score before the operation
	each            []*course
	overall         map[string]string // ids of tests, by what they ask
	inModel, unseen []string          // shoulders with a score and those without any, by column
	left            []string          // shoulders of which not all is known
	two             bool              // a patient of the model has two shoulders
}

// attempt is the model under one covariance.
type attempt struct {
	covariance plan.Covariance
	model      *mixed.Trajectory
}

// course is the estimates of one visit of the model, by column.
type course struct {
	k                                             int
	scores, missing, due                          []string
	mean, difference, p, change, changeDifference []string
}

// repeatedSection asks how scores run over the visits.
func repeatedSection(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	shared, err := newScored(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	s := &repeated{scored: shared, overall: map[string]string{}}
	if s.visits == nil {
		return s.noScores(s.heading(), s.question()), nil
	}
	if len(s.compared()) > mostModelGroups {
		return s.tooMany(), nil
	}
	if err := s.gather(); err != nil {
		return report.Section{}, err
	}
	if err := s.fit(); err != nil {
		return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
	}
	s.record()
	section := report.Section{ID: asked.ID, Heading: s.heading(), Question: s.question(), Figures: s.pictures(), Sheets: s.sheets()}
	section.Answer, section.Method, section.Notes = s.answer(), s.method(), s.notes()
	return section, nil
}

// mostModelGroups is how many groups one model takes: each has a mean at each visit, and time grows with their square.
const mostModelGroups = 40

// tooMany is the section of an analysis with more groups than one model takes.
func (s *repeated) tooMany() report.Section {
	t := report.Words("The groups are too many for one model: it takes up to " + plain(mostModelGroups) + ". Give several codes one label, ask for the codes that matter with “within”, or leave “by” out.")
	s.short[s.asked.ID] = t
	return report.Section{ID: s.asked.ID, Heading: s.heading(), Question: s.question(), Answer: []report.Text{t}}
}

// gather makes the rows of the model: a score of a shoulder at a visit.
func (s *repeated) gather() error {
	s.adjusts = s.before >= 0 && s.asked.Repeated.BeforeAs == plan.BeforeCovariate
	for k := range s.visits.Windows {
		if k != s.before || !s.adjusts {
			s.places = append(s.places, k)
			s.data.Visits = append(s.data.Visits, s.visits.Windows[k].Label)
		}
	}
	s.columns = s.compared()
	for _, column := range s.columns {
		s.data.Groups = append(s.data.Groups, s.labels[column])
	}
	columns, known, err := (&recovery{scored: s.scored}).adjusters()
	if err != nil {
		return err
	}
	if s.adjusts {
		for i, x := range s.baseline() {
			known[i] = known[i] && !math.IsNaN(x)
		}
	}
	var complete []int32
	for i, k := range known {
		if k && s.due(i) > 0 {
			complete = append(complete, int32(i))
		}
	}
	columns = moving(columns, complete)
	if s.adjusts {
		columns = append([]covariates.Column{{Name: "score before the operation", Values: s.baseline()}}, columns...)
	}
	for _, c := range columns {
		s.data.Covariates = append(s.data.Covariates, covariates.Column{Name: c.Name, Term: c.Term})
		s.data.ByVisit = append(s.data.ByVisit, s.adjusts && len(s.data.ByVisit) == 0)
	}
	s.rows(columns, known)
	return nil
}

// moving leaves out the columns in which nothing varies over some rows, as a level that nobody there has.
func moving(columns []covariates.Column, rows []int32) (out []covariates.Column) {
	for _, c := range columns {
		if len(varying([]covariates.Column{c}, rows)) > 0 {
			out = append(out, c)
		}
	}
	return out
}

// rows adds the scores of every shoulder of a group whose characteristics are known, and counts the others.
func (s *repeated) rows(columns []covariates.Column, known []bool) {
	groupOf := map[int32]int32{}
	for at, column := range s.columns {
		groupOf[int32(column)] = int32(at)
	}
	in, none, left := make([]int, len(s.labels)), make([]int, len(s.labels)), make([]int, len(s.labels))
	patients := map[int32]int{}
	for i, column := range s.group {
		group, compared := groupOf[column]
		due := s.due(i)
		switch {
		case !compared || due == 0:
			continue
		case !known[i]:
			s.tally(left, column)
			continue
		}
		patient := int32(i)
		if s.patient != nil {
			patient = s.patient[i]
		}
		if !s.shoulder(i, group, patient, due, columns) {
			s.data.Unseen = append(s.data.Unseen, mixed.Unseen{Group: group, Patient: patient, Due: due})
			s.tally(none, column)
			continue
		}
		s.tally(in, column)
		patients[patient]++
		s.two = s.two || patients[patient] > 1
	}
	s.inModel = s.counts("in-model", "shoulders in the model", shoulders, in)
	s.unseen = s.counts("unseen", "a visit due, and no score at any", shoulders, none)
	s.left = s.counts("left-out", "a visit due, but not all known that the model adjusts for", missingValues, left)
}

// tally counts a shoulder in its column and in that of the whole cohort.
func (s *repeated) tally(n []int, column int32) {
	n[column]++
	if s.groups < len(s.labels) {
		n[s.groups]++
	}
}

// shoulder adds the rows of one shoulder; it reports whether there are any.
func (s *repeated) shoulder(i int, group, patient, due int32, columns []covariates.Column) (any bool) {
	d := &s.data
	for v, k := range s.places {
		score := s.visits.Value[k][i]
		if math.IsNaN(score) {
			continue
		}
		any = true
		d.Outcome, d.Subject, d.Visit = append(d.Outcome, score), append(d.Subject, int32(i)), append(d.Visit, int32(v))
		d.Group, d.Patient, d.Due = append(d.Group, group), append(d.Patient, patient), append(d.Due, due)
		d.Time = append(d.Time, float64(s.visits.Day[k][i])/daysPerYear)
		for j, c := range columns {
			d.Covariates[j].Values = append(d.Covariates[j].Values, c.Values[i])
		}
	}
	return any
}

// due returns how many of the visits of the model a shoulder has had, or should have: all up to the last score, and on from there until one
// is not due, or the plan asks for no more of a revised shoulder or of somebody who has died.
func (s *repeated) due(i int) (due int32) {
	for v, k := range s.places {
		state := s.visits.State[k][i]
		if !math.IsNaN(s.visits.Value[k][i]) {
			due = int32(v) + 1
			continue
		}
		ended := state == cohorts.NotDue || state == cohorts.Dead && s.asked.Scores.Died == plan.LeftOut ||
			state == cohorts.AlreadyRevised && s.asked.Scores.Revised == plan.LeftOut
		if !ended && due == int32(v) {
			due = int32(v) + 1
		}
	}
	return due
}

var structures = map[plan.Covariance]mixed.Structure{plan.Unstructured: mixed.Unstructured, plan.CompoundSymmetric: mixed.CompoundSymmetric,
	plan.Autoregressive: mixed.Autoregressive, plan.SpatialPower: mixed.SpatialPower}

// fit tries the covariances of the plan.
func (s *repeated) fit() error {
	for _, covariance := range s.asked.Repeated.Covariances {
		data := s.data
		if covariance != plan.SpatialPower {
			data.Time = nil
		}
		o := mixed.Options{Covariance: structures[covariance], PatientIntercept: s.two}
		if s.asked.Repeated.Degrees == plan.Satterthwaite {
			o.Degrees = mixed.Satterthwaite
		}
		model, err := mixed.Trajectories(data, o)
		if err != nil {
			return err
		}
		tried := attempt{covariance, model}
		s.tried = append(s.tried, tried)
		if s.model == nil && model.Fit.Status == mixed.Converged {
			s.model, s.chosen = model, tried
		}
	}
	return nil
}
