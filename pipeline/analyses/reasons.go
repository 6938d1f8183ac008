package analyses

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/competing"
	"deltoid/stats/survival"
)

// reasons is one analysis of the reasons for revision while it is being written down.
type reasons struct {
	*followed
	ended  cohorts.Reasons
	least  int                // a smaller number of revisions is not shown
	list   []reason           // the most frequent first
	rare   []string           // labels of the reasons that are put together
	all    measure            // for any reason
	curves [][]competingCurve // by group and reason
}

// reason is one reason for revision. Its estimates have an endpoint of their own, so that nobody takes its events for
// those of any reason.
type reason struct {
	label    string
	slug     string
	endpoint string
	codes    []int // positions in the reasons that occur
	events   int64
}

// competingCurve is the cumulative incidence of a reason in a group.
type competingCurve = *competing.Curve

// revisionReasons estimates the cumulative incidence of each reason for revision, the others and the endpoint's competing
// events competing. At every time they add up to that of any reason.
func revisionReasons(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	f, err := follow(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	if err := f.count(); err != nil {
		return report.Section{}, err
	}
	s := newReasons(f, p)
	s.countEstimates()
	ticks := ticksTo(asked.Until)
	s.risks(merged(ticks, asked.Times))
	if err := s.points(s.all); err != nil {
		return report.Section{}, err
	}
	section := report.Section{ID: asked.ID, Heading: s.reasonsHeading(), Question: "Why are implants revised?"}
	if len(s.ended.Codes) > 0 {
		if err := s.split(); err != nil {
			return section, fmt.Errorf("%s: %w", asked.Place, err)
		}
		if err := s.reasonEstimates(); err != nil {
			return section, fmt.Errorf("%s: %w", asked.Place, err)
		}
		section.Figures = s.figures(ticks)
		section.Sheets = s.sheets()
	}
	if len(asked.Sensitivity) > 0 {
		sheet, err := s.sensitivitySheet(p)
		if err != nil {
			return section, fmt.Errorf("%s: %w", asked.Place, err)
		}
		section.Sheets = append(section.Sheets, sheet)
	}
	section.Sheets = append(section.Sheets, s.weightSheet()...)
	section.Answer = s.answer()
	section.Method = s.methodText()
	section.Notes = s.absentNote()
	if !s.toldElsewhere(p) {
		section.Answer = append(section.Answer, s.countSentence())
		section.Sheets = append(section.Sheets, s.countTable())
		section.Method = append([]report.Text{s.timeText()}, append(section.Method, s.intervalText())...)
		section.Notes = append(s.notes(), section.Notes...)
	}
	return section, nil
}

func newReasons(f *followed, p *plan.Plan) *reasons {
	s := &reasons{followed: f, ended: f.cohort.Reasons(f.endpoint, f.episodes), least: p.Disclosure.MaskBelow}
	s.all = s.cumulative()
	return s
}

// cumulative is the measure that the incidences of the reasons add up to: that of any reason, or 1 − survival where nothing
// else competes, which is then the same.
func (s *followed) cumulative() measure {
	all := s.chooseMeasures()
	if i := slices.IndexFunc(all, func(m measure) bool { return m.slug == "incidence" }); i >= 0 {
		return all[i]
	}
	return all[slices.IndexFunc(all, func(m measure) bool { return m.slug == "net" })]
}

// split counts the episodes again with every reason as a cause of its own, and estimates the incidence of each.
func (s *reasons) split() error {
	alone := make([]reason, len(s.ended.Codes))
	for i := range alone {
		alone[i].codes = []int{i}
	}
	d := s.byReason(alone)
	counts, err := survival.Count(d)
	if err != nil {
		return err
	}
	s.list = s.gatherRare(s.ranked(counts), counts)
	d = s.byReason(s.list)
	if counts, err = survival.Count(d); err != nil {
		return err
	}
	layout, err := s.layOut(d)
	if err != nil {
		return err
	}
	for i := range s.groups {
		own := counts.Pooled()
		if i < counts.Groups() {
			own = counts.Select(i)
		}
		set, rows := competing.All(own, 0), s.laidOut(layout, i)
		curves := make([]competingCurve, len(s.list))
		for j := range s.list {
			curves[j] = set.Cause(j + 1)
			if rows != nil {
				if curves[j], err = curves[j].RobustFrom(rows); err != nil {
					return err
				}
			}
		}
		s.curves = append(s.curves, curves)
	}
	return nil
}

// byReason is the episodes with the reasons of a list as their first causes, before the competing events.
func (s *reasons) byReason(list []reason) survival.Data {
	code := make([]uint8, len(s.ended.Codes))
	for j, r := range list {
		for _, c := range r.codes {
			code[c] = uint8(j) + 1
		}
	}
	d := s.data()
	d.Causes = len(list) + len(s.episodes.Causes) - 1
	d.Cause = make([]uint8, len(s.episodes.Cause))
	for i, cause := range s.episodes.Cause {
		switch {
		case cause == 1:
			d.Cause[i] = code[s.ended.Of[i]]
		case cause > 1:
			d.Cause[i] = uint8(len(list)) + cause - 1
		}
	}
	return d
}

// ranked puts the most frequent reason first; none recorded is always last.
func (s *reasons) ranked(counts *survival.Counts) []reason {
	parts := slugs(s.ended.Labels)
	var list []reason
	for i, code := range s.ended.Codes {
		r := reason{label: s.ended.Labels[i], slug: parts[i], endpoint: s.endpoint.ID + "." + parts[i], codes: []int{i}}
		for g := range counts.Groups() {
			r.events += counts.Events(g, i+1)
		}
		if code == "" {
			r.label, r.events = "Reason not recorded", -1
		}
		list = append(list, r)
	}
	slices.SortStableFunc(list, func(a, b reason) int { return cmp.Compare(b.events, a.events) })
	return list
}

// othersTogether is the slug of the reasons that are put together.
const othersTogether = "others-together"

// gatherRare puts those reasons together of which some group has, by some time, a number of revisions too small to be shown;
// and then the rarest of the others too, as long as the numbers of those together are too small. What is left can be shown
// whole: a table of many small numbers, each of them hidden with its neighbours, would say nothing.
func (s *reasons) gatherRare(list []reason, counts *survival.Counts) []reason {
	var apart []reason
	together := reason{label: "Other reasons", slug: othersTogether, endpoint: s.endpoint.ID + "." + othersTogether}
	for _, r := range list {
		if s.tooFew(r, counts) {
			s.rare = append(s.rare, r.label)
			together.codes = append(together.codes, r.codes...)
		} else {
			apart = append(apart, r)
		}
	}
	for len(apart) > 0 && len(together.codes) > 0 && s.tooFew(together, counts) {
		last := len(apart) - 1
		s.rare = append(s.rare, apart[last].label)
		together.codes = append(together.codes, apart[last].codes...)
		apart = apart[:last]
	}
	if len(together.codes) == 0 {
		return apart
	}
	// What the export itself calls another reason would stand beside them under nearly the same name.
	if i := slices.IndexFunc(apart, func(r reason) bool { return s.ended.Codes[r.codes[0]] == "other" }); i >= 0 {
		s.rare = append(s.rare, apart[i].label)
		together.codes = append(together.codes, apart[i].codes...)
		apart = slices.Delete(apart, i, i+1)
	}
	return append(apart, together)
}

// tooFew says whether a reason has, in any group by any time asked for, some revisions but fewer than may be shown.
func (s *reasons) tooFew(r reason, counts *survival.Counts) bool {
	for g := range counts.Groups() {
		table := counts.LifeTable(g)
		for _, t := range append([]float64{math.Inf(1)}, s.asked.Times...) {
			n := int64(0)
			for row, day := range table.Time {
				for _, c := range r.codes {
					if day <= s.days(t) {
						n += table.Left[row*(table.Causes+1)+c+1]
					}
				}
			}
			if n > 0 && n < int64(s.least) {
				return true
			}
		}
	}
	return false
}

func (s *reasons) reasonID(r reason, g group, t float64) string {
	return s.id("reason", r.slug, g.slug, s.timeMark(t))
}

func (s *reasons) eventsID(r reason, g group, t float64) string {
	return s.id("events", r.slug, g.slug, s.timeMark(t))
}

// reasonEstimates records the incidence and the events of every reason by every time, and how the events add up: over the
// reasons of a group, and over the groups of a reason.
func (s *reasons) reasonEstimates() error {
	for i, g := range s.groups {
		for _, t := range s.asked.Times {
			var parts []string
			for j, r := range s.list {
				e, err := s.reasonEstimate(r, g, s.curves[i][j], t)
				if err != nil {
					return err
				}
				s.add(e)
				parts = append(parts, s.eventCount(r, g, t, int(e.Events.X)))
			}
			any := reason{label: "any reason", slug: "any", endpoint: s.endpoint.ID}
			whole := s.eventCount(any, g, t, int(s.get(s.pointID(s.all, g, t)).Events.X))
			s.book.total(whole, parts...)
		}
	}
	if len(s.groups) == len(s.parts()) {
		return nil
	}
	for _, r := range s.list {
		for _, t := range s.asked.Times {
			var parts []string
			for _, g := range s.parts() {
				parts = append(parts, s.eventsID(r, g, t))
			}
			s.book.total(s.eventsID(r, s.total(), t), parts...)
		}
	}
	return nil
}

func (s *reasons) reasonEstimate(r reason, g group, c competingCurve, t float64) (report.Estimate, error) {
	p, err := c.Interval(s.days(t), s.asked.Level, scaleOf(s.asked.Interval))
	if err != nil {
		return report.Estimate{}, err
	}
	m := measure{method: "Aalen–Johansen, " + s.varianceWords("delta-method variance") + s.weightedBy()}
	e := s.at(s.estimated(s.reasonID(r, g, t), g, "cumulative incidence of revision: "+r.label, report.UnitProbability), t)
	e.Endpoint = r.endpoint
	e.N, e.Events = report.Some(float64(g.n)), report.Some(float64(eventsBy(c, s.days(t))))
	e.Method = m.method + ", interval on the " + string(s.asked.Interval) + " scale"
	s.settle(&e, m, g, p)
	return e, nil
}

// eventsBy counts the events of a curve up to a time.
func eventsBy(c competingCurve, t float64) (n int64) {
	for i, at := range c.Time {
		if at <= t {
			n += c.Events[i]
		}
	}
	return n
}

func (s *reasons) eventCount(r reason, g group, t float64, n int) string {
	e := report.Count(s.eventsID(r, g, t), s.asked.ID, "revisions by then: "+r.label, n, "revisions")
	e.Endpoint, e.Cohort, e.Group = r.endpoint, s.cohort.Name, g.label
	return s.add(s.at(e, t))
}
