package covariates

import (
	"fmt"
	"math"

	"deltoid/stats/dist"
)

// Fit holds the estimates of a model. Coefficients and covariances are in the units of the
// columns; matrices have one row after the other. In any status but Converged there are no
// estimates, and every effect and test of the fit repeats status and reason.
type Fit struct {
	Status Status
	// Reason says in a sentence why there are no estimates and what can be done.
	Reason string
	// AtFault names the columns that are the reason.
	AtFault []string

	Names, Terms []string // of each coefficient
	N            int      // rows used
	Events       int
	Clusters     int // 0 where rows are independent
	Steps        int

	Coefficient []float64
	// Model is the inverse of the information; Robust is the sum over clusters of squared
	// influences, nil where it was not asked for.
	Model, Robust []float64
	// NullLogLikelihood is at coefficients of 0.
	NullLogLikelihood, LogLikelihood float64
	// Penalised says that both log-likelihoods hold the penalty of Firth.
	Penalised bool
	score     float64
	extra     int // parameters at the end that are not effects
}

// Refuse makes a fit without estimates.
func (f *Fit) Refuse(s Status, reason string, atFault ...string) {
	f.Status, f.Reason, f.AtFault = s, reason, atFault
}

// NewFit names the coefficients of a design.
func NewFit(d *Design, n, events int) *Fit {
	f := &Fit{N: n, Events: events}
	for _, c := range d.Columns {
		f.Names, f.Terms = append(f.Names, c.Name), append(f.Terms, c.term())
	}
	if d.Constant {
		f.Names, f.Terms = append(f.Names, ConstantName), append(f.Terms, ConstantName)
	}
	for _, name := range d.Extra {
		f.Names, f.Terms = append(f.Names, name), append(f.Terms, name)
	}
	f.extra = len(d.Extra)
	return f
}

// ConstantName is the name of the intercept among the coefficients.
const ConstantName = "constant"

// Take takes over what Maximise found.
func (f *Fit) Take(d *Design, a *Ascent) {
	f.Steps, f.NullLogLikelihood = a.Steps, a.Null
	if a.Status != Converged {
		f.Refuse(a.Status, a.Reason)
		for _, j := range a.AtFault {
			f.AtFault = append(f.AtFault, d.Name(j))
		}
		return
	}
	f.LogLikelihood = a.Value
	f.Coefficient, f.Model = d.Unscale(a.Beta, a.Factor.Inverse())
	if null, bad := Factorise(a.NullInformation, d.Size(), nil); bad < 0 {
		f.score = null.Form(a.Score)
	}
}

// TakeRobust sets the robust covariance from the sum over clusters of squared scores, in z.
func (f *Fit) TakeRobust(d *Design, a *Ascent, meat []float64) {
	_, f.Robust = d.Unscale(a.Beta, Sandwich(a.Factor.Inverse(), meat, d.Size()))
}

// Variance returns the covariance that effects and the Wald test rest on: Robust where there is
// one.
func (f *Fit) Variance() []float64 {
	if f.Robust != nil {
		return f.Robust
	}
	return f.Model
}

// VarianceName names it for a footnote.
func (f *Fit) VarianceName() string {
	switch {
	case f.Robust == nil:
		return "model-based variance"
	case f.Clusters == 0:
		return "robust variance"
	}
	return "robust variance, clustered"
}

// Effect is one coefficient with its interval. Exp of Estimate, Lower and Upper is the ratio
// that the model is about (of hazards, odds or rates).
type Effect struct {
	Name                       string
	Status                     Status
	Reason                     string
	Estimate, SE, Lower, Upper float64
	Level                      float64
	Z, P                       float64 // against 0, two-sided
}

// Ratio returns the exponentials of estimate and limits.
func (e Effect) Ratio() (estimate, lower, upper float64) {
	return math.Exp(e.Estimate), math.Exp(e.Lower), math.Exp(e.Upper)
}

// Effect returns coefficient j with its Wald interval of the given level.
func (f *Fit) Effect(j int, level float64) Effect {
	weights := make([]float64, len(f.Names))
	weights[j] = 1
	e := f.Combine(weights, level)
	e.Name = f.Names[j]
	return e
}

