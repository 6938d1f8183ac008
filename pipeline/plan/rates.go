package plan

import (
	"slices"

	"deltoid/schemas"
)

// ByReason is what stands for the field of the groups where rates are asked for by reason for revision: the shoulders are
// not divided, their revisions are.
const ByReason = "reason"

// AllOthers compares each group with all the others together.
const AllOthers = "all others"

// RatesExact and RatesMidP are the intervals of a rate.
const (
	RatesExact Interval = "exact"
	RatesMidP  Interval = "mid-P"
)

// defaultPer is how many prosthesis-years a rate is for.
const defaultPer = 100

// The times that divide the follow-up of rates when the plan does not say where: each year of the whole cohort; of groups,
// whose events are fewer, longer stretches.
var (
	yearByYear   = []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}
	fewStretches = []float64{1, 2, 5, 10}
)

// byReason says whether revisions, not shoulders, are to be grouped.
func (a *Analysis) byReason() bool { return a.Kind == RevisionRates && a.Groups.By == ByReason }

// rates reads the keys of revision rates and fills in what is left out.
func (r *reader) rates(s section, a *Analysis, f *schemas.Field) {
	if a.Kind == RevisionRates {
		a.Interval, a.Per, a.Reference = RatesExact, defaultPer, AllOthers
		if s.values["times"] == nil && a.Unit == schemas.Years {
			a.Times = slices.Clone(yearByYear)
			if a.Groups.By != "" && !a.byReason() {
				a.Times = slices.Clone(fewStretches)
			}
		}
	}
	if v := s.values["per"]; v != nil {
		const allowed = "a number above 0"
		x, ok := r.number(v, "per", allowed)
		if ok && !(x > 0) {
			r.malformed(v, "per is "+cut(v.Value), allowed, "write 100 for a rate per 100 prosthesis-years")
		}
		a.Per = x
	}
	if v := s.values["reference"]; v != nil {
		r.reference(s, a, f)
	}
	if !a.byReason() {
		return
	}
	for _, key := range []string{"labels", "order", "bands", "split"} {
		if v := s.values[key]; v != nil {
			r.wrong(v, key+" stands beside the reasons for revision", key+" with a field of the shoulders", "remove one of the two")
		}
	}
}

// reference reads the group that the others are compared with.
func (r *reader) reference(s section, a *Analysis, f *schemas.Field) {
	v := s.values["reference"]
	word, ok := r.code(v, "reference")
	switch {
	case !ok:
	case s.values["by"] == nil:
		r.groupless("reference", v)
	case a.byReason():
		r.wrong(v, "reference stands beside the reasons for revision", "reference with groups of shoulders",
			"remove it: the reasons share one number of prosthesis-years")
	case word == AllOthers || f == nil || a.Groups.Bands != nil || r.hasCode(v, f):
		a.Reference = word
	}
}

// interval reads how the intervals are made.
func (r *reader) interval(s section, a *Analysis) {
	v := s.values["interval"]
	if v == nil {
		return
	}
	scales, forms := []Interval{LogLogInterval, LogInterval, PlainInterval}, []Interval{RatesExact, RatesMidP}
	word, ok := r.choice(v, "interval", words(slices.Concat(scales, forms)))
	if !ok {
		return
	}
	fits := scales
	if a.Kind == RevisionRates {
		fits = forms
	}
	if a.Kind != "" && !slices.Contains(fits, Interval(word)) {
		r.wrong(v, "interval is "+word+" in an analysis of the kind "+quote(string(a.Kind)), join(words(fits)), "write "+quote(string(fits[0])))
	}
	a.Interval = Interval(word)
}
