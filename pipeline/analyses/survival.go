package analyses

import (
	"fmt"
	"math"
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/competing"
	"deltoid/stats/survival"
)


// implant is one analysis of implant survival while it is being written down.
type implant struct {
	*book
	asked    plan.Analysis
	endpoint cohorts.Endpoint
	cohort   *cohorts.Cohort
	episodes *cohorts.Episodes
	groups   []group
	measures []measure // the headline first
	spoken   func(label string) string
	coarse   bool // follow-up was recorded in months or years and rounded to days
}

// group is one group of an analysis with its counts.
type group struct {
	label  string
	slug   string
	counts *survival.Counts
	at     int // its position in counts
}

// measure is one of the ways to answer how many are revised.
type measure struct {
	slug, name, method string
	question           string // what it answers, as a sentence
	curve              func(g group) curve
	flip               bool // 1 − the curve
}

// curve is what the estimators of survival and incidence have in common.
type curve interface {
	Interval(t, level float64, scale survival.Scale) (survival.Point, error)
}

// implantSurvival estimates survival free of the endpoint and its cumulative incidence by group, from one counting pass
// over whole days.
func implantSurvival(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	s, err := countImplants(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	s.countEstimates()
	ticks := ticksTo(asked.Until)
	if err := s.estimates(ticks); err != nil {
		return report.Section{}, err
	}
	figure, err := s.figure(ticks)
	if err != nil {
		return report.Section{}, err
	}
	table, err := s.table()
	if err != nil {
		return report.Section{}, err
	}
	return report.Section{
		ID:       s.asked.ID,
		Heading:  s.heading(),
		Question: s.question(),
		Answer:   s.answer(),
		Figures:  []report.Figure{figure},
		Sheets:   []report.Sheet{table, s.countTable()},
		Method:   s.methodText(),
		Notes:    s.notes(),
	}, nil
}

func countImplants(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (*implant, error) {
	s := &implant{book: b, asked: asked, cohort: c, spoken: speaker(c.Registry.Table.Schema.Field(asked.Groups.By))}
	if e := p.Endpoint(asked.Endpoint); e != nil {
		s.endpoint = *e
	}
	s.coarse = p.Coarse()
	var err error
	if s.episodes, err = c.Episodes(s.endpoint, p.FollowUp, asked.Groups); err != nil {
		return nil, err
	}
	e := s.episodes
	counts, err := survival.Count(survival.Data{Entry: e.Entry, Exit: e.Exit, Cause: e.Cause, Group: e.Group,
		Groups: len(e.Groups), Causes: len(e.Causes)})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", asked.Place, err)
	}
	labels := e.Groups
	if len(labels) > 1 {
		labels = append(labels[:len(labels):len(labels)], cohorts.All)
	}
	parts := slugs(labels)
	for i := range e.Groups {
		s.groups = append(s.groups, group{labels[i], parts[i], counts, i})
	}
	if len(labels) > len(e.Groups) {
		s.groups = append(s.groups, group{cohorts.All, parts[len(parts)-1], counts.Pooled(), 0})
	}
	s.measures = s.chooseMeasures()
	return s, nil
}

// chooseMeasures returns the measures that the endpoint allows. Without a competing event there is no cumulative
// incidence beside 1 − survival: the two would be one number under two names.
func (s *implant) chooseMeasures() []measure {
	productLimit := func(g group) curve { return g.counts.ProductLimit(g.at, 1) }
	free := measure{slug: "free", name: "survival free of " + s.endpoint.Label, method: "product-limit", curve: productLimit,
		question: "The share still free of " + s.endpoint.Label + ", if no other event could come first."}
	complement := measure{slug: "net", name: "1 − survival free of " + s.endpoint.Label, method: "1 − product-limit",
		curve: productLimit, flip: true,
		question: "How many would come to " + s.endpoint.Label + " if no other event could come first: what speaks of the implant."}
	if len(s.episodes.Causes) == 1 {
		if s.asked.Headline == plan.LeadSurvival {
			return []measure{free, complement}
		}
		return []measure{complement, free}
	}
	complement.question = "How many would come to " + s.endpoint.Label + " by then if nobody " + s.competingWords(" or ") +
		" first: what speaks of the implant."
	incidence := measure{slug: "incidence", name: "cumulative incidence of " + s.endpoint.Label, method: "Aalen–Johansen",
		curve: func(g group) curve { return competing.Incidence(g.counts, g.at, 1) },
		question: "How many do come to " + s.endpoint.Label + " by then, given that some patients " + s.competingWords(" or ") +
			" first: what a hospital must plan for."}
	if s.asked.Headline == plan.LeadSurvival {
		return []measure{free, complement, incidence}
	}
	return []measure{incidence, complement, free}
}

var causeVerbs = map[cohorts.Cause]string{
	cohorts.Revised:       "were revised",
	cohorts.OtherRevision: "were revised for another reason",
	cohorts.Died:          "died",
	cohorts.OtherEvent:    "had another event",
}

// competingWords says what happens to those with a competing event: "died", "died or had another event".
func (s *implant) competingWords(or string) string {
	var words []string
	for _, c := range s.endpoint.Competing {
		words = append(words, causeVerbs[c])
	}
	return strings.Join(words, or)
}

// id makes the id of an estimate of this analysis.
func (s *implant) id(parts ...string) string { return s.asked.ID + "." + strings.Join(parts, ".") }

func (s *implant) countID(g group, what string) string { return s.id(what, g.slug) }

func (s *implant) pointID(m measure, g group, t float64) string {
	return s.id(m.slug, g.slug, plain(t)+s.unitMark())
}

func (s *implant) riskID(g group, t float64) string {
	return s.id("at-risk", g.slug, plain(t)+s.unitMark())
}

// unitMark is the unit's first letter, or two for months, as it stands in ids.
func (s *implant) unitMark() string {
	if s.asked.Unit == schemas.Months {
		return "mo"
	}
	return string(s.asked.Unit[:1])
}

// days turns a time of the plan into days. It is the only place where an analysis leaves its unit. Where the export
// itself counts in months or years, the time is rounded to a day as the export's were, so that an event at 120 months
// has happened by 120 months.
func (s *implant) days(t float64) float64 {
	per, _ := schemas.DaysPer(s.asked.Unit)
	if s.coarse {
		return math.Round(t * per)
	}
	return t * per
}

// inUnit turns days into the plan's unit for display.
func (s *implant) inUnit(days float64) float64 {
	per, _ := schemas.DaysPer(s.asked.Unit)
	return days / per
}

func (s *implant) total() group { return s.groups[len(s.groups)-1] }

// parts returns the groups without the total.
func (s *implant) parts() []group { return s.groups[:len(s.episodes.Groups)] }
