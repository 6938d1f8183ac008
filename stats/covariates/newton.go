package covariates

import (
	"fmt"
	"math"
	"strings"
)

// Objective is a log-likelihood in the units of z.
type Objective interface {
	// Value returns the log-likelihood at beta; −Inf or NaN where it cannot be computed.
	Value(beta []float64) float64
	// Slope returns gradient, information (p × p) and, for each column, the size of the terms
	// whose difference its diagonal is, all at the beta of the last Value.
	Slope() (gradient, information, size []float64)
}

// Ascent is how Newton's method went.
type Ascent struct {
	Status  Status
	Reason  string
	AtFault []int // columns
	Beta    []float64
	// Null, Score and NullInformation are log-likelihood, gradient and information at the start.
	Null                   float64
	Score, NullInformation []float64
	Value                  float64
	Information            []float64
	Factor                 *Factor
	Steps                  int
	free                   []int
}

// Settings of the ascent; they are not tuning knobs of the result, which is the same for all that
// reach it.
const (
	// DefaultSteps is how many steps of Newton's method are tried.
	DefaultSteps = 50
	// settled is the squared distance to the top, in standard errors, and still the length of a
	// step, in standard deviations of the columns, at which variances cannot change any more.
	settled = 1e-18
	still   = 1e-9
	// longStep is how far a step moves some predictor when it does not get shorter.
	longStep = 0.05
	// farAway is the move of a predictor, on the log scale, at which a likelihood that still has
	// not fallen is taken to rise for ever.
	farAway = 30
)

// Start is where an ascent begins and how it may go; the zero value is the usual one.
type Start struct {
	Beta  []float64 // nil is 0 for all
	Hold  []bool    // coefficients that stay where they are; nil is none
	Steps int       // of Newton's method at most; 0 is DefaultSteps
}

func (s Start) free(p int) (at []int) {
	for j := range p {
		if s.Hold == nil || !s.Hold[j] {
			at = append(at, j)
		}
	}
	return at
}

// Maximise climbs by Newton's method, halving a step that does not climb.
func Maximise(d *Design, o Objective, s Start) *Ascent {
	if s.Steps <= 0 {
		s.Steps = DefaultSteps
	}
	p := d.Size()
	a := &Ascent{Beta: make([]float64, p), Status: LimitReached, free: s.free(p)}
	copy(a.Beta, s.Beta)
	a.Null = o.Value(a.Beta)
	a.Value = a.Null
	if math.IsNaN(a.Null) || math.IsInf(a.Null, 0) {
		a.Reason = "the likelihood cannot be computed at the start; is an offset too large?"
		return a
	}
	for ; !a.advance(d, o, s.Steps); a.Steps++ {
	}
	return a
}

// advance takes one step and reports whether the ascent is over.
func (a *Ascent) advance(d *Design, o Objective, steps int) (over bool) {
	u, info, size := o.Slope()
	if a.Steps == 0 {
		a.Score, a.NullInformation = u, info
	}
	f, bad := Factorise(submatrix(info, len(a.Beta), a.free), len(a.free), floors(size, a.free))
	if bad >= 0 {
		a.blame(d, o, f, bad)
		return true
	}
	a.Information, a.Factor = info, f
	step := a.step(f, u)
	far := dot(step, u)
	if far < settled || dot(step, step) < still*still {
		// The likelihood could not see this step; the last digits of the estimates can.
		for j, x := range step {
			a.Beta[j] += x
		}
		a.Status = Converged
		return true
	}
	if a.Steps >= 5 && a.separated(d, o, step) {
		return true
	}
	if a.Steps == steps {
		a.Reason = fmt.Sprintf("no maximum of the likelihood was found in %d steps; the last one moved %s most", steps, d.Name(largestOf(step)))
		return true
	}
	if !a.climb(o, step) {
		a.stuck(d, o, far, step)
		return true
	}
	return false
}

// step is Newton's, in the coefficients that are free.
func (a *Ascent) step(f *Factor, u []float64) []float64 {
	part, step := make([]float64, len(a.free)), make([]float64, len(a.Beta))
	for i, j := range a.free {
		part[i] = u[j]
	}
	for i, x := range f.Solve(part) {
		step[a.free[i]] = x
	}
	return step
}