// Combine returns Σ w_j β_j with its Wald interval: the difference of two levels, or the effect
// at some value of a spline or interaction.
func (f *Fit) Combine(w []float64, level float64) Effect {
	e := Effect{Status: f.Status, Reason: f.Reason, Level: level}
	if f.Status != Converged {
		return e
	}
	v, p := f.Variance(), len(f.Names)
	square := 0.0
	for j, a := range w {
		e.Estimate += float64(a * f.Coefficient[j])
		for k, b := range w {
			square += float64(a * b * v[j*p+k])
		}
	}
	e.SE = math.Sqrt(max(0, square))
	half := float64(dist.NormalSpread(level) * e.SE)
	e.Lower, e.Upper = e.Estimate-half, e.Estimate+half
	e.Z = e.Estimate / e.SE
	e.P = dist.NormalTwoSided(e.Z)
	if e.SE == 0 {
		e.Z, e.P = 0, 1
	}
	return e
}

// Test is a chi-square test; in any status but Converged it has no numbers to show.
type Test struct {
	Name      string
	Status    Status
	Reason    string
	ChiSquare float64
	DF        int
	P         float64
}

func newTest(name string, chi float64, df int) Test {
	return Test{Name: name, ChiSquare: max(0, chi), DF: df, P: dist.ChiSquareUpper(max(0, chi), max(1, df))}
}

func (f *Fit) refused(name string) Test { return Test{Name: name, Status: f.Status, Reason: f.Reason} }

// LikelihoodRatio tests all coefficients at once by twice the gain in log-likelihood. It does not
// know of clusters.
func (f *Fit) LikelihoodRatio() Test {
	const name = "likelihood ratio"
	if f.Status != Converged {
		return f.refused(name)
	}
	return newTest(name, 2*(f.LogLikelihood-f.NullLogLikelihood), f.slopes())
}

// Score tests all coefficients at once by the slope of the likelihood where they are 0. It does
// not know of clusters.
func (f *Fit) Score() Test {
	const name = "score"
	if f.Status != Converged {
		return f.refused(name)
	}
	return newTest(name, f.score, f.slopes())
}

// Wald tests all coefficients (but for the constant) at once by their distance from 0, in the
// covariance in use.
func (f *Fit) Wald() Test {
	at := make([]int, f.slopes())
	for j := range at {
		at[j] = j
	}
	return f.waldOf("Wald", at)
}

// Term tests the coefficients of one term at once by their distance from 0.
func (f *Fit) Term(name string) Test {
	var at []int
	for j, term := range f.Terms {
		if term == name {
			at = append(at, j)
		}
	}
	return f.waldOf(name, at)
}

// slopes returns how many coefficients are effects; they come first.
func (f *Fit) slopes() int {
	n := len(f.Terms) - f.extra
	if n > 0 && f.Terms[n-1] == ConstantName {
		n--
	}
	return n
}

func (f *Fit) waldOf(name string, at []int) Test {
	if f.Status != Converged {
		return f.refused(name)
	}
	return waldTest(name, f.Coefficient, f.Variance(), at)
}

func waldTest(name string, b, v []float64, at []int) Test {
	k, p := len(at), len(b)
	u, m := make([]float64, k), make([]float64, k*k)
	for i, a := range at {
		u[i] = b[a]
		for j, c := range at {
			m[i*k+j] = v[a*p+c]
		}
	}
	return ChiSquareTest(name, u, m)
}

// Compare tests a model against one that holds some of its columns, fitted to the same rows, by
// twice the difference of their log-likelihoods.
func (f *Fit) Compare(smaller *Fit) (Test, error) {
	const name = "likelihood ratio"
	if f.N != smaller.N || f.Events != smaller.Events {
		return Test{}, fmt.Errorf("the models have %d and %d rows, %d and %d events; only models of the same rows can be compared",
			f.N, smaller.N, f.Events, smaller.Events)
	}
	if f.Status != Converged {
		return f.refused(name), nil
	}
	if smaller.Status != Converged {
		return smaller.refused(name), nil
	}
	return newTest(name, 2*(f.LogLikelihood-smaller.LogLikelihood), len(f.Names)-len(smaller.Names)), nil
}

// ChiSquareTest returns the test uᵀM⁻¹u for a k × k covariance M of u; its status is Singular
// where M cannot be inverted.
func ChiSquareTest(name string, u, m []float64) Test {
	f, bad := Factorise(m, len(u), nil)
	if bad >= 0 {
		return Test{Name: name, Status: Singular, Reason: fmt.Sprintf(
			"the covariance of %d numbers is singular: there are too few clusters, or events, to test them", len(u))}
	}
	return newTest(name, f.Form(u), len(u))
}
