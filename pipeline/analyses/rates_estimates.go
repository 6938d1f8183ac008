package analyses

import (
	"strings"

	"deltoid/pipeline/report"
	"deltoid/stats/monitor"
)

const unitProsthesisYears = "prosthesis-years"

func (s *rates) unit() string { return "per " + plain(s.asked.Per) + " " + unitProsthesisYears }

func (s *rates) rateID(x rated) string  { return s.id("rate", x.slug) }
func (s *rates) yearsID(x rated) string { return s.id("years", x.slug) }

// eventsID is the count of the events of a group or a reason.
func (s *rates) eventsID(x rated) string {
	if x.group == nil {
		return s.id("events", x.slug)
	}
	return s.countID(*x.group, "ended-"+slug(string(s.episodes.Causes[0])))
}

// all lists the groups or reasons with the whole last.
func (s *rates) all() []rated { return append(s.list[:len(s.list):len(s.list)], s.whole) }

// rateEstimates records exposure, events and rates, and how groups compare.
func (s *rates) rateEstimates() error {
	from, err := s.rateRows()
	if err != nil {
		return err
	}
	for i, x := range s.list {
		if other, yes := s.other(i); yes {
			if err := s.contrasts(i, x, other); err != nil {
				return err
			}
		}
	}
	if s.compared() {
		return s.homogeneity(from)
	}
	return nil
}

// rateRows records exposure, events and rates, and returns the ids of the rates.
func (s *rates) rateRows() (from []string, err error) {
	var parts []string
	for _, x := range s.all() {
		if x.group != nil {
			e := s.estimated(s.yearsID(x), *x.group, unitProsthesisYears, unitProsthesisYears)
			e.Value, e.N, e.Method = report.Some(x.tally.Exposure), report.Some(float64(x.n)), "days under observation, summed, divided by 365.25"
			s.add(e)
		} else {
			parts = append(parts, s.add(s.counted(s.eventsID(x), x, "events: "+x.label, int(x.tally.Events))))
		}
		if err := s.rate(s.rateID(x), x, "rate of "+s.endpoint.Label, x.tally); err != nil {
			return nil, err
		}
		from = append(from, s.rateID(x))
	}
	if len(parts) > 0 {
		s.book.total(s.eventsID(s.whole), parts...)
	}
	return from, nil
}

// counted makes a count of a group or a reason.
func (s *rates) counted(id string, x rated, measure string, n int) report.Estimate {
	e := report.Count(id, s.asked.ID, measure, n, "revisions")
	if s.endpoint.Event != "revised" && s.endpoint.Event != "" {
		e.Unit = "events"
	}
	e.Endpoint, e.Cohort, e.Group = x.endpoint, s.cohort.Name, s.labelOf(x)
	return e
}

// labelOf is the group of an estimate: that of the shoulders, which for a reason are all.
func (s *rates) labelOf(x rated) string {
	if x.group == nil {
		return s.whole.label
	}
	return x.label
}

func (s *rates) rate(id string, x rated, measure string, t monitor.Tally) error {
	r, err := s.rateOf(x, t)
	if err != nil {
		return err
	}
	e := report.Estimate{ID: id, Analysis: s.asked.ID, Endpoint: x.endpoint, Cohort: s.cohort.Name, Group: s.labelOf(x), Measure: measure,
		Unit: s.unit(), N: report.Some(float64(x.n)), Events: report.Some(float64(t.Events)), Status: report.Estimated,
		Method: "events / " + unitProsthesisYears + ", " + s.form.String() + " Poisson interval" + s.effectWords()}
	if x.group == nil && x.slug != s.whole.slug {
		e.Measure += ": " + x.label
	}
	if r.Status != monitor.Estimated {
		e.Status, e.Note = report.NotIdentifiable, "nobody was under observation for any time, so there is no rate"
	} else if e.Value = report.Some(r.Value); r.Limits != monitor.Estimated {
		e.Note = noRateInterval(r.Limits)
	} else {
		e.Lower, e.Upper, e.Level = report.Some(r.Lower), report.Some(r.Upper), report.Some(r.Level)
		if t.Events == 0 {
			e.Note = "no event; the upper limit says what the " + unitProsthesisYears + " rule out"
		}
	}
	s.add(e)
	return nil
}

// rateOf is the rate of a group or reason, with the design effect of patients where there is one.
func (s *rates) rateOf(x rated, t monitor.Tally) (monitor.Rate, error) {
	if x.spread == nil {
		return t.Rate(s.asked.Per, s.asked.Level, s.form)
	}
	return x.spread.Rate(x.at, s.asked.Per, s.asked.Level, s.form)
}

// effectWords ends a method that allows for two shoulders of a patient.
func (s *rates) effectWords() string {
	if s.clustered {
		return ", at the events divided by the design effect of patients with two shoulders"
	}
	return ""
}

// noRateInterval says why a rate, a ratio or a difference has no interval.
func noRateInterval(why monitor.Status) string {
	if why == monitor.OneCluster {
		return "no interval: all shoulders of a group are of one patient, so nothing can be said about how much patients differ"
	}
	return "no interval: the same patients move both rates alike"
}

