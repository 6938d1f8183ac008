package hazards

import (
	"fmt"
	"math"
	"slices"

	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/survival"
)

// curve models what happened up to the horizon on a spline of log(−log(1 − risk)): by Cox's
// model, or that of the incidence where there are other causes.
func (s *scoring) curve(v *Validation, knots int) error {
	x := make([]float64, len(s.risk))
	for i, p := range s.risk {
		p = min(max(p, 1e-12), 1-1e-12)
		x[i] = math.Log(-math.Log1p(-p))
	}
	places, err := covariates.Knots(x, knots)
	if err != nil {
		v.CurveStatus, v.CurveReason = covariates.Singular, err.Error()
		return nil
	}
	columns, err := covariates.Spline("predicted risk", x, places)
	if err != nil {
		return err
	}
	observed, err := s.smooth(v, columns)
	if observed == nil || err != nil {
		return err
	}
	distance := make([]float64, len(observed))
	for i, o := range observed {
		distance[i] = math.Abs(o - s.risk[i])
		v.ICI += distance[i] / float64(len(distance))
	}
	slices.Sort(distance)
	at := func(share float64) float64 { return distance[int(share*float64(len(distance)-1))] }
	v.Median, v.Ninth, v.Largest = at(0.5), at(0.9), at(1)
	const points = 100
	for k := range points + 1 {
		i := s.order[k*(len(s.order)-1)/points]
		if n := len(v.Curve); n == 0 || v.Curve[n-1].Predicted != s.risk[i] {
			v.Curve = append(v.Curve, Calibration{s.risk[i], observed[i]})
		}
	}
	return nil
}

// smooth returns the modelled risk of every row by the horizon; nil where there is none.
func (s *scoring) smooth(v *Validation, columns []covariates.Column) ([]float64, error) {
	d := s.cut()
	if v.Others > 0 {
		return s.smoothIncidence(v, d, columns)
	}
	d.Cluster = nil
	f, err := Cox(d, s.cause, columns, Options{})
	if err != nil {
		return nil, err
	}
	if v.CurveStatus, v.CurveReason = f.Status, f.Reason; f.Status != covariates.Converged {
		return nil, nil
	}
	return f.Risks(s.horizon)
}

func (s *scoring) smoothIncidence(v *Validation, d Data, columns []covariates.Column) ([]float64, error) {
	causes := 1
	for _, c := range d.Cause {
		causes = max(causes, int(c))
	}
	f, err := competing.Subdistribution(survival.Data{Exit: d.Exit, Cause: d.Cause, Causes: max(causes, int(s.cause))}, int(s.cause), columns, competing.SubdistributionOptions{})
	if err != nil {
		return nil, err
	}
	if v.CurveStatus, v.CurveReason = f.Status, f.Reason; f.Status != covariates.Converged {
		return nil, nil
	}
	last := 0.0
	for _, t := range d.Exit {
		last = max(last, float64(t))
	}
	return f.Risks(min(s.tick(), last))
}

// Risks returns the predicted risk of every row of the fit by time t: 1 − S(t | x).
func (f *Fit) Risks(t float64) ([]float64, error) {
	if err := f.usable(); err != nil {
		return nil, err
	}
	return f.RisksOf(f.partial.design.Columns, f.partial.data.Stratum, f.partial.data.Offset, t)
}

// RisksOf returns the risk by time t of other rows: columns in the order of those of the fit,
// strata and offsets nil for 0.
func (f *Fit) RisksOf(columns []covariates.Column, stratum []int32, offset []float64, t float64) ([]float64, error) {
	if err := f.usable(); err != nil {
		return nil, err
	}
	if err := f.sameColumns(columns); err != nil {
		return nil, err
	}
	hazard := make([]float64, f.Strata)
	for g := range hazard {
		hazard[g] = f.partial.shares.cumulative[f.partial.slotAt(g, t)]
	}
	n := f.rowsOf(columns, stratum)
	out := make([]float64, n)
	copy(out, offset)
	for j, c := range columns {
		b, centre := f.Coefficient[j], f.partial.design.Centre(j)
		for i, x := range c.Values {
			out[i] += float64(b * (x - centre))
		}
	}
	for i, eta := range out {
		g := int32(0)
		if stratum != nil {
			g = stratum[i]
		}
		if g < 0 || int(g) >= f.Strata {
			return nil, f.checkStratum(int(g))
		}
		out[i] = -math.Expm1(-hazard[g] * math.Exp(eta))
	}
	return out, nil
}

func (f *Fit) rowsOf(columns []covariates.Column, stratum []int32) int {
	if len(columns) > 0 {
		return len(columns[0].Values)
	}
	if stratum != nil {
		return len(stratum)
	}
	return len(f.partial.risk)
}

// sameColumns refuses columns that are not those of the fit, in its order.
func (f *Fit) sameColumns(columns []covariates.Column) error {
	if len(columns) != len(f.Names) {
		return fmt.Errorf("%d columns, the model has %d", len(columns), len(f.Names))
	}
	for j, c := range columns {
		if c.Name != f.Names[j] {
			return fmt.Errorf("column %d is %s, in the model it is %s", j, c.Name, f.Names[j])
		}
		if len(c.Values) != len(columns[0].Values) {
			return fmt.Errorf("%s has %d rows, %s has %d", c.Name, len(c.Values), columns[0].Name, len(columns[0].Values))
		}
	}
	return nil
}
