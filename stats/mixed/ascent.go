package mixed

import (
	"math"

	"deltoid/stats/covariates"
)

// ascent is where Newton's method ended.
type ascent struct {
	status      Status
	at          []float64 // coordinates
	state       *state
	derivatives *derivatives
	steps       int
	weak        *weakness
}

const (
	usualSteps = 100
	// closeEnough is the gain in log-likelihood that a full step of Newton's method promises when it is the last one: what is left
	// after it is of the order of the square.
	closeEnough = 1e-8
)

// climb maximises the likelihood: by Newton's method where the observed information is positive, and by Fisher's scoring where it is
// not, with steps halved until the likelihood rises.
func (l *likelihood) climb(c *coordinates, start []float64, most int) *ascent {
	a := &ascent{at: start, state: l.at(c.theta(start))}
	if a.state.weak != nil || !finite(a.state.value) {
		a.status, a.weak = OnBoundary, a.state.weak
		return a
	}
	for a.steps = 0; a.steps < most; a.steps++ {
		a.derivatives = l.derive(a.state)
		step, gain, newton := a.direction(c)
		if step == nil {
			a.status = NotIdentified
			return a
		}
		moved := a.move(l, c, step)
		if moved < 1 && gain < 1e-6 && a.weak == nil || moved == 1 && newton && gain < closeEnough {
			a.derivatives = l.derive(a.state)
			return a
		}
		if moved == 0 {
			break
		}
	}
	a.status = LimitReached
	if a.weak != nil {
		a.status = OnBoundary
	}
	return a
}

// direction returns the step, the gain it promises and whether it is Newton's.
func (a *ascent) direction(c *coordinates) (step []float64, gain float64, newton bool) {
	q, d := c.size, a.derivatives
	j := c.jacobian(a.at)
	slope, curve := turnVector(j, d.slope), c.curvature(d.slope)
	observed, expected := turn(j, d.observed, q), turn(j, d.expected, q)
	for i := range curve {
		observed[i] -= curve[i]
	}
	factor, bad := covariates.Factorise(observed, q, nil)
	newton = bad < 0
	for i := 0; i < q && !newton; i++ {
		// A variance of one's own that is on its way to 0 has little information left; the curve of its square stops the step there.
		expected[i*q+i] += max(0, -curve[i*q+i])
	}
	for ridge := 0.0; bad >= 0; ridge = max(1e-6, 10*ridge) {
		if ridge > 1e6 {
			return nil, 0, false
		}
		m := append([]float64(nil), expected...)
		for i := range q {
			m[i*q+i] += ridge * (1 + m[i*q+i])
		}
		factor, bad = covariates.Factorise(m, q, nil)
	}
	step = factor.Solve(slope)
	for i, x := range step {
		gain += float64(x * slope[i])
	}
	return step, gain, newton
}

// move goes along the step as far as the likelihood rises, and returns how far: 0 where it does not.
func (a *ascent) move(l *likelihood, c *coordinates, step []float64) float64 {
	slack := 1e-11 * (math.Abs(a.state.value) + float64(l.rows))
	a.weak = nil
	for part := 1.0; part > 1e-9; part /= 2 {
		at := make([]float64, len(step))
		for i, x := range step {
			at[i] = a.at[i] + float64(part*x)
		}
		theta := c.theta(at)
		if !finite(theta...) || !l.structure.inside(theta) {
			continue
		}
		s := l.at(theta)
		if s.weak != nil {
			a.weak = s.weak
			continue
		}
		if s.value >= a.state.value-slack {
			a.at, a.state = at, s
			return part
		}
	}
	return 0
}
