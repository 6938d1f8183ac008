package change

import (
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/describe"
	"deltoid/stats/dist"
	"deltoid/stats/regression"
)

// Threshold is what one method gives.
type Threshold struct {
	Method Method
	// Value is points of improvement, positive whichever way the scale runs; a score with OfState; a ratio where Method.Ratio says so.
	Value float64
	N     int // rows it rests on
	// Closed is the textbook's interval, for MeanChange (Student) and MeanDifference (Welch) where rows are independent.
	Closed Interval
	// Percentile and BCa come from drawing patients again. BCa has the acceleration of the influences, 0 for AcceptableQuartile. Cut points have no
	// BCa: theory does not carry the bootstrap to the place of a largest value, and in simulations (testdata/references/DOSSIER.md, change) BCa
	// limits for 95 in 100 held in 84 to 94, percentiles in 90 to 97.
	Percentile, BCa Interval
	SE              float64 // standard deviation of the replicates
	Failed          int     // replicates without a value
	// Cut is the cut point of Youden and ClosestToCorner with its sensitivity and specificity.
	Cut Cut
	State
}

// Table is the thresholds of all methods.
type Table struct {
	Anchor AnchorChecks
	// Area is that under the curve of the measure for improved against not improved.
	Area Estimate
	// ShareImproved of rows with an answer; PointBiserial their correlation with the measure, SD its standard deviation.
	ShareImproved     describe.Proportion
	PointBiserial, SD float64
	Model             *regression.Fit // improved or not, on the measure; nil where there is none
	Rows              []Threshold     // one for each method, in order
	Patients          int             // drawn again in each replicate
}

// Row returns the row of a method.
func (t *Table) Row(m Method) Threshold { return t.Rows[m] }

// Thresholds returns the threshold of every method. Methods from an anchor are NotSupported unless CheckAnchor supports it,
// and TooFew where a category they use has fewer rows than Question.Fewest; those from the distribution use
// every row with a baseline, or with a change.
//
// Replicate i draws as many patients as there are, with all their rows, from the stream (seed, "thresholds", i); AnchorReliability and
// ScoreReliability are taken as given. Rows are sorted once: a replicate is a count of rows at each value.
//
// Sources: for Predictive Terluin and others, J. Clin. Epidemiol. 68 (2015) 1388–1396: (ln odds of being improved − C)/B with the
// coefficients C, B of the logistic regression. PredictiveAdjusted, Terluin and others, J. Clin. Epidemiol. 83 (2017)
// 90–100: less (0.090 + 0.103 r)·SD·ln odds, with r the point-biserial correlation. PredictiveReliable, Terluin and others, Qual. Life Res. 31 (2022): less
// (0.8/reliability − 0.5)·SD·r·ln odds. AcceptableQuartile: Tubach and others, Ann. Rheum. Dis. 64 (2005) 34–37. HalfSD: Norman and others, Med. Care 41
// (2003) 582–592. Intervals: Efron, J. Am. Stat. Assoc. 82 (1987) 171–185.
func Thresholds(a Anchored, q Question) (*Table, error) {
	if err := firstError(a.check(q.Scale), q.check(), checkLength("Anchor", len(a.Anchor), len(a.Baseline))); err != nil {
		return nil, err
	}
	t := &Table{Anchor: checkAnchor(a, q), Rows: make([]Threshold, methods)}
	for m := range t.Rows {
		t.Rows[m].Method = Method(m)
		t.Rows[m].Cut.State = state(NotDefined, "the method has no cut point")
	}
	if s := a.state(q.Scale); !s.OK() {
		t.refuseAll(s, q.Level)
		t.Area = refused(0, q.Level, s)
		return t, nil
	}
	s := newSample(a, q)
	t.Patients = s.people.clusters.Count
	if err := t.judge(s); err != nil {
		return nil, err
	}
	t.evaluate(s)
	t.resample(s)
	return t, nil
}

