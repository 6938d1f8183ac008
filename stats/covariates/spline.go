package covariates

import (
	"fmt"
	"slices"
)

// knotShares are the quantiles at which knots stand.
//
// Source: Harrell, Regression Modeling Strategies (2001), table 2.3.
var knotShares = map[int][]float64{
	3: {0.10, 0.50, 0.90}, 4: {0.05, 0.35, 0.65, 0.95}, 5: {0.05, 0.275, 0.50, 0.725, 0.95},
	6: {0.05, 0.23, 0.41, 0.59, 0.77, 0.95}, 7: {0.025, 0.1833, 0.3417, 0.50, 0.6583, 0.8167, 0.975},
}

// Knots returns 3 to 7 places for the knots of a spline, at quantiles of the values. The error says
// that the values are too few or too often the same for that many.
func Knots(x []float64, count int) ([]float64, error) {
	shares, ok := knotShares[count]
	if !ok {
		return nil, fmt.Errorf("%d knots, want 3 to 7", count)
	}
	if len(x) == 0 {
		return nil, fmt.Errorf("no values to place %d knots among", count)
	}
	sorted := slices.Sorted(slices.Values(x))
	out := make([]float64, count)
	for k, share := range shares {
		at := float64(share * float64(len(x)-1))
		low := int(at)
		high := min(low+1, len(x)-1)
		out[k] = sorted[low] + float64((at-float64(low))*(sorted[high]-sorted[low]))
		if k > 0 && !(out[k] > out[k-1]) {
			return nil, fmt.Errorf("the values are too often the same for %d knots: two would stand at %v", count, out[k])
		}
	}
	return out, nil
}

// Spline returns the columns of a natural cubic spline: a curve that is cubic between neighbouring
// knots, smooth at them, and straight outside the first and last. The first column, called name, is
// x itself; a spline of k knots has k−1 columns of one term, and Combine with the differences of
// SplineAt gives the effect between two values. Testing the columns after the first tests for a
// straight line.
//
//	s_j(x) = ((x−t_j)³₊ − (x−t_{k−1})³₊ (t_k−t_j)/(t_k−t_{k−1}) + (x−t_k)³₊ (t_{k−1}−t_j)/(t_k−t_{k−1}))/(t_k−t_1)²
//
// Source: Devlin & Weeks (1986), as in Harrell (2001), section 2.4.4.
func Spline(name string, x, knots []float64) ([]Column, error) {
	if len(knots) < 3 {
		return nil, fmt.Errorf("%d knots for %s, want 3 or more", len(knots), name)
	}
	for k := 1; k < len(knots); k++ {
		if !(knots[k] > knots[k-1]) {
			return nil, fmt.Errorf("knots of %s are to ascend, but %v is followed by %v", name, knots[k-1], knots[k])
		}
	}
	out := make([]Column, len(knots)-1)
	for j := range out {
		out[j] = Column{Name: fmt.Sprintf("%s, bend %d", name, j), Term: name, Values: make([]float64, len(x))}
	}
	out[0].Name = name
	for i, v := range x {
		for j, s := range SplineAt(v, knots) {
			out[j].Values[i] = s
		}
	}
	return out, nil
}

// SplineAt returns the values of the columns of Spline at one x.
func SplineAt(x float64, knots []float64) []float64 {
	k := len(knots)
	out := make([]float64, k-1)
	out[0] = x
	last, before := knots[k-1], knots[k-2]
	gap, range2 := last-before, (last-knots[0])*(last-knots[0])
	for j := 1; j < k-1; j++ {
		t := knots[j-1]
		s := cube(x-t) - float64(cube(x-before)*((last-t)/gap)) + float64(cube(x-last)*((before-t)/gap))
		out[j] = s / range2
	}
	return out
}

// cube returns the cube of what is above 0.
func cube(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x * x * x
}
