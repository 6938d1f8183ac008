package change

import (
	"math"

	"deltoid/stats/dist"
)

// BaselineDependence says whether those who start worse improve more, beyond what error of measurement makes of it. Signs
// are those of improvement, and scores are oriented so that better is larger.
type BaselineDependence struct {
	N int
	// Naive is the correlation of improvement with the baseline. It is negative even when
	// improvement has nothing to do with the start, since the error of the baseline is in both; it is here to be shown beside the next.
	Naive Estimate
	// Oldham is the correlation of improvement with the mean of both scores: 0 where improvement does
	// not depend on the start and the spread stays the same. A spread that grows or shrinks for other reasons moves it too.
	Oldham Estimate
	// SpreadRatio is the standard deviation at follow-up over that at baseline, with Pitman's interval.
	SpreadRatio Estimate
	// Slope is the slope of improvement on the observed baseline, SlopeOfTrue that on the baseline without its error.
	// SlopeOfTrue needs the reliability of the score.
	Slope, SlopeOfTrue Estimate
	State
}

// DependenceOnBaseline sets improvement against the start. Reliability is that of one score (0 to 1; 0 is not known).
//
// Sources: Oldham, J. Chronic Dis. 15 (1962) 969–977; Pitman, Biometrika 31 (1939) 9–12; Blomqvist, J. Am. Stat. Assoc. 72
// (1977) 746–749: b_true = (b + 1 − R)/R for the slope b on the observed baseline of reliability R. The standard error of that slope takes R as
// given.
func DependenceOnBaseline(s Scores, scale Scale, reliability, level float64) (BaselineDependence, error) {
	if err := firstError(s.check(scale), checkLevel(level), checkShare("reliability", reliability)); err != nil {
		return BaselineDependence{}, err
	}
	rows := recorded(s.Baseline, s.FollowUp)
	d := BaselineDependence{N: len(rows)}
	if d.State = s.state(scale); d.OK() && len(rows) < 4 {
		d.State = state(TooFew, "%d rows have both scores; a dependence on the baseline needs 4", len(rows))
	}
	if !d.OK() {
		none := refused(d.N, level, d.State)
		d.Naive, d.Oldham, d.SpreadRatio, d.Slope, d.SlopeOfTrue = none, none, none, none, none
		return d, nil
	}
	p := peopleOf(pick(s.Patient, rows), len(rows))
	before, after := pick(s.Baseline, rows), pick(s.FollowUp, rows)
	gain, middle := make([]float64, len(rows)), make([]float64, len(rows))
	for i := range rows {
		before[i] *= scale.Sign()
		after[i] *= scale.Sign()
		gain[i], middle[i] = after[i]-before[i], (before[i]+after[i])/2
	}
	d.Naive, d.Oldham = byProduct(gain, before, p, level), byProduct(gain, middle, p, level)
	d.SpreadRatio = spreadRatio(before, after, p, level)
	d.Slope = slopeOn(before, gain, p, level)
	d.SlopeOfTrue = d.Slope.ofTrue(reliability)
	return d, nil
}

// ofTrue turns a slope on the observed baseline into one on the true one.
func (e Estimate) ofTrue(reliability float64) Estimate {
	if !e.OK() {
		return e
	}
	if reliability == 0 {
		return refused(e.N, e.Level, state(NotDefined, "the reliability of the score is not known: measure some rows twice without a change between"))
	}
	e.Value = (e.Value + 1 - reliability) / reliability
	return e.byNormal(e.SE/reliability, e.Level)
}

// byProduct is the product-moment correlation with Fisher's interval.
func byProduct(x, y []float64, p people, level float64) Estimate {
	r, s := correlation(x, y)
	e := Estimate{Value: r, Level: level, N: len(x), Patients: p.patients(), State: s}
	if e.OK() {
		e = e.byFisher(1, float64(p.clusters.Count))
	}
	return e
}