func (t *Table) refuseAll(s State, level float64) {
	none := Interval{Level: level, State: s}
	for m := range t.Rows {
		t.Rows[m] = Threshold{Method: Method(m), State: s, Closed: none, Percentile: none, BCa: none, Cut: Cut{State: s}}
	}
}

// judge sets the state of each method before anything is worked out.
func (t *Table) judge(s *sample) error {
	all := s.whole()
	if err := t.describeAnchor(s, all); err != nil {
		return err
	}
	for m := range t.Rows {
		row := &t.Rows[m]
		row.State = firstTrouble(s.applies(row.Method), t.anchorState(s, row.Method, all), s.spreadState(row.Method, all))
		row.N = s.rowsFor(row.Method, all)
	}
	return nil
}

// describeAnchor fits what several methods share.
func (t *Table) describeAnchor(s *sample, all *tally) error {
	t.ShareImproved = describe.Wilson(int64(all.improved.n), int64(all.anchored.n), s.q.Level)
	if !t.Anchor.Support.OK() {
		t.Area = refused(t.Anchor.N, s.q.Level, t.Anchor.Support)
		return nil
	}
	x, improved, patient := s.answers()
	curve, err := Discrimination(Discriminating{Value: x, Positive: improved, HigherIsPositive: true, Patient: patient}, s.q.Level)
	if err != nil {
		return err
	}
	t.Area = curve.Area
	t.PointBiserial, t.SD = all.pointBiserial(), all.anchored.sd()
	outcome := make([]float64, len(x))
	for i, is := range improved {
		if is {
			outcome[i] = 1
		}
	}
	t.Model, err = regression.Logistic(regression.Data{Outcome: outcome, Cluster: patient}, []covariates.Column{{Name: s.q.About.String(), Values: x}},
		regression.Options{})
	if err == nil && t.Model.Status == covariates.Converged {
		s.start = [2]float64{t.Model.Coefficient[1] + float64(t.Model.Coefficient[0]*s.centre), t.Model.Coefficient[0]}
	}
	return err
}

// applies says whether a method is about what was asked.
func (s *sample) applies(m Method) State {
	switch {
	case s.q.About == OfState && (m == MeanChange || m == MeanDifference || !m.FromAnchor()):
		return state(NotDefined, "the method is about change, and the question about a state")
	case s.q.About == OfChange && m == AcceptableQuartile:
		return state(NotDefined, "the method is about a state, and the question about change")
	case m == PredictiveReliable && s.q.AnchorReliability == 0:
		return state(NotDefined, "the reliability of the anchor question is not known: give it in AnchorReliability")
	case m >= MeasurementError && m <= SmallestDetectableGroup95 && s.q.ScoreReliability == 0:
		return state(NotDefined, "the reliability of the score is not known: measure some rows twice, or give it in ScoreReliability")
	}
	return State{}
}

// anchorState says whether the anchor carries a method.
func (t *Table) anchorState(s *sample, m Method, all *tally) State {
	if !m.FromAnchor() {
		return State{}
	}
	if !t.Anchor.Support.OK() {
		return t.Anchor.Support
	}
	few := func(what string, n float64) State {
		if n < float64(s.q.fewest()) {
			return state(TooFew, "%v rows are %s, fewer than %d", n, what, s.q.fewest())
		}
		return State{}
	}
	switch m {
	case MeanChange:
		return few("minimally improved", all.minimal.n)
	case MeanDifference:
		return firstTrouble(few("minimally improved", all.minimal.n), few("unchanged", all.unchanged.n))
	}
	trouble := firstTrouble(few("improved", all.improved.n), few("not improved", all.anchored.n-all.improved.n))
	if !trouble.OK() || m < Predictive || m > PredictiveReliable {
		return trouble
	}
	switch {
	case t.Model.Status != covariates.Converged:
		return state(NotFitted, "the model of the answers: %s", t.Model.Reason)
	case !(t.Model.Coefficient[0] > 0):
		return state(NotSupported, "the chance to be improved does not rise with the %v", s.q.About)
	}
	return State{}
}

