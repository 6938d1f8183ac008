package analyses

import (
	"errors"
	"fmt"
	"math"
	"runtime"
	"sync"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/competing"
	"deltoid/stats/survival"
)

// followed is the shoulders of one analysis with their follow-up, counted by group.
type followed struct {
	*book
	asked     plan.Analysis
	variant   string // prefix of the ids of a sensitivity analysis; empty for the analysis itself
	endpoint  cohorts.Endpoint
	cohort    *cohorts.Cohort
	episodes  *cohorts.Episodes
	counts    *survival.Counts // of the groups in order
	groups    []group          // with the whole cohort last where there are several
	spoken    func(label string) string
	coarse    bool             // follow-up was recorded in months or years and rounded to days
	clustered bool             // two shoulders of one patient are not taken for two patients
	weights   []float64        // what each episode counts for; nil: 1
	layout    *survival.Layout // of the rows of all groups; nil where shoulders count for 1 each and are taken as independent
}

// group is one group of an analysis with its counts and curves.
type group struct {
	label     string
	slug      string
	n         int              // shoulders
	passed    int              // of these, those that went on in another group
	counts    *survival.Counts // of this group alone
	limit     *survival.Curve  // free of the endpoint
	incidence *competing.Curve // of the endpoint
}

// follow follows the shoulders of a cohort to the endpoint of an analysis.
func follow(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (*followed, error) {
	s := &followed{book: b, asked: asked, cohort: c, spoken: speaker(c.Registry.Table.Schema.Field(asked.Groups.By)), coarse: p.Coarse()}
	if e := p.Endpoint(asked.Endpoint); e != nil {
		s.endpoint = *e
	}
	var err error
	s.episodes, err = c.Episodes(s.endpoint, p.FollowUp, asked.Groups)
	return s, err
}

// count makes one pass over the episodes. From then on everything comes from the counts, but for the variance between
// patients, which needs the rows.
func (s *followed) count() error {
	e := s.episodes
	s.clustered = s.asked.Variance == plan.Clustered && e.Bilateral > 0
	err := s.readWeights()
	if err != nil {
		return err
	}
	s.counts, err = survival.Count(s.data())
	if err != nil {
		return fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	labels := e.Groups
	if len(labels) > 1 {
		labels = append(labels[:len(labels):len(labels)], cohorts.All)
	}
	parts := slugs(labels)
	for i := range labels {
		g := group{label: labels[i], slug: parts[i]}
		if i < len(e.Groups) {
			g.counts = s.counts.Select(i)
			g.n = int(g.counts.N(0))
		} else {
			g.counts = s.counts.Pooled()
			g.n = int(g.counts.N(0)) - e.Divided
		}
		s.groups = append(s.groups, g)
	}
	s.countPassed()
	if s.layout, err = s.layOut(s.data()); err != nil {
		return fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	return s.drawCurves()
}

// countPassed counts, for each group, the shoulders that went on in another: a shoulder whose follow-up is divided by a
// change has an episode in each of two groups, and is one shoulder.
func (s *followed) countPassed() {
	for i, last := range s.episodes.Last {
		if !last {
			s.groups[s.episodes.Group[i]].passed++
		}
	}
}

// data is the episodes as the estimators take them.
func (s *followed) data() survival.Data {
	e := s.episodes
	d := survival.Data{Weight: s.weights, Entry: e.Entry, Exit: e.Exit, Cause: e.Cause, Group: e.Group, Groups: len(e.Groups), Causes: len(e.Causes)}
	if s.clustered {
		d.Cluster = e.Patient
	}
	return d
}

// layOut lays out the rows once for all groups and curves where the variance needs them; nil elsewhere.
func (s *followed) layOut(d survival.Data) (*survival.Layout, error) {
	if !s.byRows() {
		return nil, nil
	}
	return survival.LayOut(d)
}

// laidOut returns the rows of a group, or of the whole cohort, which comes last; nil without a layout.
func (s *followed) laidOut(layout *survival.Layout, group int) *survival.Rows {
	switch {
	case layout == nil:
		return nil
	case group < len(s.episodes.Groups):
		return layout.Group(group)
	}
	return layout.Pooled()
}

func gather[T any](column []T, order []int) []T {
	if column == nil {
		return nil
	}
	out := make([]T, len(order))
	for i, at := range order {
		out[i] = column[at]
	}
	return out
}

// drawCurves estimates the curves of every group, once; several groups at a time, each by itself, so that the number of
// processors cannot be seen.
func (s *followed) drawCurves() error {
	errs := make([]error, len(s.groups))
	var wait sync.WaitGroup
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i := range s.groups {
		free <- struct{}{}
		wait.Go(func() {
			errs[i] = s.groups[i].draw(len(s.episodes.Causes) > 1, s.laidOut(s.layout, i))
			<-free
		})
	}
	wait.Wait()
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	return nil
}

// draw estimates the curves of one group, with the variance between patients where there are rows.
func (g *group) draw(competes bool, rows *survival.Rows) (err error) {
	g.limit = g.counts.ProductLimit(0, 1)
	if competes {
		g.incidence = competing.Incidence(g.counts, 0, 1)
	}
	if rows == nil {
		return nil
	}
	if g.limit, err = g.limit.RobustFrom(rows); err != nil || !competes {
		return err
	}
	g.incidence, err = g.incidence.RobustFrom(rows)
	return err
}

// id makes the id of an estimate of this analysis.
func (s *followed) id(parts ...string) string {
	id := s.asked.ID + s.variant
	for _, p := range parts {
		id += "." + p
	}
	return id
}

func (s *followed) countID(g group, what string) string { return s.id(what, g.slug) }

// timeMark is a time as it stands in ids: "5y", "24mo".
func (s *followed) timeMark(t float64) string {
	unit := string(s.asked.Unit[:1])
	if s.asked.Unit == schemas.Months {
		unit = "mo"
	}
	return plain(t) + unit
}

func (s *followed) riskID(g group, t float64) string { return s.id("at-risk", g.slug, s.timeMark(t)) }

// days turns a time of the plan into days. It is the only place where an analysis leaves its unit. Where the export
// itself counts in months or years, the time is rounded to a day as the export's were, so that an event at 120 months
// has happened by 120 months.
func (s *followed) days(t float64) float64 {
	per, _ := schemas.DaysPer(s.asked.Unit)
	if s.coarse {
		return math.Round(t * per)
	}
	return t * per
}

// inUnit turns days into the plan's unit for display.
func (s *followed) inUnit(days float64) float64 {
	per, _ := schemas.DaysPer(s.asked.Unit)
	return days / per
}

func (s *followed) total() group { return s.groups[len(s.groups)-1] }

// parts returns the groups without the total.
func (s *followed) parts() []group { return s.groups[:len(s.episodes.Groups)] }

// estimated makes an estimate of a group with what all have in common.
func (s *followed) estimated(id string, g group, measure, unit string) report.Estimate {
	return report.Estimate{ID: id, Analysis: s.asked.ID, Endpoint: s.endpoint.ID, Cohort: s.cohort.Name, Group: g.label, Measure: measure,
		Unit: unit, Status: report.Estimated}
}

// at places an estimate at a time.
func (s *followed) at(e report.Estimate, t float64) report.Estimate {
	e.At, e.AtUnit = report.Some(t), string(s.asked.Unit)
	return e
}
