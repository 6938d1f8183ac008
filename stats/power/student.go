package power

import (
	"math"

	"deltoid/stats/dist"
)

// spreadOf integrates f over S, the sample standard deviation in units of the true one, with df degrees of freedom: S² df has
// the chi-square distribution. from and to cut the range.
func spreadOf(df, from, to float64, f func(s float64) float64) float64 {
	wide := 1 / math.Sqrt(2*df)
	from, to = math.Max(from, math.Max(0, 1-float64(10*wide))), math.Min(to, 1+float64(10*wide))
	h := df / 2
	lg, _ := math.Lgamma(h)
	constant := math.Ln2 + float64(h*math.Log(h)) - lg
	density := func(s float64) float64 {
		return math.Exp(constant + float64((df-1)*math.Log(s)) - float64(h*float64(s*s)))
	}
	return integral(func(s float64) float64 { return density(s) * f(s) }, from, to, 4)
}

// beyond returns the probability that a variable with Student's noncentral distribution exceeds c: its numerator is normal
// about shift, its denominator the spread with df degrees of freedom.
//
//	P(T > c) = ∫ Φ(shift − c s) dP(S ≤ s)
//
// Source: Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 2 (1995), chapter 31.
func beyond(c, df, shift float64) float64 {
	return spreadOf(df, 0, math.Inf(1), func(s float64) float64 { return dist.NormalLower(shift - float64(c*s)) })
}

// critical returns the value beyond which Student's distribution has the given tail: Newton's method from the normal value
// with its first corrections. With few degrees of freedom the tails are too heavy for such a start, and the slower search of
// package dist is used.
//
// Source of the start: Abramowitz & Stegun (1964), 26.7.5.
func critical(tail, df float64) float64 {
	if df < 5 || tail < 1e-6 {
		return dist.StudentSpread(1-float64(2*tail), df)
	}
	z := -dist.NormalQuantile(tail)
	cube := float64(z * z * z)
	t := z + (cube+z)/(4*df) + (float64(5*cube*z*z)+float64(16*cube)+float64(3*z))/(96*df*df)
	h := (df + 1) / 2
	g1, _ := math.Lgamma(h)
	g2, _ := math.Lgamma(df / 2)
	constant := g1 - g2 - float64(0.5*math.Log(df*math.Pi))
	for range 20 {
		density := math.Exp(constant - float64(h*math.Log1p(t*t/df)))
		step := (float64(0.5*dist.StudentTwoSided(t, df)) - tail) / density
		t += step
		if math.Abs(step) <= 1e-14*t {
			break
		}
	}
	return t
}

// studentPower is the power of a t test whose statistic is shifted by so many standard errors. Two-sided, it counts the
// rejections on the wrong side too, as the exact power does.
func (a *assumed) studentPower(shift, df float64) float64 {
	c := critical(a.tail(), df)
	p := beyond(c, df, math.Abs(shift))
	if a.twoSided() {
		p += beyond(c, df, -math.Abs(shift))
	}
	return p
}

// zPower is the power of a normal test: the effect reaches the critical value of its spread without an effect, with the
// spread that it has with one. Rejections on the wrong side are not counted, as the published formulas do not.
func (a *assumed) zPower(effect, spreadNull, spreadEffect float64) float64 {
	z := -dist.NormalQuantile(a.tail())
	return dist.NormalLower((math.Abs(effect) - float64(z*spreadNull)) / spreadEffect)
}
