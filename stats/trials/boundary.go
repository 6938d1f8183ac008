package trials

import (
	"fmt"
	"math"

	"deltoid/stats/dist"
)

// Shape says how the limits of the looks of a study relate to one another.
type Shape uint8

// The shapes. The first two fix the limits by a rule for z; the next two spend the level by a
// function of the information, whatever the times of the looks turn out to be.
const (
	// Pocock has one limit for z at all looks: Pocock, Biometrika 64 (1977) 191–199.
	Pocock Shape = iota + 1
	// OBrienFleming has limits for z that fall with the root of the information, so that one
	// limit holds for the sum of observed minus expected: O'Brien & Fleming, Biometrics 35 (1979)
	// 549–556.
	OBrienFleming
	// SpendingPocock spends α ln(1 + (e−1) t): Lan & DeMets, Biometrika 70 (1983) 659–663.
	SpendingPocock
	// SpendingOBrienFleming spends 2 − 2Φ(z/√t) with z the 1 − α/2 point, on each side; same source.
	SpendingOBrienFleming
	// Stated limits were given by the caller.
	Stated
)

var shapeText = [...]string{
	Pocock: "Pocock", OBrienFleming: "O'Brien-Fleming", SpendingPocock: "spending like Pocock",
	SpendingOBrienFleming: "spending like O'Brien-Fleming", Stated: "stated limits",
}

// String returns the shape in plain words.
func (s Shape) String() string {
	if s >= Pocock && int(s) < len(shapeText) {
		return shapeText[s]
	}
	return "unknown shape"
}

// Boundary is a plan of looks at a study while it goes on: how much of the information there is
// at each look, and how large z has to be to stop for an effect. Slices have one element for each
// look. Stopping is for an effect only; nothing stops for want of one.
type Boundary struct {
	Shape Shape
	Sides int     // 1: only a z above the limit stops; 2: one below the negative limit does too
	Level float64 // probability of ever stopping when there is no effect, of both sides together
	// Information is the share of the largest information: of events in a test of follow-up, of
	// patients in a test of means.
	Information []float64
	// Limit is what z has to reach; +Inf where nothing can be spent yet.
	Limit []float64
	// Spent is the part of the level used up to and with each look.
	Spent []float64

	grids []grid // where the study goes on after each look but the last
}

// NewBoundary works out the limits of a shape for looks at the given shares of the largest
// information, rising, the last 1. Level is that of both sides together where sides is 2. Up to 200 looks.
//
// The chance of going on to look k with the score s is integrated from look to look
// (Armitage, McPherson & Rowe, J. R. Stat. Soc. A 132 (1969) 235–244),
//
//	g_k(s) = ∫ g_{k−1}(u) φ((s − u)/√Δ) du/√Δ,    Δ the information between the looks,
//
// by Gauss–Legendre's rule on panels no wider than two standard deviations of the kernel.
func NewBoundary(shape Shape, information []float64, level float64, sides int) (*Boundary, error) {
	if err := first(checkInformation(information), checkLevel(level, sides)); err != nil {
		return nil, err
	}
	b := &Boundary{Shape: shape, Sides: sides, Level: level, Information: information, Limit: make([]float64, len(information))}
	switch shape {
	case Pocock, OBrienFleming:
		b.solveShape()
	case SpendingPocock, SpendingOBrienFleming:
		b.spend()
	default:
		return nil, impossible("shape of the limits", shape, "Pocock, O'Brien-Fleming or one of the spending functions", "")
	}
	b.account()
	return b, nil
}

// StatedBoundary takes limits for z as they are and works out what level they add up to.
func StatedBoundary(information, limit []float64, sides int) (*Boundary, error) {
	if err := first(checkInformation(information), checkLevel(0.05, sides), checkLimits(limit, len(information))); err != nil {
		return nil, err
	}
	b := &Boundary{Shape: Stated, Sides: sides, Information: information, Limit: limit}
	b.account()
	b.Level = b.Spent[len(b.Spent)-1]
	return b, nil
}

const mostLooks = 200

func checkInformation(t []float64) error {
	if len(t) == 0 || len(t) > mostLooks {
		return impossible("number of looks", len(t), fmt.Sprintf("1 to %d", mostLooks), "")
	}
	before := 0.0
	for k, x := range t {
		if !(x > before) || x > 1 {
			return impossible(fmt.Sprintf("information at look %d", k+1), x, fmt.Sprintf("above %v and at most 1", before), "give the looks in their order, as shares of the information at the end")
		}
		before = x
	}
	if before != 1 {
		return impossible("information at the last look", before, "1", "divide by the information at the end")
	}
	return nil
}

func checkLevel(level float64, sides int) error {
	if !(level > 0 && level < 0.5) {
		return impossible("significance level", level, "above 0 and below 0.5", "")
	}
	if sides != 1 && sides != 2 {
		return impossible("number of sides", sides, "1 or 2", "")
	}
	return nil
}

func checkLimits(limit []float64, looks int) error {
	if len(limit) != looks {
		return impossible("number of limits", len(limit), fmt.Sprintf("%d, one for each look", looks), "")
	}
	for k, c := range limit {
		if !(c > 0) {
			return impossible(fmt.Sprintf("limit of look %d", k+1), c, "above 0", "")
		}
	}
	return nil
}

// solveShape finds the constant of a shape: the level falls as it rises.
func (b *Boundary) solveShape() {
	b.setLimits(falling(0.1, 12, func(c float64) float64 {
		b.setLimits(c)
		b.account()
		return math.Log(b.Spent[len(b.Spent)-1] / b.Level)
	}))
}

func (b *Boundary) setLimits(c float64) {
	for k, t := range b.Information {
		b.Limit[k] = c
		if b.Shape == OBrienFleming {
			b.Limit[k] = c / math.Sqrt(t)
		}
	}
}

// spendable is the part of one side's level a that may be used up to the information t.
func (s Shape) spendable(a, t float64) float64 {
	if t >= 1 {
		return a
	}
	if s == SpendingPocock {
		return a * math.Log1p(float64((math.E-1)*t))
	}
	return 2 * dist.NormalUpper(-dist.NormalQuantile(a/2)/math.Sqrt(t))
}

// leastSpent is the least chance that a limit is worked out for: below it nothing stops.
const leastSpent = 1e-30

// spend finds the limits one after the other: each uses what its look adds to the spendable.
func (b *Boundary) spend() {
	b.grids = b.grids[:0]
	side := b.Level / float64(b.Sides)
	used := 0.0
	for k, t := range b.Information {
		now := b.Shape.spendable(side, t)
		part := (now - used) * float64(b.Sides)
		b.Limit[k] = math.Inf(1)
		if part >= leastSpent {
			b.Limit[k] = b.limitFor(k, part)
			used = now
		}
		if k+1 < len(b.Information) {
			b.grids = append(b.grids, b.goOn(k))
		}
	}
}

// limitFor finds the limit of look k that is crossed with probability part after going on so far.
func (b *Boundary) limitFor(k int, part float64) float64 {
	return falling(-12, 36, func(c float64) float64 {
		b.Limit[k] = c
		up, down := b.crossing(k, 0)
		return math.Log(up+down) - math.Log(part)
	})
}

// account works out the grids and what is spent, from the limits.
func (b *Boundary) account() {
	b.grids = b.grids[:0]
	b.Spent = b.Spent[:0]
	sum := 0.0
	for k := range b.Limit {
		up, down := b.crossing(k, 0)
		sum += up + down
		b.Spent = append(b.Spent, sum)
		if k+1 < len(b.Limit) {
			b.grids = append(b.grids, b.goOn(k))
		}
	}
}
