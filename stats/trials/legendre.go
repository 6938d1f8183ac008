package trials

import "math"

// perPanel is the number of Gauss–Legendre nodes of a panel. A panel is at most two standard
// deviations of the narrowest normal kernel wide: the error is then below 1e-13 of the integral.
const perPanel = 14

// legendre holds the nodes and weights of the Gauss–Legendre rule on −1 to 1.
var legendre = legendreRule(perPanel)

type rule struct{ node, weight []float64 }

// legendreRule finds the roots of the Legendre polynomial by Newton's method from the usual
// asymptotic start, and the weights 2/((1−x²) P′(x)²).
//
// Source: Abramowitz & Stegun (1964), 25.4.29.
func legendreRule(n int) rule {
	r := rule{make([]float64, n), make([]float64, n)}
	for i := range n {
		x := math.Cos(math.Pi * (float64(i) + 0.75) / (float64(n) + 0.5))
		var slope float64
		for range 100 {
			value, below := 1.0, 0.0
			for k := range n {
				next := (float64(float64(2*k+1)*float64(x*value)) - float64(float64(k)*below)) / float64(k+1)
				value, below = next, value
			}
			slope = float64(n) * (float64(x*value) - below) / (float64(x*x) - 1)
			step := value / slope
			x -= step
			if math.Abs(step) < 1e-16 {
				break
			}
		}
		r.node[n-1-i], r.weight[n-1-i] = x, 2/((1-float64(x*x))*float64(slope*slope))
	}
	return r
}

// panels returns nodes, rising, and weights for an integral from lo to hi in panels no wider than width.
func panels(lo, hi, width float64) (nodes, weights []float64) {
	if !(hi > lo) {
		return nil, nil
	}
	n := int(math.Ceil((hi - lo) / width))
	half := (hi - lo) / float64(n) / 2
	for p := range n {
		middle := lo + float64(float64(2*p+1)*half)
		for i, x := range legendre.node {
			nodes = append(nodes, middle+float64(half*x))
			weights = append(weights, half*legendre.weight[i])
		}
	}
	return nodes, weights
}
