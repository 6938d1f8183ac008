package covariates

import (
	"math"

	"deltoid/stats/dist"
)

// Profile returns the limits of coefficient j, in the units of its column, within which its profile
// likelihood falls short of the largest by no more than a chi-square variable of one degree of
// freedom allows: unlike estimate ± z·SE they hold where the likelihood is lopsided. A limit
// that does not exist is −Inf or +Inf. The ascent is the one that found the estimates, on the same
// objective, which is left as it was found.
//
// The drop is found by bisection between where it is too small and where it is too large.
func Profile(d *Design, o Objective, a *Ascent, j int, level float64) (lower, upper float64) {
	z := dist.NormalSpread(level)
	drop := z * z / 2
	se := math.Sqrt(a.Factor.Inverse()[j*d.Size()+j])
	low := profileLimit(d, o, a, j, drop, -z*se) * d.Scale(j)
	high := profileLimit(d, o, a, j, drop, z*se) * d.Scale(j)
	o.Value(a.Beta)
	o.Slope()
	return low, high
}

// farthest is how many times the first guess a limit is looked for.
const farthest = 64

func profileLimit(d *Design, o Objective, a *Ascent, j int, drop, guess float64) float64 {
	hold := make([]bool, d.Size())
	hold[j] = true
	beta := append([]float64(nil), a.Beta...)
	fallen := func(at float64) bool {
		beta[j] = at
		b := Maximise(d, o, Start{Beta: beta, Hold: hold})
		if b.Status == Converged {
			copy(beta, b.Beta)
		}
		return !(a.Value-max(b.Value, b.Null) < drop)
	}
	near, far := a.Beta[j], a.Beta[j]+guess
	for share := 1.0; !fallen(far); share *= 2 {
		if share > farthest {
			return math.Inf(int(math.Copysign(1, guess)))
		}
		near, far = far, far+float64(share*guess)
	}
	copy(beta, a.Beta)
	for math.Abs(far-near) > 1e-10*math.Abs(guess) {
		if mid := (near + far) / 2; fallen(mid) {
			far = mid
		} else {
			near = mid
		}
	}
	return (near + far) / 2
}
