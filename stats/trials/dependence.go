package trials

import (
	"fmt"
	"math"
	"math/rand/v2"

	"deltoid/stats/dist"
)

// Copula says how the times of a patient's two shoulders hang together, each shoulder by itself
// keeping its hazard.
type Copula uint8

// The copulas.
const (
	// Independent: one shoulder says nothing about the other.
	Independent Copula = iota
	// Clayton: of those whose one shoulder had the event on some day, the other has θ + 1 times the
	// hazard of those whose one shoulder had none by then, on whatever days: Clayton, Biometrika 65
	// (1978) 141–151.
	Clayton
	// Gaussian: dependence is strongest in the middle and fades towards both ends.
	Gaussian
)

// Dependence is a copula with its concordance: of two patients whose shoulders all had the event,
// Kendall's tau is the chance that the one who was first on the right was first on the left, less
// the chance that it was the other way round.
type Dependence struct {
	Copula Copula
	Tau    float64
}

// Parameter returns what the formula of the copula needs: θ = 2τ/(1 − τ) of Clayton's, the
// correlation sin(πτ/2) of the Gaussian.
func (d Dependence) Parameter() float64 {
	switch d.Copula {
	case Clayton:
		return 2 * d.Tau / (1 - d.Tau)
	case Gaussian:
		return math.Sin(math.Pi * d.Tau / 2)
	}
	return 0
}

// WithTheta is Clayton's copula by its parameter θ.
func WithTheta(theta float64) Dependence { return Dependence{Clayton, theta / (theta + 2)} }

// WithCorrelation is the Gaussian copula by its correlation.
func WithCorrelation(r float64) Dependence {
	return Dependence{Gaussian, 2 / math.Pi * math.Asin(r)}
}

func (d Dependence) check() error {
	switch {
	case d.Copula > Gaussian:
		return impossible("copula", d.Copula, "independent, Clayton or Gaussian", "")
	case d.Copula == Clayton && !(d.Tau >= 0 && d.Tau < 1):
		return impossible("concordance of two shoulders", d.Tau, "0 or more and below 1 with Clayton's copula", "for shoulders that go opposite ways take the Gaussian")
	case d.Copula == Gaussian && !(d.Tau > -1 && d.Tau < 1):
		return impossible("concordance of two shoulders", d.Tau, "above -1 and below 1", "")
	case d.Copula == Independent && d.Tau != 0:
		return impossible("concordance of independent shoulders", d.Tau, "0", "name a copula")
	}
	return nil
}

// pair draws the cumulative hazards at which the two shoulders have the event: each is standard
// exponential by itself.
func (d Dependence) pair(r *rand.Rand, theta float64) (a, b float64) {
	a = r.ExpFloat64()
	switch d.Copula {
	case Clayton:
		if theta == 0 {
			return a, r.ExpFloat64()
		}
		// Conditional inversion in logarithms: with S₁ = e^{−a} and w uniform,
		// S₂^{−θ} = 1 + S₁^{−θ} (w^{−θ/(1+θ)} − 1).
		w := r.ExpFloat64()
		grown := math.Exp(theta*a) * math.Expm1(w*theta/(1+theta))
		return a, math.Log1p(grown) / theta
	case Gaussian:
		x := r.NormFloat64()
		y := float64(theta*x) + float64(math.Sqrt(1-float64(theta*theta))*r.NormFloat64())
		return -math.Log(dist.NormalUpper(x)), -math.Log(dist.NormalUpper(y))
	}
	return a, r.ExpFloat64()
}

// Hospitals are clusters of patients.
type Hospitals struct {
	// Number of hospitals; 0 means that hospitals do not matter.
	Number int
	// Sizes are relative; nil means equal.
	Sizes []float64
	// Frailty is the variance of what multiplies the hazard of the event of all patients of one hospital: a
	// gamma variable of mean 1.
	Frailty float64
	// Allocated says that a hospital's patients all have one arm, drawn by lot so that the number of
	// hospitals is shared out as the patients would be; otherwise each hospital has patients of all
	// arms.
	Allocated bool
}

func (h Hospitals) check(arms int) error {
	switch {
	case h.Number < 0 || h.Number > 1<<20:
		return impossible("number of hospitals", h.Number, "0 or more", "")
	case h.Sizes != nil && len(h.Sizes) != h.Number:
		return impossible("number of sizes of hospitals", len(h.Sizes), fmt.Sprint(h.Number), "")
	case !(h.Frailty >= 0) || math.IsInf(h.Frailty, 0):
		return impossible("variance between hospitals", h.Frailty, "0 or more", "")
	case h.Frailty > 0 && h.Number == 0:
		return impossible("number of hospitals", 0, "1 or more where hospitals differ", "")
	case h.Allocated && h.Number < arms:
		return impossible("number of hospitals", h.Number, fmt.Sprintf("%d or more, one for each arm", arms), "allocate patients instead")
	}
	for i, s := range h.Sizes {
		if !(s > 0) || math.IsInf(s, 0) {
			return impossible(fmt.Sprintf("size of hospital %d", i+1), s, "above 0", "")
		}
	}
	return nil
}

// gamma draws a gamma variable with the given shape and mean 1.
//
// Source: Marsaglia & Tsang, ACM Trans. Math. Softw. 26 (2000) 363–372.
func gamma(r *rand.Rand, shape float64) float64 {
	boost := 1.0
	k := shape
	if k < 1 {
		boost = math.Exp(-r.ExpFloat64() / k)
		k++
	}
	d := k - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := r.NormFloat64()
		v := 1 + float64(c*x)
		if v <= 0 {
			continue
		}
		v = v * v * v
		if -r.ExpFloat64() < float64(x*x)/2+d-float64(d*v)+float64(d*math.Log(v)) {
			return float64(d*v) * boost / shape
		}
	}
}
