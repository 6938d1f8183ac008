package power

import "math"

// crossing finds where f, which is below 0 at low and not below 0 at high, reaches 0, to about the last digits of a
// float64. It halves the interval, or takes the step of the secant or of inverse quadratic interpolation where that is
// safe.
//
// Source: Chandrupatla, Adv. Eng. Softw. 28 (1997) 145–149.
func crossing(f func(float64) float64, low, high float64) float64 {
	a, b, fa, fb := low, high, f(low), f(high)
	t := 0.5
	var c, fc float64
	for range 200 {
		x := a + float64(t*(b-a))
		fx := f(x)
		if (fx < 0) == (fa < 0) {
			c, fc = a, fa
		} else {
			c, fc, b, fb = b, fb, a, fa
		}
		a, fa = x, fx
		best := a
		if math.Abs(fb) < math.Abs(fa) {
			best = b
		}
		near := float64(4e-16*math.Abs(best)) + 1e-300
		span := near / math.Abs(b-a)
		if fa == 0 || span > 0.5 {
			return best
		}
		t = nextStep(a, b, c, fa, fb, fc)
		t = math.Min(1-span, math.Max(span, t))
	}
	return a
}

func nextStep(a, b, c, fa, fb, fc float64) float64 {
	xi, phi := (a-b)/(c-b), (fa-fb)/(fc-fb)
	if !(1-math.Sqrt(1-xi) < phi && phi < math.Sqrt(xi)) {
		return 0.5
	}
	return float64(fa/(fb-fa)*fc/(fb-fc)) + float64((c-a)/(b-a)*fa/(fc-fa)*fb/(fc-fb))
}

// legendre holds the nodes and weights of Gauss and Legendre on [−1, 1].
var legendre = rule(32)

type node struct{ x, weight float64 }

// rule finds the nodes of Gauss and Legendre by Newton's method on the polynomial of degree n.
//
// Source: Abramowitz & Stegun (1964), 25.4.30.
func rule(n int) []node {
	nodes := make([]node, n)
	for i := range nodes {
		x := math.Cos(math.Pi * (float64(i) + 0.75) / (float64(n) + 0.5))
		var slope float64
		for range 50 {
			p0, p1 := 1.0, x
			for k := 2; k <= n; k++ {
				p0, p1 = p1, (float64(float64(2*k-1)*float64(x*p1))-float64(float64(k-1)*p0))/float64(k)
			}
			slope = float64(n) * (p0 - float64(x*p1)) / (1 - float64(x*x))
			step := p1 / slope
			x -= step
			if math.Abs(step) < 1e-16 {
				break
			}
		}
		nodes[i] = node{x, 2 / ((1 - float64(x*x)) * float64(slope*slope))}
	}
	return nodes
}

// integral integrates a smooth f from a to b over equal panels.
func integral(f func(float64) float64, a, b float64, panels int) float64 {
	if !(b > a) {
		return 0
	}
	total, half := 0.0, (b-a)/float64(2*panels)
	for p := range panels {
		mid := a + float64(half*float64(2*p+1))
		for _, n := range legendre {
			total += float64(n.weight * f(mid+float64(half*n.x)))
		}
	}
	return total * half
}