// slopeOn returns the least-squares slope of y on x with its robust standard error, summed over patients.
func slopeOn(x, y []float64, p people, level float64) Estimate {
	mx, my, xx, xy := mean(x), mean(y), 0.0, 0.0
	for i := range x {
		xx += float64((x[i] - mx) * (x[i] - mx))
		xy += float64((x[i] - mx) * (y[i] - my))
	}
	e := Estimate{N: len(x), Patients: p.patients(), Level: level}
	if !(xx > 0) {
		e.State = state(NoSpread, "all rows start from the same score")
		return e
	}
	e.Value = xy / xx
	u := make([]float64, len(x))
	for i := range x {
		dx := x[i] - mx
		u[i] = dx * (y[i] - my - float64(e.Value*dx)) / xx
	}
	return e.byNormal(math.Sqrt(p.squares(u)), level)
}

// spreadRatio returns the ratio of the standard deviations of paired columns, second over first, with the interval
// of Pitman: the ratios w for which x·w and y would not be correlated in sum and difference.
func spreadRatio(x, y []float64, p people, level float64) Estimate {
	e := Estimate{N: len(x), Patients: p.patients(), Level: level}
	r, s := correlation(x, y)
	n := float64(p.clusters.Count)
	if e.State = s; !s.OK() {
		return e
	}
	if n < 4 {
		return refused(e.N, level, state(TooFew, "a ratio of spreads needs 4 patients; there are %v", n))
	}
	mx, my, xx, yy := mean(x), mean(y), 0.0, 0.0
	for i := range x {
		xx += float64((x[i] - mx) * (x[i] - mx))
		yy += float64((y[i] - my) * (y[i] - my))
	}
	e.Value = math.Sqrt(yy / xx)
	t := dist.StudentSpread(level, n-2)
	k := 1 + 2*float64(t*t)*(1-float64(r*r))/(n-2)
	widen := math.Sqrt(k + math.Sqrt(float64(k*k)-1))
	e.Lower, e.Upper = e.Value/widen, e.Value*widen
	return e
}

// ArtefactOfRegression is the mean improvement that error of measurement alone would show in the rows whose baseline is at or beyond a
// limit on the bad side, because they were chosen by a measured score.
type ArtefactOfRegression struct {
	Selected, N int
	// Expected is (1 − reliability) times the distance of their mean baseline from that of all, Observed
	// their mean improvement; both positive for the better.
	Expected, Observed float64
	State
}

// RegressionToTheMean returns what to expect from error of measurement in the rows that start no better than limit.
//
// Source: Davis, Am. J. Epidemiol. 104 (1976) 493–498, with the observed mean of the selected instead of that of a normal tail.
func RegressionToTheMean(s Scores, scale Scale, limit, reliability float64) (ArtefactOfRegression, error) {
	if err := firstError(s.check(scale), checkShare("reliability", reliability)); err != nil {
		return ArtefactOfRegression{}, err
	}
	a := ArtefactOfRegression{}
	if a.State = s.state(scale); !a.OK() {
		return a, nil
	}
	rows := recorded(s.Baseline, s.FollowUp)
	var all, chosen, gains []float64
	for _, i := range rows {
		all = append(all, s.Baseline[i])
		if scale.Improvement(limit, s.Baseline[i]) <= 0 {
			chosen = append(chosen, s.Baseline[i])
			gains = append(gains, scale.Improvement(s.Baseline[i], s.FollowUp[i]))
		}
	}
	a.N, a.Selected = len(all), len(chosen)
	switch {
	case len(chosen) == 0:
		a.State = state(NoRows, "none of %d rows starts at or beyond %v", len(all), limit)
	case reliability == 0:
		a.State = state(NotDefined, "the reliability of the score is not known: measure some rows twice without a change between")
	default:
		a.Expected = (1 - reliability) * scale.Improvement(mean(chosen), mean(all))
		a.Observed = mean(gains)
	}
	return a, nil
}
