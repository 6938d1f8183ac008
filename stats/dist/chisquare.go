package dist

import "math"

// ChiSquareUpper returns the probability that a chi-square variable with df degrees of freedom,
// df ≥ 1, is at least x: the p-value of a chi-square statistic. It is NaN for x NaN or df < 1.
//
// For whole degrees of freedom the upper tail is a finite sum of positive terms, which keeps
// all digits however small the tail:
//
//	even df:  Σ_{j < df/2} e^{−h} h^j / j!,                     h = x/2
//	odd df:   erfc √h + Σ_{j < (df−1)/2} e^{−h} h^{j+½} / Γ(j+3/2)
//
// Source: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 26.4.4 and 26.4.5.
func ChiSquareUpper(x float64, df int) float64 {
	if math.IsNaN(x) || df < 1 {
		return math.NaN()
	}
	if x <= 0 {
		return 1
	}
	if math.IsInf(x, 1) {
		return 0
	}
	h := x / 2
	tail, power := 0.0, 0.0
	if df%2 == 1 {
		tail, power = math.Erfc(math.Sqrt(h)), 0.5
	}
	// Terms are h^power e^{−h}/Γ(power+1). The largest is found first and its neighbours by
	// ratio, because e^{−h} alone leaves the range of a float64 long before the sum does.
	top := float64(df)/2 - 1
	if top < power {
		return tail
	}
	peak := min(top, power+math.Floor(max(0, h-power)))
	return min(1, tail+termsDown(h, peak, power)+termsUp(h, peak, top))
}

func poissonTerm(h, power float64) float64 {
	logGamma, _ := math.Lgamma(power + 1)
	return math.Exp(float64(power*math.Log(h)) - h - logGamma)
}

// termsDown sums the terms from peak down to the last power at or above bottom.
func termsDown(h, peak, bottom float64) float64 {
	term := poissonTerm(h, peak)
	sum := term
	for p := peak; p-1 >= bottom; p-- {
		term *= p / h
		sum += term
	}
	return sum
}

// termsUp sums the terms above peak up to top.
func termsUp(h, peak, top float64) float64 {
	term := poissonTerm(h, peak)
	sum := 0.0
	for p := peak + 1; p <= top; p++ {
		term *= h / p
		sum += term
	}
	return sum
}
