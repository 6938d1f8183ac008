package hazards_test

import (
	"fmt"
	"math"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
)

// unit picks one of two coefficients.
func unit(j int) []float64 {
	w := make([]float64, 2)
	w[j] = 1
	return w
}

// A spline holds every straight line, so that residuals on one come back; and with a constant in it the curve has their mean.
func TestTrendOfAStraightLine(t *testing.T) {
	d, x := plainRows(11, 120)
	f := mustCox(t, d, x, hazards.Options{})
	s, err := f.Schoenfeld()
	if err != nil {
		t.Fatal(err)
	}
	for _, scale := range []hazards.TimeScale{hazards.FailedShare, hazards.PlainTime, hazards.RankedTime} {
		g, err := f.Along(s, scale)
		if err != nil {
			t.Fatal(err)
		}
		line := *s
		line.Scaled = [][]float64{make([]float64, len(g)), make([]float64, len(g))}
		for e, at := range g {
			line.Scaled[0][e] = 3 - 0.7*at
			line.Scaled[1][e] = 1
		}
		for j, want := range []func(float64) float64{func(at float64) float64 { return 3 - 0.7*at }, func(float64) float64 { return 1 }} {
			trend, err := f.Trend(&line, unit(j), scale, 4, 10, 0.95)
			if err != nil || trend.Status != covariates.Converged || len(trend.Value) != 11 {
				t.Fatal(scale, err, trend)
			}
			for k, at := range trend.Along {
				near(t, fmt.Sprint(scale, " at ", at), trend.Value[k], want(at), 1e-7)
			}
		}
	}
}

// Value and limits against least squares solved by Gauss and Jordan on the rows of the spline.
func TestTrendAgainstLeastSquares(t *testing.T) {
	d, x := plainRows(12, 90)
	f := mustCox(t, d, x, hazards.Options{})
	s, err := f.Schoenfeld()
	if err != nil {
		t.Fatal(err)
	}
	g, err := f.Along(s, hazards.FailedShare)
	if err != nil {
		t.Fatal(err)
	}
	knots, err := covariates.Knots(g, 4)
	if err != nil {
		t.Fatal(err)
	}
	row := func(at float64) []float64 { return append([]float64{1}, covariates.SplineAt(at, knots)...) }
	m := make([][]float64, 4) // [ZᵀZ | I | Zᵀy]
	for i := range m {
		m[i] = make([]float64, 9)
		m[i][4+i] = 1
	}
	for e, at := range g {
		z := row(at)
		for i := range z {
			for k := range z {
				m[i][k] += z[i] * z[k]
			}
			m[i][8] += z[i] * s.Scaled[1][e]
		}
	}
	for i := range m {
		pivot := m[i][i]
		for k := range m[i] {
			m[i][k] /= pivot
		}
		for r := range m {
			if factor := m[r][i]; r != i {
				for k := range m[r] {
					m[r][k] -= factor * m[i][k]
				}
			}
		}
	}
	trend, err := f.Trend(s, unit(1), hazards.FailedShare, 4, 7, 0.95)
	if err != nil || trend.Status != covariates.Converged {
		t.Fatal(err, trend)
	}
	for k, at := range trend.Along {
		z, value, square := row(at), 0.0, 0.0
		for i := range z {
			value += z[i] * m[i][8]
			for l := range z {
				square += z[i] * m[i][4+l] * z[l]
			}
		}
		near(t, "value", trend.Value[k], value, 1e-6)
		near(t, "upper limit", trend.Upper[k]-trend.Value[k], 1.959963984540054*math.Sqrt(square*float64(f.Events)*f.Model[3]), 1e-6)
	}
}

func TestTrendThatIsNotThere(t *testing.T) {
	d, x := plainRows(13, 60)
	for i := range d.Exit {
		d.Exit[i] = 5
	}
	f := mustCox(t, d, x, hazards.Options{})
	s, err := f.Schoenfeld()
	if err != nil {
		t.Fatal(err)
	}
	if trend, err := f.Trend(s, unit(0), hazards.FailedShare, 4, 10, 0.95); err != nil || trend.Status != covariates.Singular || trend.Reason == "" {
		t.Error(err, trend)
	}
	if _, err := f.Trend(s, make([]float64, 9), hazards.FailedShare, 4, 10, 0.95); err == nil {
		t.Error("nine weights for two coefficients are accepted")
	}
}
