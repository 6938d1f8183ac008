package analyses

import (
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/survival"
)

// implant is one analysis of implant survival while it is being written down.
type implant struct {
	*followed
	measures []measure // the headline first
}

// measure is one of the ways to answer how many are revised.
type measure struct {
	slug     string
	name     string // short, for a table below a heading that names the endpoint
	method   string
	question string // what it answers, as a sentence
	curve    func(g group) curve
	flip     bool // 1 − the curve
}

// curve is what the estimators of survival and incidence have in common.
type curve interface {
	Interval(t, level float64, scale survival.Scale) (survival.Point, error)
	Influence(t float64) *survival.Influence
}

// implantSurvival estimates survival free of the endpoint and its cumulative incidence by group, from one counting pass
// over whole days.
func implantSurvival(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	f, err := follow(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	if err := f.count(); err != nil {
		return report.Section{}, err
	}
	s := &implant{f, f.chooseMeasures()}
	s.countEstimates()
	ticks := ticksTo(asked.Until)
	if err := s.estimates(ticks); err != nil {
		return report.Section{}, err
	}
	figure, err := s.figure(s.measures[0], ticks)
	if err != nil {
		return report.Section{}, err
	}
	table, err := s.table()
	if err != nil {
		return report.Section{}, err
	}
	section := report.Section{
		ID:       s.asked.ID,
		Heading:  s.heading(),
		Question: s.question(),
		Answer:   s.answer(),
		Figures:  []report.Figure{figure},
		Sheets:   []report.Sheet{table},
		Method:   s.methodText(),
		Notes:    s.notes(),
	}
	if len(asked.Shares) > 0 {
		sheet, err := s.shares()
		if err != nil {
			return section, err
		}
		section.Sheets = append(section.Sheets, sheet)
	}
	if len(asked.Sensitivity) > 0 {
		sheet, err := s.sensitivitySheet(p)
		if err != nil {
			return section, err
		}
		section.Sheets = append(section.Sheets, sheet)
	}
	if asked.Hazard > 0 {
		if err := s.addHazard(&section, ticks); err != nil {
			return section, err
		}
	}
	section.Sheets = append(section.Sheets, s.weightSheet()...)
	section.Sheets = append(section.Sheets, s.countTable())
	s.brief()
	return section, nil
}

// ofImplant ends the sentence on what would happen if nothing else could: of a revision, it speaks of the implant.
func (s *followed) ofImplant() string {
	if isRevision(&s.endpoint) {
		return ": what speaks of the implant."
	}
	return "."
}

// chooseMeasures returns the measures that the endpoint allows, the headline first. Without a competing event there is no
// cumulative incidence beside 1 − survival: the two would be one number under two names.
func (s *followed) chooseMeasures() []measure {
	limit, incidence := s.limitVariance()+s.weightedBy(), s.varianceWords("delta-method variance")+s.weightedBy()
	productLimit := func(g group) curve { return g.limit }
	free := measure{slug: "free", name: "survival", method: "product-limit, " + limit, curve: productLimit,
		question: "The share still free of " + s.endpoint.Label + ", if no other event could come first."}
	complement := measure{slug: "net", name: "1 − survival", method: "1 − product-limit, " + limit,
		curve: productLimit, flip: true,
		question: "How many would come to " + s.endpoint.Label + " if no other event could come first" + s.ofImplant()}
	if len(s.episodes.Causes) == 1 {
		if s.asked.Headline == plan.LeadSurvival {
			return []measure{free, complement}
		}
		return []measure{complement, free}
	}
	complement.question = "How many would come to " + s.endpoint.Label + " by then if nobody " + s.competingWords(" or ") +
		" first" + s.ofImplant()
	actual := measure{slug: "incidence", name: "cumulative incidence", method: "Aalen–Johansen, " + incidence,
		curve: func(g group) curve { return g.incidence },
		question: "How many do come to " + s.endpoint.Label + " by then, given that some patients " + s.competingWords(" or ") +
			" first: what a hospital must plan for."}
	if s.asked.Headline == plan.LeadSurvival {
		return []measure{free, complement, actual}
	}
	return []measure{actual, complement, free}
}

var causeVerbs = map[cohorts.Cause]string{
	cohorts.Revised:       "were revised",
	cohorts.OtherRevision: "were revised for another reason",
	cohorts.Died:          "died",
	cohorts.OtherEvent:    "had another event",
}

// competingWords says what happens to those with a competing event: "died", "died or had another event".
func (s *followed) competingWords(or string) string {
	var words []string
	for _, c := range s.endpoint.Competing {
		words = append(words, causeVerbs[c])
	}
	return strings.Join(words, or)
}

func (s *followed) pointID(m measure, g group, t float64) string {
	return s.id(m.slug, g.slug, s.timeMark(t))
}
