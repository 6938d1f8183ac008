package hazards

import (
	"fmt"
	"math"
	"slices"

	"deltoid/stats/covariates"
	"deltoid/stats/survival"
)

func find(times []float64, t float64) int {
	at, _ := slices.BinarySearch(times, t)
	return at
}

// slotAt returns the last slot of a stratum at or before time t.
func (p *partial) slotAt(stratum int, t float64) int {
	from, to := int(p.slots.first[stratum]), int(p.slots.first[stratum+1])
	at := from
	for lo, hi := from+1, to; lo < hi; {
		mid := (lo + hi) / 2
		if p.data.time(p.slots.tick[mid]) <= t {
			at, lo = mid, mid+1
		} else {
			hi = mid
		}
	}
	return at
}

// Step is one step of a cumulative hazard.
type Step struct {
	Time, Hazard float64 // Hazard just after Time
}

// Baseline returns the cumulative baseline hazard of a stratum, that of someone with 0 in every
// column and offset, at the times of its events. Its method of ties is that of the fit.
//
// Sources: Breslow, J. R. Stat. Soc. B 34 (1972) 216–217; for Efron's ties Therneau & Grambsch
// (2000), section 4.2.
func (f *Fit) Baseline(stratum int) ([]Step, error) {
	if err := f.checkStratum(stratum); err != nil {
		return nil, err
	}
	p := f.partial
	ratio := math.Exp(f.predictor(make([]float64, len(f.Names))))
	var out []Step
	for k := p.slots.first[stratum] + 1; k < p.slots.first[stratum+1]; k++ {
		out = append(out, Step{p.data.time(p.slots.tick[k]), p.shares.cumulative[k] * ratio})
	}
	return out, nil
}

func (f *Fit) checkStratum(stratum int) error {
	if err := f.usable(); err != nil {
		return err
	}
	if stratum < 0 || stratum >= f.Strata {
		return fmt.Errorf("stratum %d, want 0 to %d", stratum, f.Strata-1)
	}
	return nil
}

// predictor returns Σ β_j (x_j − centre_j), which is what the cumulative hazard of the fit is for.
func (f *Fit) predictor(x []float64) (eta float64) {
	for j, z := range f.partial.design.Centred(x) {
		eta += float64(z * f.Coefficient[j])
	}
	return eta
}

// Request is what Predict is asked: the survival of someone with these values of the columns, in
// a stratum, with an offset.
type Request struct {
	Values  []float64
	Stratum int
	Offset  float64
}

// Predict returns the probability of being free of the event at each of the times, for each
// request, with an interval of the given level on the given scale. AtRisk and Events of a point
// are those of the stratum. Beyond the last exit of a stratum there is no prediction.
//
//	S(t|x) = exp(−Λ(t) e^η),  Var Λ e^η = e^{2η} (Σ dA/S0 + qᵀVq),  q = ∫ (x − x̄) dA
//
// V is the variance in use. Source: Link, Biometrics 40 (1984) 601–610; Tsiatis, Ann. Stat. 9
// (1981) 93–108.
func (f *Fit) Predict(requests []Request, times []float64, level float64, scale survival.Scale) ([][]survival.Point, error) {
	if err := survival.CheckLevel(level, scale); err != nil {
		return nil, err
	}
	for _, r := range requests {
		if err := f.checkStratum(r.Stratum); err != nil {
			return nil, err
		}
		if len(r.Values) != len(f.Names) {
			return nil, fmt.Errorf("%d values for %d columns", len(r.Values), len(f.Names))
		}
	}
	if err := f.usable(); err != nil {
		return nil, err
	}
	counts, err := f.countByStratum()
	if err != nil {
		return nil, err
	}
	drift, spread := f.drifts(requests, times), f.spreads()
	out := make([][]survival.Point, len(requests))
	for i, r := range requests {
		eta := f.predictor(r.Values) + r.Offset
		for at, t := range times {
			k := f.partial.slotAt(r.Stratum, t)
			point := f.point(r, eta, k, drift[i][at], spread[k])
			point.T, point.Level, point.Scale = t, level, scale
			out[i] = append(out[i], f.judge(point, counts, r.Stratum))
		}
	}
	return out, nil
}

