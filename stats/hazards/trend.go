package hazards

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/dist"
)

// Trend is how one coefficient seems to move along a scale of time: a smooth curve through its scaled residuals.
type Trend struct {
	Status              covariates.Status
	Reason              string
	Along               []float64 // the scale, at even steps from the first event to the last
	Value, Lower, Upper []float64
}

// Along returns where on a scale of time each event of the residuals stands.
func (f *Fit) Along(s *Schoenfeld, scale TimeScale) ([]float64, error) {
	if err := f.usable(); err != nil {
		return nil, err
	}
	if scale > RankedTime {
		return nil, fmt.Errorf("there is no scale of time %d", scale)
	}
	g, err := f.timeOf(scale)
	if err != nil {
		return nil, err
	}
	out := make([]float64, len(s.Row))
	for e, i := range s.Row {
		if out[e] = g(f.partial.data.Exit[i]); math.IsInf(out[e], 0) {
			return nil, fmt.Errorf("an event at time 0 has no %v; take another scale of time", scale)
		}
	}
	return out, nil
}

// Trend smooths Σ w_j × the scaled residuals of coefficient j along a scale of time by a natural cubic spline with so many knots
// (3 to 7), fitted by least squares, at so many even steps. The limits take the sum to have the variance events × wᵀVw; they are
// for each place by itself, and model-based.
//
// Source: Grambsch & Therneau, Biometrika 81 (1994) 515–526, section 3.
func (f *Fit) Trend(s *Schoenfeld, w []float64, scale TimeScale, knots, steps int, level float64) (*Trend, error) {
	g, err := f.Along(s, scale)
	if err != nil {
		return nil, err
	}
	if len(w) != len(s.Scaled) {
		return nil, fmt.Errorf("%d weights for %d coefficients", len(w), len(s.Scaled))
	}
	return SmoothResiduals(g, s.Combined(w), f.ResidualSpread(w), knots, steps, level)
}

// SmoothResiduals is Trend for residuals of any model: where they stand on a scale, what they are, and the standard deviation that
// each is taken to have.
func SmoothResiduals(along, residuals []float64, spread float64, knots, steps int, level float64) (*Trend, error) {
	if len(along) != len(residuals) || steps < 1 {
		return nil, fmt.Errorf("%d places for %d residuals, %d steps", len(along), len(residuals), steps)
	}
	const tooFew = "the events are too few, or too often at one time, for a smooth curve"
	out := &Trend{}
	places, err := covariates.Knots(along, knots)
	if err != nil {
		out.Status, out.Reason = covariates.Singular, tooFew
		return out, nil
	}
	gram, right := normalEquations(along, residuals, places)
	inner, bad := covariates.Factorise(gram, knots, nil)
	if bad >= 0 {
		out.Status, out.Reason = covariates.Singular, tooFew
		return out, nil
	}
	beta, half := inner.Solve(right), float64(dist.NormalSpread(level)*spread)
	low, high := along[0], along[0]
	for _, x := range along {
		low, high = min(low, x), max(high, x)
	}
	for k := range steps + 1 {
		at := low + float64((high-low)*float64(k)/float64(steps))
		row, value := splineRow(at, places), 0.0
		for i, z := range row {
			value += float64(z * beta[i])
		}
		band := float64(half * math.Sqrt(inner.Form(row)))
		out.Along, out.Value = append(out.Along, at), append(out.Value, value)
		out.Lower, out.Upper = append(out.Lower, value-band), append(out.Upper, value+band)
	}
	return out, nil
}

// Combined returns Σ w_j × the scaled residuals of coefficient j, for each event.
func (s *Schoenfeld) Combined(w []float64) []float64 {
	out := make([]float64, len(s.Row))
	for j, column := range s.Scaled {
		if w[j] == 0 {
			continue
		}
		for e, x := range column {
			out[e] += float64(w[j] * x)
		}
	}
	return out
}

// ResidualSpread returns the standard deviation that such a combination is taken to have: √(events × wᵀVw).
func (f *Fit) ResidualSpread(w []float64) float64 {
	square, p := 0.0, len(f.Names)
	for j, a := range w {
		for k, b := range w {
			square += float64(a * b * f.Model[j*p+k])
		}
	}
	return math.Sqrt(float64(f.Events) * max(0, square))
}

// splineRow is a constant and the columns of a spline.
func splineRow(x float64, knots []float64) []float64 {
	return append([]float64{1}, covariates.SplineAt(x, knots)...)
}

// normalEquations returns ZᵀZ and Zᵀy.
func normalEquations(x, y, knots []float64) (gram, right []float64) {
	k := len(knots)
	gram, right = make([]float64, k*k), make([]float64, k)
	for e, at := range x {
		row := splineRow(at, knots)
		for i, a := range row {
			right[i] += float64(a * y[e])
			for l, b := range row {
				gram[i*k+l] += float64(a * b)
			}
		}
	}
	return gram, right
}
