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
	// Status is Estimated or NoExposure. Without any event the value is 0 and the interval runs
	// from 0 to what the exposure rules out.
	Status Status
}

// Rate returns the events for each per units of exposure, with an interval that treats the events
// as a Poisson count and the exposure as known. The error is for a tally, a level or a per that
// cannot be.
//
// Source: Garwood, Biometrika 28 (1936) 437–442, for the exact form; Cohen & Yang, Stat. Med. 13
// (1994) 2189–2203, for mid-P.
func (t Tally) Rate(per, level float64, form Form) (Rate, error) {
	r := Rate{Tally: t, Per: per, Level: level, Form: form}
	if err := r.check(); err != nil {
		return Rate{}, err
	}
	lower, upper := poissonLimits(t.Events, level, form)
	r.Value, r.Lower, r.Upper = r.scaled(float64(t.Events)), r.scaled(lower), r.scaled(upper)
	if math.IsNaN(r.Value) || math.IsInf(r.Upper, 0) {
		r.Value, r.Lower, r.Upper, r.Status = 0, 0, 0, NoExposure
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

func poissonLimits(events int64, level float64, form Form) (lower, upper float64) {
	if form == MidP {
		return dist.PoissonMidP(events, level)
	}
	return dist.PoissonLimits(events, level)
}
