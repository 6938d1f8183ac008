package trials

import (
	"math"
	"testing"

	"deltoid/stats/random"
)

// Each shoulder by itself is exponential with mean 1, and Kendall's tau of the pairs is the one
// that was asked for; its standard error from n pairs is below 0.7/√n.
func TestPairsHaveTheirConcordance(t *testing.T) {
	const n = 1500
	for _, d := range []Dependence{{}, {Clayton, 0.2}, {Clayton, 0.6}, {Gaussian, 0.4}, {Gaussian, -0.5}, WithTheta(2), WithCorrelation(0.5)} {
		r := random.Stream(9, "pairs", 0)
		var a, b [n]float64
		var meanA, meanB float64
		for i := range n {
			a[i], b[i] = d.pair(r, d.Parameter())
			meanA, meanB = meanA+a[i]/n, meanB+b[i]/n
		}
		concordant := 0.0
		for i := range n {
			for j := range i {
				concordant += math.Copysign(1, (a[i]-a[j])*(b[i]-b[j]))
			}
		}
		tau := concordant / (n * (n - 1) / 2)
		if math.Abs(tau-d.Tau) > 3*0.7/math.Sqrt(n) {
			t.Errorf("copula %d: tau %.3f, want %.3f", d.Copula, tau, d.Tau)
		}
		if math.Abs(meanA-1) > 3.5/math.Sqrt(n) || math.Abs(meanB-1) > 3.5/math.Sqrt(n) {
			t.Errorf("copula %d, tau %v: means %.3f and %.3f, want 1", d.Copula, d.Tau, meanA, meanB)
		}
	}
	if tau := WithTheta(2).Tau; tau != 0.5 {
		t.Errorf("tau of theta 2 is %v, want θ/(θ+2) = 0.5", tau)
	}
	if tau := WithCorrelation(0.5).Tau; math.Abs(tau-1.0/3) > 1e-15 {
		t.Errorf("tau of the correlation 0.5 is %v, want 2/π asin 0.5 = 1/3", tau)
	}
}

// Clayton's copula: the hazard of one shoulder where the other had the event at 0.3 is θ + 1 times
// that where the other had none by then. Counted in a short stretch.
func TestClaytonMultipliesTheHazard(t *testing.T) {
	d := WithTheta(1.5)
	r := random.Stream(4, "pairs", 1)
	var with, without, eventsWith, eventsWithout float64
	for range 400_000 {
		a, b := d.pair(r, d.Parameter())
		if b < 0.5 {
			continue
		}
		hit := 0.0
		if b < 0.52 {
			hit = 1
		}
		switch {
		case a > 0.3 && a < 0.35:
			with, eventsWith = with+1, eventsWith+hit
		}
		if a > 0.325 {
			without, eventsWithout = without+1, eventsWithout+hit
		}
	}
	ratio := (eventsWith / with) / (eventsWithout / without)
	if math.Abs(ratio-2.5) > 0.25 {
		t.Errorf("the hazard is multiplied by %.3f, want 2.5", ratio)
	}
}

// Gamma variables of mean 1: variance 1/shape within four standard errors.
func TestGamma(t *testing.T) {
	for _, shape := range []float64{0.3, 1, 4, 50} {
		r := random.Stream(2, "gamma", 0)
		const n = 100_000
		var sum, squares float64
		for range n {
			x := gamma(r, shape)
			sum, squares = sum+x, squares+x*x
		}
		mean := sum / n
		variance := squares/n - mean*mean
		// The fourth central moment of a gamma variable is 3/shape² + 6/shape³.
		se := math.Sqrt((2/(shape*shape) + 6/math.Pow(shape, 3)) / n)
		if math.Abs(mean-1) > 4/math.Sqrt(shape*n) || math.Abs(variance-1/shape) > 4*se {
			t.Errorf("shape %v: mean %.4f, variance %.4f", shape, mean, variance)
		}
	}
}

// The day on which a cumulative hazard is reached undoes the cumulative hazard.
func TestReachUndoesCumulative(t *testing.T) {
	h := Hazard{{0, 0.01}, {30, 0}, {60, 0.002}, {365, 0.0005}}
	for _, a := range []float64{0.001, 0.299, 0.3001, 0.5, 0.9, 1.2} {
		if day := h.reach(a); math.Abs(h.Cumulative(day)-a) > 1e-12 {
			t.Errorf("%v is reached on day %v, where it is %v", a, day, h.Cumulative(day))
		}
	}
	if day := (Hazard{{0, 0.01}, {10, 0}}).reach(0.2); !math.IsInf(day, 1) {
		t.Errorf("a hazard that ends is reached on day %v", day)
	}
	// A ratio that changes after a year.
	later := Constant(0.001).TimesFrom([]Piece{{0, 1}, {365, 0.5}})
	if got, want := later.Cumulative(730), 0.365+0.5*0.365; math.Abs(got-want) > 1e-12 {
		t.Errorf("cumulative hazard %v with a ratio of 0.5 after a year, want %v", got, want)
	}
	two := h.TimesFrom([]Piece{{0, 2}, {45, 1}, {365, 4}})
	if got, want := two.Cumulative(465), 2*0.3+305*0.002+100*4*0.0005; math.Abs(got-want) > 1e-12 {
		t.Errorf("cumulative hazard %v, want %v", got, want)
	}
}

// Patients enter as the pattern says.
func TestAccrual(t *testing.T) {
	a := Accrual{Days: 1000, Pattern: Rising(0.5), FollowUp: 10}
	// With a rate that grows over the first half, its patients are a third of all.
	if day := a.day(1.0 / 3); day < 498 || day > 500 {
		t.Errorf("a third has entered by day %d, want 500", day)
	}
	if first, last := a.day(0), a.day(math.Nextafter(1, 0)); first != 0 || last != 999 {
		t.Errorf("the first enters on day %d and the last on %d, want 0 and 999", first, last)
	}
	// Within the rising part the share grows with the square of the time.
	if day := a.day(1.0 / 12); day < 245 || day > 251 {
		t.Errorf("a twelfth has entered by day %d, want 250", day)
	}
}
