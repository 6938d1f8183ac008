package hazards

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/survival"
)

// Validation holds how well predicted risks agree with what happened by a horizon. An event of
// another cause counts as known not to have the event of the cause; nothing is known of those
// censored before, and those like them speak for them: each row has the weight 1/G, G being the
// probability of staying uncensored until its event or the horizon. Someone censored on the very day
// of the horizon was seen through it.
type Validation struct {
	Status  covariates.Status
	Reason  string
	Horizon float64
	// N rows, of which Events had the event by the horizon, Others another one, and Censored left
	// before it. Known rows are the others and those still under observation.
	N, Events, Others, Censored int

	// Observed is the risk by the product-limit estimate (the incidence where there are other
	// causes), Expected the mean of the predicted risks, Ratio the one over the other.
	Observed        survival.Point
	Expected, Ratio float64
	RatioLower      float64
	RatioUpper      float64

	// Intercept is by how much the log odds of the observed risks are above those predicted, 0 if
	// risks are right on average; Slope is what they are to be multiplied by, below 1 where
	// predictions are too extreme. Both have robust intervals.
	Intercept, Slope covariates.Effect

	// Brier is the mean squared distance between risk and outcome; Null is that of giving everybody
	// the observed risk, and Scaled is 1 − Brier/Null.
	Brier, Null, Scaled float64

	// AUC is the probability that someone with the event by the horizon had a higher predicted
	// risk than someone without it then; its standard error takes the weights as known.
	AUC, AUCSE float64

	// Concordance compares risks over all the follow-up up to the horizon.
	Concordance *Concordance

	// Curve is the observed risk as a smooth function of the predicted one, and ICI, Median, Ninth
	// and Largest are mean, median, 90th percentile and largest of the distance between the two.
	// CurveStatus says whether there is one.
	Curve                       []Calibration
	CurveStatus                 covariates.Status
	CurveReason                 string
	ICI, Median, Ninth, Largest float64

	// Groups are tenths (or as many as asked for) of the predicted risk.
	Groups []CalibrationGroup
}

// Calibration is one point of the smooth curve.
type Calibration struct{ Predicted, Observed float64 }

// CalibrationGroup is one group of rows of similar predicted risk.
type CalibrationGroup struct {
	N         int
	Low, High float64 // of the predicted risks
	Predicted float64 // their mean
	Observed  survival.Point
}

// ValidationOptions are the choices; the zero value is the usual one.
type ValidationOptions struct {
	Level  float64 // of intervals; 0 is 0.95
	Groups int     // 0 is 10
	Knots  int     // of the curve, 3 to 5; 0 is 4
}

// Validate compares predicted risks of the event of a cause by the horizon, one for each row, with
// what happened: to the data a model was made from, or to others. Of late entries and of weights
// that differ the status says that there is no method; strata and offsets, which are part of how
// risks were made, are not looked at, but that the concordance compares all rows with one another.
//
// Sources: for the weights Graf et al., Stat. Med. 18 (1999) 2529–2545 and Gerds & Schumacher,
// Biom. J. 48 (2006) 1029–1040; for the AUC Blanche et al., Stat. Med. 32 (2013) 5381–5397 (those
// with another event among the controls); for the curve and its summaries Austin, Harrell & van
// Klaveren, Stat. Med. 39 (2020) 2714–2742; for the levels of calibration Van Calster et al., BMC
// Med. 17 (2019) 230.
func Validate(d Data, cause uint8, risk []float64, horizon float64, o ValidationOptions) (*Validation, error) {
	if o.Level == 0 {
		o.Level = 0.95
	}
	if o.Groups <= 0 {
		o.Groups = 10
	}
	if o.Knots == 0 {
		o.Knots = 4
	}
	if err := checkRisks(d, cause, risk, horizon, o); err != nil {
		return nil, err
	}
	v := &Validation{Horizon: horizon, N: len(risk)}
	if v.Reason = d.unscorable(); v.Reason != "" {
		v.Status = covariates.Unsupported
		return v, nil
	}
	d.Stratum, d.Weight, d.Entry, d.Offset = nil, nil, nil, nil
	s, err := newScoring(d, cause, risk, horizon)
	if err != nil {
		return nil, err
	}
	if !s.count(v) {
		return v, nil
	}
	if err := s.observe(v, o.Level); err != nil {
		return nil, err
	}
	s.brier(v)
	s.auc(v)
	if err := s.recalibrate(v, o.Level); err != nil {
		return nil, err
	}
	if v.Concordance, err = Concord(s.cut(), cause, risk); err != nil {
		return nil, err
	}
	if err := s.curve(v, o.Knots); err != nil {
		return nil, err
	}
	return v, s.groups(v, o)
}

// unscorable says why risks cannot be held against these rows, if they cannot: the weights of Graf suppose that everybody was
// seen from the start, and that each row stands for one.
func (d Data) unscorable() string {
	for i := range d.Exit {
		if d.entry(i) > 0 {
			return "some rows came under observation late, and who had the event before is not known: take those seen from the start, or count time from " +
				"when all were under observation (a landmark)"
		}
		if d.weight(i) != d.weight(0) || d.weight(i) == 0 {
			return "rows count for different weights, for which there is no such validation: leave the weights out, or repeat rows that stand for several"
		}
	}
	return ""
}

func checkRisks(d Data, cause uint8, risk []float64, horizon float64, o ValidationOptions) error {
	if _, _, err := d.check(cause); err != nil {
		return err
	}
	if err := survival.CheckLevel(o.Level, survival.LogLog); err != nil {
		return err
	}
	if len(risk) != len(d.Exit) {
		return fmt.Errorf("%d risks for %d rows", len(risk), len(d.Exit))
	}
	for i, p := range risk {
		if !(p >= 0 && p <= 1) {
			return &covariates.RowError{Row: i, Column: "the predicted risk", Found: fmt.Sprint(p), Want: "0 to 1"}
		}
	}
	if !(horizon > 0) || math.IsInf(horizon, 0) {
		return fmt.Errorf("horizon %v, want a time above 0", horizon)
	}
	if o.Knots < 3 || o.Knots > 5 {
		return fmt.Errorf("%d knots, want 3 to 5", o.Knots)
	}
	return nil
}
