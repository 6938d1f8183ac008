package competing

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"deltoid/stats/covariates"
	"deltoid/stats/survival"
)

// CensoringTies says who is at risk of being censored at a time at which others have an event.
// Two public programs differ here, and with whole days the two happen together all the time.
type CensoringTies uint8

const (
	// EventsFirst takes those with an event at a time as gone before anyone is censored at it. It
	// is the one used unless another is asked for, because it is the rule of every other estimate
	// here: an event comes before a censoring of the same time.
	EventsFirst CensoringTies = iota
	// AtOnce counts them as still at risk of being censored, as the program of the inventors of the
	// method does.
	AtOnce
)

// String returns the convention as a footnote gives it.
func (c CensoringTies) String() string {
	return [...]string{EventsFirst: "events before censorings of the same time", AtOnce: "events and censorings of the same time at once"}[c]
}

// SubdistributionOptions are the choices of the model; the zero value is the usual one.
type SubdistributionOptions struct {
	Ties CensoringTies
	// KnownCensoring leaves the part of the variance out that comes from estimating how people are
	// censored.
	KnownCensoring bool
	// Steps of Newton's method at most; 0 is covariates.DefaultSteps.
	Steps int
}

// SubdistributionFit is a model of the cumulative incidence of one cause. Coefficients are log
// ratios of subdistribution hazards: above 0 the incidence is higher.
type SubdistributionFit struct {
	covariates.Fit
	Cause int
	Ties  CensoringTies
	// Competing is the number of events of other causes.
	Competing int
	model     *subdistribution
	options   SubdistributionOptions
	ascent    *covariates.Ascent
}

// Subdistribution fits the proportional hazards model of Fine and Gray for the cumulative
// incidence of a cause:
//
//	1 − F(t | x) = exp(−A(t) e^{βx})
//
// Those who have an event of another cause stay at risk, with a weight G(t−)/G(T−) that falls as
// they would have been censored, G being the product-limit estimate of staying uncensored, made in
// each group of the data (Data.Group; one group is the usual choice). Tied events of the cause
// are treated by Breslow's method. The robust variance of the fit is that of the inventors, which
// knows that G is estimated; rows of one cluster are summed.
//
// The weights split into a factor of t and a factor of T, so that sums over those at risk are a
// backward sum of those still under observation and a forward sum of those with another event: the
// cost is linear in rows, and beside the rows tables of the size columns × distinct times are kept.
// Late entries are refused.
//
// Sources: Fine & Gray, J. Am. Stat. Assoc. 94 (1999) 496–509; for clusters Zhou et al.,
// Biostatistics 13 (2012) 371–383.
func Subdistribution(d survival.Data, cause int, columns []covariates.Column, o SubdistributionOptions) (*SubdistributionFit, error) {
	counts, err := survival.Count(d)
	if err != nil {
		return nil, err
	}
	for g := range counts.Groups() {
		if counts.LateEntries(g) > 0 {
			return nil, fmt.Errorf("group %d has %d rows with a late entry, for which there is no such model", g, counts.LateEntries(g))
		}
	}
	if cause < 1 || cause > counts.Causes() {
		return nil, fmt.Errorf("cause %d, want 1 to %d", cause, counts.Causes())
	}
	design, err := covariates.NewDesign(columns, len(d.Exit), false)
	if err != nil {
		return nil, err
	}
	f := &SubdistributionFit{Cause: cause, Ties: o.Ties, options: o, model: newSubdistribution(d, cause, o, design, counts)}
	f.Fit = *covariates.NewFit(design, len(d.Exit), int(f.model.own))
	f.Competing = int(f.model.other)
	if !f.possible() {
		return f, nil
	}
	f.ascent = covariates.Maximise(design, f.model, covariates.Start{Steps: o.Steps})
	f.Take(design, f.ascent)
	switch f.Status {
	case covariates.Converged:
		return f, f.addVariance()
	case covariates.Separated:
		f.Reason += covariates.OneSided(design, f.AtFault, false, func(i int) (bool, bool) {
			return f.model.weight(i) > 0, f.model.kind(i) == ownEvent
		}) + ". Merge levels or leave the column out"
	}
	return f, nil
}

// SubdistributionReal is Subdistribution for times that are real numbers.
func SubdistributionReal(d survival.RealData, cause int, columns []covariates.Column, o SubdistributionOptions) (*SubdistributionFit, error) {
	if _, err := survival.CountReal(d); err != nil {
		return nil, err
	}
	if d.Entry != nil {
		return nil, errors.New("there is no such model for rows with a late entry; leave Entry out")
	}
	times := append([]float64{0}, d.Exit...)
	sort.Float64s(times)
	distinct := times[:1]
	for _, t := range times {
		if t != distinct[len(distinct)-1] {
			distinct = append(distinct, t)
		}
	}
	ranked := survival.Data{Exit: make([]int32, len(d.Exit)), Cause: d.Cause, Group: d.Group, Weight: d.Weight, Cluster: d.Cluster, Groups: d.Groups, Causes: d.Causes}
	for i, t := range d.Exit {
		ranked.Exit[i] = int32(sort.SearchFloat64s(distinct, t))
	}
	f, err := Subdistribution(ranked, cause, columns, o)
	if err == nil {
		for k, rank := range f.model.time {
			f.model.time[k] = distinct[int(rank)]
		}
	}
	return f, err
}

func (f *SubdistributionFit) possible() bool {
	switch {
	case f.N == 0:
		f.Refuse(covariates.NoRows, "there are no rows")
	case f.Events == 0:
		f.Refuse(covariates.NoEvents, fmt.Sprintf("none of %d rows has an event of the cause", f.N))
	case len(f.Names) > f.Events:
		f.Refuse(covariates.TooFewEvents, fmt.Sprintf("%d coefficients and %d events: leave columns out or merge levels", len(f.Names), f.Events))
	default:
		return true
	}
	return false
}

// Predict returns the cumulative incidence at time t for someone with the given values of the
// columns. Beyond the last exit there is none.
func (f *SubdistributionFit) Predict(values []float64, t float64) (float64, error) {
	if f.Status != covariates.Converged {
		return 0, fmt.Errorf("the model has no estimates (%v): %s", f.Status, f.Reason)
	}
	if len(values) != len(f.Names) {
		return 0, fmt.Errorf("%d values for %d columns", len(values), len(f.Names))
	}
	m := f.model
	if last := m.time[len(m.time)-1]; !(t >= 0 && t <= last) {
		return 0, fmt.Errorf("time %v, want 0 to %v, the last exit", t, last)
	}
	eta := 0.0
	for j, z := range m.design.Centred(values) {
		eta += float64(z * f.Coefficient[j])
	}
	at := sort.Search(len(m.time), func(k int) bool { return m.time[k] > t })
	if at == 0 {
		return 0, nil
	}
	return -math.Expm1(-m.cumulative[at-1] * math.Exp(eta)), nil
}

// Risks returns the cumulative incidence by time t that the model predicts for every row it was
// fitted to.
func (f *SubdistributionFit) Risks(t float64) ([]float64, error) {
	if _, err := f.Predict(make([]float64, len(f.Names)), t); err != nil {
		return nil, err
	}
	m := f.model
	at := sort.Search(len(m.time), func(k int) bool { return m.time[k] > t })
	out := make([]float64, len(m.risk))
	for i := range out {
		if w := m.weight(i); at > 0 && w > 0 {
			out[i] = -math.Expm1(-m.cumulative[at-1] * m.risk[i] / w)
		}
	}
	return out, nil
}
