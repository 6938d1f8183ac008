package trials

import (
	"math"
	"slices"

	"deltoid/stats/dist"
)

// grid holds where a study stands that goes on after a look: scores s, which have the variance t
// without an effect, with their probability weights, without an effect.
type grid struct{ s, mass []float64 }

// farOut is where a side without a limit is cut off, in standard deviations: far enough for every
// drift that a study could be planned for.
const farOut = 15

// step returns the information between look k and the one before.
func (b *Boundary) step(k int) float64 {
	if k == 0 {
		return b.Information[0]
	}
	return b.Information[k] - b.Information[k-1]
}

// goOn integrates the density of the score at look k over those who went on before, on the nodes
// between the limits of look k.
func (b *Boundary) goOn(k int) grid {
	t := b.Information[k]
	root := math.Sqrt(t)
	hi := root * min(b.Limit[k], farOut)
	lo := -root * farOut
	if b.Sides == 2 {
		lo = -hi
	}
	width := 2 * math.Sqrt(min(b.step(k), b.step(k+1)))
	nodes, weights := panels(lo, hi, width)
	g := grid{nodes, weights}
	for i, s := range nodes {
		g.mass[i] = weights[i] * b.density(k, s)
	}
	return g
}

// density is that of the score s at look k without an effect, among all who started.
func (b *Boundary) density(k int, s float64) float64 {
	sd := math.Sqrt(b.step(k))
	scale := 1 / (sd * math.Sqrt(2*math.Pi))
	if k == 0 {
		return scale * kernel(s/sd)
	}
	sum := 0.0
	g := b.grids[k-1]
	from, _ := slices.BinarySearch(g.s, s-kernelReach*sd)
	for j := from; j < len(g.s) && g.s[j] < s+kernelReach*sd; j++ {
		sum += float64(g.mass[j] * kernel((s-g.s[j])/sd))
	}
	return scale * sum
}

// kernelReach is how many standard deviations a step may have: 1e-31 is left out.
const kernelReach = 12

func kernel(x float64) float64 { return math.Exp(-x * x / 2) }

// crossing returns the chance of stopping at look k, above and below, when the drift (the mean of
// z at the largest information) is as given. With a drift θ the density without an effect counts
// exp(θ s − θ² t/2) times, so one grid serves all drifts.
func (b *Boundary) crossing(k int, drift float64) (up, down float64) {
	step := b.step(k)
	sd := math.Sqrt(step)
	limit := b.Limit[k] * math.Sqrt(b.Information[k])
	shift := drift * step
	if k == 0 {
		up = dist.NormalUpper((limit - shift) / sd)
		if b.Sides == 2 {
			down = dist.NormalLower((-limit - shift) / sd)
		}
		return up, down
	}
	t := b.Information[k-1]
	g := b.grids[k-1]
	for j, s := range g.s {
		mass := g.mass[j]
		if drift != 0 {
			mass *= math.Exp(float64(drift*s) - float64(drift*drift*t)/2)
		}
		up += float64(mass * dist.NormalUpper((limit-s-shift)/sd))
		if b.Sides == 2 {
			down += float64(mass * dist.NormalLower((-limit-s-shift)/sd))
		}
	}
	return up, down
}

// Course is what may happen to a study with a given drift.
type Course struct {
	// Drift is the mean of z at the end if nothing stopped the study: effect over its standard
	// error at the largest information.
	Drift float64
	// Power is the chance of stopping in the direction of the drift.
	Power float64
	// Stopped is that chance up to and with each look, Wrong that of stopping on the other side.
	Stopped, Wrong []float64
	// Expected is the mean information at the end of the study, as a share of the largest.
	Expected float64
}

// Course returns what happens with a drift of 0 or more.
func (b *Boundary) Course(drift float64) Course {
	c := Course{Drift: drift, Expected: 1}
	var right, wrong float64
	for k, t := range b.Information {
		up, down := b.crossing(k, drift)
		right, wrong = right+up, wrong+down
		c.Stopped, c.Wrong = append(c.Stopped, right), append(c.Wrong, wrong)
		c.Expected -= float64((1 - t) * (up + down))
	}
	c.Power = right
	return c
}

// Drift returns the drift at which the study has the given power, between its level (on the side
// of the drift) and 1.
func (b *Boundary) Drift(power float64) (float64, error) {
	if err := checkPower(power, b.Level/float64(b.Sides)); err != nil {
		return 0, err
	}
	return falling(0, 12, func(drift float64) float64 { return power - b.Course(drift).Power }), nil
}

func checkPower(power, level float64) error {
	if !(power > level && power < 1) {
		return impossible("power", power, "above the level and below 1", "a study without any effect already finds one with the probability of its level")
	}
	return nil
}

// Inflation returns the largest information of the study, as a multiple of what a study without
// looks before the end needs for the same level, sides and power.
func (b *Boundary) Inflation(power float64) (float64, error) {
	drift, err := b.Drift(power)
	if err != nil {
		return 0, err
	}
	plain := dist.NormalQuantile(power) - dist.NormalQuantile(b.Level/float64(b.Sides))
	return drift * drift / (plain * plain), nil
}
