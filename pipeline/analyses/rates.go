package analyses

import (
	"fmt"
	"math"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/monitor"
	"deltoid/stats/survival"
)

// daysPerYear turns days under observation into prosthesis-years, once.
const daysPerYear = 365.25

// rates is one analysis of revision rates while it is being written down.
type rates struct {
	*followed
	form    monitor.Form
	list    []rated // groups of shoulders, or reasons for revision
	whole   rated
	against int // position in list of the group compared with; -1 for all others
	// The rows by patient, where a patient has two shoulders in and these are not taken for those of two; nil elsewhere.
	clusters *monitor.Clusters
	byGroup  *monitor.Spread // over all follow-up
	rare     []string        // labels of the reasons that are put together
}

// rated is what one rate is made of.
type rated struct {
	label    string
	slug     string
	endpoint string
	n        int             // shoulders
	tally    monitor.Tally   // in prosthesis-years
	group    *group          // nil for a reason
	spread   *monitor.Spread // over patients; nil where shoulders are taken as independent
	at       int             // place in the spread
}

// revisionRates estimates how many come to the endpoint for so many prosthesis-years, by group or by reason, and by stretch of
// follow-up.
func revisionRates(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	byReason := asked.Groups.By == plan.ByReason
	if byReason {
		asked.Groups.By = ""
	}
	clustered := asked.Variance == plan.Clustered
	asked.Variance = plan.Independent // curves need no variance here
	f, err := follow(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	if err := f.count(); err != nil {
		return report.Section{}, err
	}
	s := &rates{followed: f, against: -1}
	if err := s.cluster(clustered); err != nil {
		return report.Section{}, err
	}
	if asked.Interval == plan.RatesMidP {
		s.form = monitor.MidP
	}
	f.countEstimates()
	if err := s.gather(p, byReason); err != nil {
		return report.Section{}, err
	}
	if err := s.rateEstimates(); err != nil {
		return report.Section{}, err
	}
	stretches, err := s.stretchSheet()
	if err != nil {
		return report.Section{}, err
	}
	sheets := []report.Sheet{s.rateSheet(byReason), stretches}
	if len(asked.Sensitivity) > 0 {
		again, err := s.sensitivitySheet(p, byReason, clustered)
		if err != nil {
			return report.Section{}, err
		}
		sheets = append(sheets, again)
	}
	s.shorten()
	return report.Section{
		ID:       asked.ID,
		Heading:  s.rateHeading(byReason),
		Question: "How many come to " + s.endpoint.Label + " for the time that implants are under observation?",
		Answer:   s.rateAnswer(),
		Figures:  s.rateFigures(),
		Sheets:   sheets,
		Method:   s.rateMethods(),
		Notes:    append(s.notes(), s.rateNotes()...),
	}, nil
}

// cluster puts the rows of each patient together where that is asked for and any patient has two.
func (s *rates) cluster(asked bool) (err error) {
	s.clustered = asked && s.episodes.Bilateral > 0
	if !s.clustered {
		return nil
	}
	if s.clusters, err = monitor.Cluster(s.data()); err == nil {
		s.byGroup = s.spread(0, math.Inf(1), true)
	}
	return err
}

// spread is the events and the prosthesis-years of a stretch of follow-up by patient, of the groups or of all together.
func (s *rates) spread(from, to float64, byGroup bool) *monitor.Spread {
	if s.clusters == nil {
		return nil
	}
	if byGroup {
		return s.clusters.Spread(1, from, to, daysPerYear, s.episodes.Group, len(s.episodes.Groups))
	}
	return s.clusters.Spread(1, from, to, daysPerYear, nil, 1)
}

// gather makes the tallies of the groups or the reasons, and of the whole.
func (s *rates) gather(p *plan.Plan, byReason bool) error {
	for i := range s.groups {
		g := &s.groups[i]
		tallies, err := monitor.Tallies(g.counts, 1)
		if err != nil {
			return err
		}
		s.list = append(s.list, rated{label: g.label, slug: g.slug, endpoint: s.endpoint.ID, n: g.n, tally: tallies[0].In(daysPerYear), group: g, spread: s.byGroup, at: i})
	}
	s.whole = s.list[len(s.list)-1]
	s.whole.spread, s.whole.at = s.spread(0, math.Inf(1), false), 0
	s.list = s.list[:len(s.list)-1]
	if byReason {
		return s.gatherReasons(p)
	}
	if len(s.list) > 0 && s.asked.Reference != plan.AllOthers {
		return s.findReference()
	}
	return nil
}

// gatherReasons divides the events of the whole by reason. Those too rare to be shown by themselves are put together.
func (s *rates) gatherReasons(p *plan.Plan) error {
	once := *s.followed
	once.asked.Times = nil
	r := &reasons{followed: &once, ended: s.cohort.Reasons(s.endpoint, s.episodes), least: p.Disclosure.MaskBelow}
	alone := make([]reason, len(r.ended.Codes))
	for i := range alone {
		alone[i].codes = []int{i}
	}
	counts, err := survival.Count(r.byReason(alone))
	if err != nil {
		return fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	list := r.gatherRare(r.ranked(counts), counts)
	var clusters *monitor.Clusters
	if s.clusters != nil {
		if clusters, err = monitor.Cluster(r.byReason(list)); err != nil {
			return err
		}
	}
	for i, one := range list {
		x := rated{label: one.label, slug: "reason-" + one.slug, endpoint: one.endpoint, n: s.whole.n, tally: monitor.Tally{Exposure: s.whole.tally.Exposure}}
		for _, code := range one.codes {
			x.tally.Events += counts.Events(0, code+1)
		}
		if clusters != nil {
			x.spread = clusters.Spread(i+1, 0, math.Inf(1), daysPerYear, nil, 1)
		}
		s.list = append(s.list, x)
	}
	s.rare = r.rare
	return nil
}

// findReference looks up the group that the plan names, by code or by label.
func (s *rates) findReference() error {
	g, want := s.asked.Groups, s.asked.Reference
	label := want
	if column := s.cohort.Registry.Column(g.By, s.cohort.Definition.Indication); column != nil && len(g.Bands) == 0 {
		label = column.Field.Label(want)
	}
	if l := g.Labels[want]; l != "" {
		label = l
	}
	var labels []string
	for i, x := range s.list {
		if x.label == label || x.label == want {
			s.against = i
			return nil
		}
		labels = append(labels, x.label)
	}
	return &schemas.Problem{Kind: schemas.PlanProblem, Where: s.asked.Place,
		What:    fmt.Sprintf("no shoulder is in the group %q, with which the others are to be compared", label),
		Allowed: joinWords(labels), Remedy: "name a group that has shoulders, or leave \"reference\" out to compare each with all others"}
}

// compared says whether groups are compared: reasons are not, since they share one exposure.
func (s *rates) compared() bool { return len(s.list) > 1 && s.list[0].group != nil }

// other returns what a group is compared with, and whether it is compared at all.
func (s *rates) other(i int) (monitor.Tally, bool) {
	switch {
	case !s.compared() || i == s.against:
		return monitor.Tally{}, false
	case s.against >= 0:
		return s.list[s.against].tally, true
	}
	tallies := make([]monitor.Tally, len(s.list))
	for k, x := range s.list {
		tallies[k] = x.tally
	}
	return monitor.Others(tallies)[i], true
}