// withWhom names what a group is compared with.
func (s *rates) withWhom() string {
	if s.against < 0 {
		return "all others"
	}
	return s.list[s.against].label
}

// fromOf lists the estimates from which a comparison of a group is worked out.
func (s *rates) fromOf(x rated) []string {
	if s.against < 0 {
		return []string{s.rateID(x), s.rateID(s.whole)}
	}
	return []string{s.rateID(x), s.rateID(s.list[s.against])}
}

func (s *rates) contrast(id string, x rated, measure, unit, method string) report.Estimate {
	s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: id, From: s.fromOf(x)})
	e := s.estimated(id, *x.group, measure+" against "+s.withWhom(), unit)
	e.Method = method
	return e
}

// compare works out the ratio and the difference of a group and what it is compared with.
func (s *rates) compare(i int, x rated, other monitor.Tally) (r monitor.RateRatio, d monitor.RateDifference, err error) {
	if s.byGroup == nil {
		if r, err = monitor.Ratio(x.tally, other, s.asked.Level, s.form); err == nil {
			d, err = monitor.Difference(x.tally, other, s.asked.Per, s.asked.Level, s.form)
		}
		return r, d, err
	}
	with := s.against
	if with < 0 {
		with = monitor.AllOthers
	}
	if r, err = s.byGroup.Ratio(i, with, s.asked.Level, s.form); err == nil {
		d, err = s.byGroup.Difference(i, with, s.asked.Per, s.asked.Level, s.form)
	}
	return r, d, err
}

// contrasts records the ratio of a rate to another, its p-value, and the difference.
func (s *rates) contrasts(i int, x rated, other monitor.Tally) error {
	r, d, err := s.compare(i, x, other)
	if err != nil {
		return err
	}
	method := s.form.String() + ", conditional on the events of both" + s.effectWords()
	e := s.contrast(s.id("ratio", x.slug), x, "rate ratio", report.UnitRatio, method)
	p := s.contrast(s.id("ratio", x.slug, "p"), x, "p value of no difference", report.UnitPValue, method+"; twice the smaller tail")
	settleRatio(&e, &p, r)
	s.add(e)
	s.add(p)
	e = s.contrast(s.id("difference", x.slug), x, "rate difference", s.unit(), "the "+s.form.String()+" intervals of both rates, their arms squared and added"+s.effectWords())
	if d.Status != monitor.Estimated {
		e.Status, e.Note = report.NotIdentifiable, "one of the two has no "+unitProsthesisYears
	} else if e.Value = report.Some(d.Value); d.Limits != monitor.Estimated {
		e.Note = noRateInterval(d.Limits)
	} else {
		e.Lower, e.Upper, e.Level = report.Some(d.Lower), report.Some(d.Upper), report.Some(s.asked.Level)
	}
	s.add(e)
	return nil
}

// settleRatio fills in a ratio and its p-value, or says why there is none.
func settleRatio(e, p *report.Estimate, r monitor.RateRatio) {
	switch r.Status {
	case monitor.Estimated:
		if e.Value = report.Some(r.Value); r.Limits != monitor.Estimated {
			e.Note = noRateInterval(r.Limits)
			break
		}
		e.Value, e.Lower, e.Upper, e.Level = report.Some(r.Value), report.Some(r.Lower), report.Some(r.Upper), report.Some(r.Level)
	case monitor.NoReference:
		e.Status = report.NotIdentifiable
		e.Note = "no event in the rate that is compared with, so the ratio has no upper end; look at the difference"
	case monitor.NoEvents:
		e.Status, e.Note = report.NoEvents, "no event in either"
	default:
		e.Status, e.Note = report.NotIdentifiable, "one of the two has no "+unitProsthesisYears
	}
	switch {
	case r.Limits == monitor.OneCluster || r.Limits == monitor.NotComparable:
		p.Status, p.Note = report.NotIdentifiable, noRateInterval(r.Limits)
	case r.Status == monitor.Estimated || r.Status == monitor.NoReference:
		p.Value = report.Some(r.P)
	default:
		p.Status, p.Note = e.Status, e.Note
	}
}

// homogeneity records the test of whether all groups could have one rate.
func (s *rates) homogeneity(from []string) error {
	tallies := make([]monitor.Tally, len(s.list))
	for i, x := range s.list {
		tallies[i] = x.tally
	}
	test, err := monitor.Homogeneity(tallies)
	if s.byGroup != nil {
		test, err = s.byGroup.Homogeneity()
	}
	if err != nil {
		return err
	}
	e := s.estimated(s.id("one-rate", "p"), *s.whole.group, "p value of one rate for all groups", report.UnitPValue)
	e.Method = "χ² of observed and expected events, degrees of freedom: " + plain(float64(test.DF))
	if s.clustered {
		e.Method += ", divided by the mean design effect of patients with two shoulders"
	}
	if test.Status == monitor.Estimated {
		e.Value = report.Some(test.P)
	} else {
		e.Status, e.Note = report.NotIdentifiable, test.Status.String()
	}
	s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: s.add(e), From: from})
	return nil
}

// joinWords makes a list of words: "a, b, c".
func joinWords(list []string) string { return strings.Join(list, ", ") }