// point holds value and standard error after slot k.
func (f *Fit) point(r Request, eta float64, k int, drift []float64, spread float64) survival.Point {
	hazard, ratio := f.partial.shares.cumulative[k], math.Exp(eta)
	q := f.partial.design.Centred(r.Values)
	for j := range q {
		q[j] = float64(q[j]*hazard) - drift[j]
	}
	v, size := f.Variance(), len(q)
	for j := range q {
		for l := range q {
			spread += float64(q[j] * v[j*size+l] * q[l])
		}
	}
	s := math.Exp(-ratio * hazard)
	return survival.Point{Value: s, SE: s * ratio * math.Sqrt(max(0, spread))}
}

func (f *Fit) countByStratum() (*survival.Counts, error) {
	d := f.partial.data
	causes := 1
	for _, c := range d.Cause {
		causes = max(causes, int(c))
	}
	return survival.Count(survival.Data{Entry: d.Entry, Exit: d.Exit, Cause: d.Cause, Group: d.Stratum, Groups: f.Strata, Causes: causes})
}

func (f *Fit) judge(p survival.Point, counts *survival.Counts, stratum int) survival.Point {
	tick := p.T
	last := counts.LastTime(stratum)
	if f.partial.data.Times != nil {
		at, exact := slices.BinarySearch(f.partial.data.Times, p.T)
		if !exact {
			at-- // those at risk just after the last time before
			p.AtRisk = counts.AtRisk(stratum, float64(at)+0.5)
		} else {
			p.AtRisk = counts.AtRisk(stratum, float64(at))
		}
		last = f.partial.data.Times[int(last)]
	} else {
		p.AtRisk = counts.AtRisk(stratum, tick)
	}
	for k := int(f.partial.slots.first[stratum]) + 1; k < int(f.partial.slots.first[stratum+1]) && f.partial.data.time(f.partial.slots.tick[k]) <= p.T; k++ {
		p.Events += int64(f.partial.deaths[k])
	}
	return p.Judge(survival.FollowUp{N: counts.N(stratum), Events: counts.Events(stratum, int(f.Cause)), Last: last})
}

// spreads returns Σ dA/S0 at every slot.
func (f *Fit) spreads() []float64 {
	out := append([]float64(nil), f.partial.shares.a0...)
	f.partial.slots.upwards(out)
	return out
}

// drifts returns ∫ x̄ dA, x̄ being centred, for each request, time and column.
func (f *Fit) drifts(requests []Request, times []float64) [][][]float64 {
	p := f.partial
	out := make([][][]float64, len(requests))
	for i := range out {
		out[i] = make([][]float64, len(times))
		for at := range times {
			out[i][at] = make([]float64, p.design.Size())
		}
	}
	p.eachTable(func(t *tables) {
		u := p.influence(t)
		for a, j := range t.columns {
			for i, r := range requests {
				for at, time := range times {
					out[i][at][j] = u.b[a][p.slotAt(r.Stratum, time)] / p.design.Scale(j)
				}
			}
		}
	})
	return out
}

// Predictors returns Σ β_j x_j + offset of every row: the log hazard ratio against 0 in every
// column.
func (f *Fit) Predictors() ([]float64, error) {
	if f.Status != covariates.Converged {
		return nil, fmt.Errorf("the model has no estimates (%v): %s", f.Status, f.Reason)
	}
	out := make([]float64, len(f.partial.risk))
	copy(out, f.partial.data.Offset)
	for j, c := range f.partial.design.Columns {
		for i, x := range c.Values {
			out[i] += float64(f.Coefficient[j] * x)
		}
	}
	return out, nil
}