func submatrix(m []float64, p int, at []int) []float64 {
	if len(at) == p {
		return m
	}
	out := make([]float64, len(at)*len(at))
	for a, j := range at {
		for b, k := range at {
			out[a*len(at)+b] = m[j*p+k]
		}
	}
	return out
}

func floors(size []float64, at []int) []float64 {
	out := make([]float64, len(at))
	for i, j := range at {
		out[i] = smallestPivot * size[j]
	}
	return out
}

func dot(a, b []float64) (sum float64) {
	for i, x := range a {
		sum += float64(x * b[i])
	}
	return sum
}

// climb takes the step, or half of it and so on, and reports whether the likelihood rose (or
// stayed, up to rounding).
func (a *Ascent) climb(o Objective, step []float64) bool {
	next := make([]float64, len(step))
	for share := 1.0; share > 1e-5; share /= 2 {
		for j := range next {
			next[j] = a.Beta[j] + float64(share*step[j])
		}
		value := o.Value(next)
		if value >= a.Value-rounding(a.Value) && !math.IsInf(value, 0) {
			a.Beta, a.Value = next, value
			return true
		}
	}
	return false
}

// rounding is the error to be expected in a log-likelihood.
func rounding(value float64) float64 { return 1e-11 * (math.Abs(value) + 1) }

// stuck is called where no share of the step climbs. So near the top that rounding decides, that
// is the top.
func (a *Ascent) stuck(d *Design, o Objective, far float64, step []float64) {
	o.Value(a.Beta)
	if far < 1e-9 {
		a.Status = Converged
		return
	}
	if !a.separated(d, o, step) {
		a.Reason = "the likelihood stopped rising before its slope was 0; the step would have moved " + d.Name(largestOf(step)) + " most"
	}
}

// separated reports whether the likelihood rises for ever along the step. It goes so far along it
// that some predictor has moved by farAway: a log-likelihood is concave, so one that has a top
// nearby has fallen a long way by then.
func (a *Ascent) separated(d *Design, o Objective, step []float64) bool {
	reach := d.Reach(step)
	if reach < longStep {
		return false
	}
	next := make([]float64, len(step))
	for j := range next {
		next[j] = a.Beta[j] + float64(step[j]*(farAway/reach))
	}
	value := o.Value(next)
	here := o.Value(a.Beta) // Slope belongs to this beta again
	if !(value >= here-rounding(here)) || math.IsInf(value, 0) {
		return false
	}
	a.Status = Separated
	most := math.Abs(step[largestOf(step)])
	var names []string
	for j, s := range step {
		if math.Abs(s) > 0.05*most {
			a.AtFault = append(a.AtFault, j)
			names = append(names, d.Name(j)+map[bool]string{true: " (to +∞)", false: " (to −∞)"}[s > 0])
		}
	}
	a.Reason = "the likelihood has no maximum: it keeps rising as the effect grows without end of " + strings.Join(names, ", ")
	return true
}

// blame says why the information could not be inverted. On the way up that is a likelihood that
// has become flat, at the start it is the columns.
func (a *Ascent) blame(d *Design, o Objective, f *Factor, bad int) {
	if a.Steps > 0 {
		o.Value(a.Beta)
		if !a.separated(d, o, a.Beta) {
			a.Reason = "the likelihood became flat along " + d.Name(a.free[bad]) + " before its maximum was found"
		}
		return
	}
	column := a.free[bad]
	a.Status, a.AtFault = Singular, []int{column}
	name := d.Name(column)
	if d.constant(column) {
		a.Reason = name + " has the same value in all rows; leave it out"
		return
	}
	if f.s[bad] == 0 {
		a.Reason = name + " does not vary among those who are compared; leave it out"
		return
	}
	var names []string
	for _, k := range f.partners(bad) {
		a.AtFault = append(a.AtFault, a.free[k])
		names = append(names, d.Name(a.free[k]))
	}
	a.Reason = name + " cannot be told apart from " + strings.Join(names, ", ") + "; leave one of them out"
}

func largestOf(x []float64) int {
	best := 0
	for j := range x {
		if math.Abs(x[j]) > math.Abs(x[best]) {
			best = j
		}
	}
	return best
}
