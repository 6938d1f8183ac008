package monitor

import (
	"fmt"
	"math"

	"deltoid/stats/dist"
)

// Rate is events for each so many units of exposure.
type Rate struct {
	Tally
	Per          float64 // units of exposure that the rate is for: 100 for "per 100 years"
	Value        float64
	Lower, Upper float64 // at Level, by Form
	Level        float64
	Form         Form
	// Effect is the design effect that the events are divided by before the interval is made: 1 for
	// independent subjects; see Clusters.
	Effect float64
	// Status is Estimated or NoExposure. Without any event the value is 0 and the interval runs
	// from 0 to what the exposure rules out. Limits is about Lower and Upper: Status, or OneCluster.
	Status, Limits Status
}

// Rate returns the events for each per units of exposure, with an interval that treats the events
// as a Poisson count and the exposure as known. The error is for a tally, a level or a per that
// cannot be.
//
// Source: Garwood, Biometrika 28 (1936) 437–442, for the exact form; Cohen & Yang, Stat. Med. 13
// (1994) 2189–2203, for mid-P.
func (t Tally) Rate(per, level float64, form Form) (Rate, error) {
	return t.rate(per, level, form, design{effect: 1})
}

// rate is Rate with events divided by a design effect.
func (t Tally) rate(per, level float64, form Form, x design) (Rate, error) {
	r := Rate{Tally: t, Per: per, Level: level, Form: form, Effect: x.effect, Limits: x.status}
	if err := r.check(); err != nil {
		return Rate{}, err
	}
	r.Value = r.scaled(float64(t.Events))
	if r.Limits == Estimated {
		lower, upper := poissonLimits(float64(t.Events)/x.effect, level, form)
		r.Lower, r.Upper = r.scaled(float64(lower*x.effect)), r.scaled(float64(upper*x.effect))
	}
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || math.IsInf(r.Upper, 0) || math.IsNaN(r.Upper) {
		r.Value, r.Lower, r.Upper, r.Status, r.Limits = 0, 0, 0, NoExposure, NoExposure
	}
	return r, nil
}

func (r *Rate) check() error {
	if err := r.Tally.check(); err != nil {
		return err
	}
	if !(r.Per > 0 && r.Per <= math.MaxFloat64) {
		return fmt.Errorf("rate per %v units, want a finite number above 0", r.Per)
	}
	return CheckLevel(r.Level, r.Form)
}

func (r *Rate) scaled(events float64) float64 { return events * r.Per / r.Exposure }

func poissonLimits(events, level float64, form Form) (lower, upper float64) {
	if form == MidP {
		return dist.RealPoissonMidP(events, level)
	}
	return dist.RealPoissonLimits(events, level)
}