// spreadState says whether there is enough to describe for a method of the distribution.
func (s *sample) spreadState(m Method, all *tally) State {
	switch {
	case m.FromAnchor():
		return State{}
	case m == ResponseMean && !(all.gain.sd() > 0):
		return state(NoSpread, "the improvements of %v rows do not vary", all.gain.n)
	case m != ResponseMean && !(all.base.sd() > 0):
		return state(NoSpread, "the baselines of %v rows do not vary", all.base.n)
	case (m == EffectSize || m == SmallestDetectableGroup90 || m == SmallestDetectableGroup95) && all.gain.n == 0:
		return state(NoRows, "no row has both scores")
	}
	return State{}
}

// rowsFor returns the number of rows a method rests on.
func (s *sample) rowsFor(m Method, all *tally) int {
	switch m {
	case MeanChange:
		return int(all.minimal.n)
	case MeanDifference:
		return int(all.minimal.n + all.unchanged.n)
	case AcceptableQuartile:
		return int(all.improved.n)
	case EffectSize, ResponseMean, SmallestDetectableGroup90, SmallestDetectableGroup95:
		return int(all.gain.n)
	}
	if m.FromAnchor() {
		return int(all.anchored.n)
	}
	return int(all.base.n)
}

// evaluate works out every method that has no trouble.
func (t *Table) evaluate(s *sample) {
	for m := range t.Rows {
		s.wanted[m] = t.Rows[m].OK()
	}
	all := s.whole()
	s.full = s.values(all)
	for m := range t.Rows {
		row := &t.Rows[m]
		if !row.OK() {
			continue
		}
		if math.IsNaN(s.full[m]) {
			row.State = state(NotDefined, "no cut point between two values is better than calling all rows the same")
			s.wanted[m] = false
			continue
		}
		row.Value = s.full[m]
	}
	t.cutPoints(s)
	t.closed(s, all)
}

// cutPoints adds what the curve says about the cut points.
func (t *Table) cutPoints(s *sample) {
	if !s.wanted[Youden] && !s.wanted[ClosestToCorner] {
		return
	}
	x, improved, patient := s.answers()
	sign := s.sign()
	for i := range x {
		x[i] *= sign
	}
	curve, err := Discrimination(Discriminating{Value: x, Positive: improved, HigherIsPositive: sign > 0, Patient: patient}, s.q.Level)
	if err != nil {
		panic(err) // the same rows have been through
	}
	t.Rows[Youden].Cut, t.Rows[ClosestToCorner].Cut = curve.Youden, curve.ClosestToCorner
}

// closed fills the textbook's intervals.
func (t *Table) closed(s *sample, all *tally) {
	for m := range t.Rows {
		t.Rows[m].Closed = Interval{Level: s.q.Level, State: state(NotDefined, "the method has no interval but by resampling")}
	}
	if s.people.clustered() {
		for _, m := range []Method{MeanChange, MeanDifference} {
			t.Rows[m].Closed.State = state(NotDefined, "patients have several rows: use the interval by resampling")
		}
		return
	}
	of := func(c sums) describe.Moments {
		return describe.Moments{N: int(c.n), Mean: c.mean(), SD: c.sd()}
	}
	fill := func(m Method, test describe.MeanTest) {
		if t.Rows[m].OK() && test.Status == describe.Estimated {
			t.Rows[m].Closed = Interval{Lower: test.Lower, Upper: test.Upper, Level: s.q.Level}
		}
	}
	a, b := of(all.minimal), of(all.unchanged)
	a.Mean += s.centre
	b.Mean += s.centre
	fill(MeanChange, describe.Paired(a, s.q.Level))
	fill(MeanDifference, describe.Welch(a, b, s.q.Level))
}

// detectableAt is the smallest detectable change in standard errors of measurement.
var detectableAt = [2]float64{dist.NormalSpread(0.90) * math.Sqrt2, dist.NormalSpread(0.95) * math.Sqrt2}
