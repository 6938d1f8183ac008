package mixed

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/dist"
)

// Effect is a number that is linear in the coefficients, with its interval from Student's distribution.
type Effect struct {
	Name   string
	Status Status
	Reason string
	// Estimate, SE and limits are in the unit of the score (of a coefficient: per unit of its column).
	Estimate, SE, Lower, Upper float64
	Level                      float64
	// DF are the degrees of freedom, not whole as a rule; T and P test the number against 0, two-sided.
	DF, T, P float64
}

// Effect returns coefficient j with its interval of the given level.
func (f *Fit) Effect(j int, level float64) Effect {
	weights := make([]float64, len(f.Names))
	weights[j] = 1
	e := f.Combine(weights, level)
	e.Name = f.Names[j]
	return e
}

// Combine returns Σ w_j β_j, one weight for each of Names (the constant is the last), with its interval.
func (f *Fit) Combine(w []float64, level float64) Effect {
	e := Effect{Status: f.Status, Reason: f.Reason, Level: level}
	if f.Status != Converged {
		return e
	}
	for j, a := range w {
		e.Estimate += float64(a * f.Coefficient[j])
	}
	e.SE = math.Sqrt(math.Max(0, form(w, f.Variance)))
	if e.SE == 0 {
		e.DF, e.Lower, e.Upper, e.P = math.Inf(1), e.Estimate, e.Estimate, 1
		return e
	}
	if e.DF = f.degrees(w); e.DF < 1 {
		return Effect{Status: TooFewDegrees, Level: level,
			Reason: fmt.Sprintf("its variance rests on %.2g degrees of freedom, fewer than one: too few shoulders tell it", e.DF)}
	}
	e.T = e.Estimate / e.SE
	e.P = dist.StudentTwoSided(e.T, e.DF)
	half := float64(dist.StudentSpread(level, e.DF) * e.SE)
	e.Lower, e.Upper = e.Estimate-half, e.Estimate+half
	return e
}

// form returns wᵀMw.
func form(w, m []float64) (sum float64) {
	n := len(w)
	for j, a := range w {
		if a == 0 {
			continue
		}
		for k, b := range w {
			sum += float64(a * b * m[j*n+k])
		}
	}
	return sum
}

// degrees returns 2 (wᵀΦw)² / gᵀWg with g_k = ∂(wᵀΦw)/∂θ_k: Satterthwaite's, and for one contrast Kenward and Roger's too.
func (f *Fit) degrees(w []float64) float64 {
	q := len(f.inference.m)
	g := make([]float64, q)
	for k, m := range f.inference.m {
		g[k] = form(w, m)
	}
	v := form(w, f.Model)
	spread := form(g, f.inference.w)
	if !(spread > 0) {
		return math.Inf(1)
	}
	return 2 * v * v / spread
}

// Test is an F test of several contrasts at once; in any status but Converged it has no numbers to show.
type Test struct {
	Name   string
	Status Status
	Reason string
	// F has DF1 degrees of freedom above, the number of contrasts that are not combinations of others, and DF2 below.
	F, DF1, DF2, P float64
}

// Term tests the coefficients of one term at once.
func (f *Fit) Term(name string) Test {
	var rows [][]float64
	for j, term := range f.Terms {
		if term == name {
			rows = append(rows, unit(len(f.Names), j))
		}
	}
	return f.Test(name, rows)
}

// Test tests that all contrasts Σ_j w_j β_j, one row of weights each, are 0.
func (f *Fit) Test(name string, rows [][]float64) Test {
	t := Test{Name: name, Status: f.Status, Reason: f.Reason}
	if f.Status != Converged {
		return t
	}
	if rows = f.independent(rows); len(rows) == 0 {
		return Test{Name: name, Status: Singular, Reason: "there is no contrast to test"}
	}
	t.DF1 = float64(len(rows))
	scale := 1.0
	if f.Options.Degrees == KenwardRoger {
		t.DF2, scale = f.kenwardRoger(rows)
	} else {
		t.DF2 = f.faiCornelius(rows)
	}
	if !(t.DF2 > 0) || !(scale > 0) {
		return Test{Name: name, Status: TooFewDegrees, Reason: "the variance of its contrasts rests on too few degrees of freedom: too few shoulders tell them"}
	}
	u := make([]float64, len(rows))
	for i, w := range rows {
		for j, a := range w {
			u[i] += float64(a * f.Coefficient[j])
		}
	}
	factor, _ := covariates.Factorise(project(rows, f.Variance), len(rows), nil)
	t.F = scale * factor.Form(u) / t.DF1
	t.P = dist.FUpper(t.F, t.DF1, t.DF2)
	return t
}

// independent drops contrasts that are combinations of those before: what they add to the variance, both plain and adjusted, is nothing.
func (f *Fit) independent(rows [][]float64) (kept [][]float64) {
	plain, adjusted := &orthogonal{m: f.Model}, &orthogonal{m: f.Variance}
	for _, w := range rows {
		a, b := plain.rest(w), adjusted.rest(w)
		if a != nil && b != nil {
			plain.base, adjusted.base = append(plain.base, a), append(adjusted.base, b)
			kept = append(kept, w)
		}
	}
	return kept
}

// orthogonal is contrasts without a covariance in M, after Gram and Schmidt.
type orthogonal struct {
	m    []float64
	base []*direction
}

// direction is a contrast u with M u, at a variance of 1.
type direction struct{ u, mu []float64 }

// rest returns what a contrast adds to those before it, nil for nothing.
func (o *orthogonal) rest(w []float64) *direction {
	d := &direction{u: append([]float64(nil), w...), mu: apply(o.m, w)}
	before := dot(d.u, d.mu)
	for range 2 { // a second time, for what rounding left
		for _, b := range o.base {
			c := dot(d.u, b.mu)
			for j := range d.u {
				d.u[j] -= float64(c * b.u[j])
				d.mu[j] -= float64(c * b.mu[j])
			}
		}
	}
	after := dot(d.u, d.mu)
	if !(after > 1e-10*before) {
		return nil
	}
	for j := range d.u {
		d.u[j], d.mu[j] = d.u[j]/math.Sqrt(after), d.mu[j]/math.Sqrt(after)
	}
	return d
}

func dot(a, b []float64) (sum float64) {
	for j, x := range a {
		sum += float64(x * b[j])
	}
	return sum
}

// apply returns M w.
func apply(m, w []float64) []float64 {
	n := len(w)
	out := make([]float64, n)
	for j, x := range w {
		if x == 0 {
			continue
		}
		for h := range out {
			out[h] += float64(x * m[j*n+h])
		}
	}
	return out
}

// project returns L M Lᵀ.
func project(rows [][]float64, m []float64) []float64 {
	k := len(rows)
	out := make([]float64, k*k)
	for i, a := range rows {
		half := apply(m, a)
		for c, b := range rows {
			out[i*k+c] = dot(half, b)
		}
	}
	symmetric(out, k)
	return out
}
