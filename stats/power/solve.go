package power

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Answer is a design with nothing left open.
type Answer struct {
	Design *Design
	Solved Name
	// Given holds every assumption, the usual settings filled in and the solved one at the value that can be had: a size
	// is rounded up in each group, and everything else follows from the rounded one.
	Given Given
	// Unrounded is the solution before a size was rounded up; otherwise it equals the solved setting.
	Unrounded float64
	// Reached is the power, or the half-width, at the planned size.
	Reached float64
	// Recruited are the sizes of the groups; Effective are the independent observations that remain of them after loss and
	// clustering.
	Recruited []float64
	Effective []float64
	Clusters  Clusters
	More      []Quantity
	Method    Method
}

// largest is the size beyond which none is looked for: more than all the shoulders of the world.
const largest = 1e10

// Solve finds the one of size, goal and effect that was left out. When anything is missing or impossible the error is
// [Problems], with everything that was found.
func Solve(d *Design, given Given) (*Answer, error) {
	a, wanted := settle(d, given)
	if len(a.problems) > 0 {
		return nil, a.problems
	}
	unrounded := math.NaN()
	switch wanted {
	case Size:
		unrounded = a.solveSize()
	case d.Effect:
		unrounded = a.solveEffect()
	}
	if len(a.problems) > 0 {
		return nil, a.problems
	}
	r1, r2 := a.recruited(a.x(Size))
	n1, n2 := a.effective(r1, r2)
	if n1 < d.least || d.Groups == 2 && n2 < d.least {
		a.refuse(Size, fmt.Sprintf("a size that leaves at least %s in each group", brief(d.least)), "the size leaves too few to compare: %s", sizeWords(d, n1, n2))
	} else if a.tooMany(n1, n2) {
		a.refuse(Test, testNormal, "an exact test of %s counts too many outcomes", sizeWords(d, n1, n2))
	}
	if len(a.problems) > 0 {
		return nil, a.problems
	}
	reached := d.reach(a, n1, n2)
	if d.Goal == HalfWidth {
		reached = -reached
	}
	if wanted == d.Goal {
		a.set(d.Goal, reached)
		unrounded = reached
	}
	answer := &Answer{Design: d, Solved: wanted, Given: a.given, Unrounded: unrounded, Reached: reached, Clusters: a.clusters(),
		Recruited: []float64{r1, r2}[:d.Groups], Effective: []float64{n1, n2}[:d.Groups], Method: d.method(a)}
	if d.more != nil {
		answer.More = d.more(a, n1, n2)
	}
	return answer, nil
}

func sizeWords(d *Design, n1, n2 float64) string {
	if d.Groups == 1 {
		return brief(n1) + " " + d.Counted
	}
	return brief(n1) + " and " + brief(n2) + " " + d.Counted
}

// recruited divides a size between the groups, as whole numbers where it counts whole things.
func (a *assumed) recruited(size float64) (r1, r2 float64) {
	if a.design.Groups == 1 {
		return size, 0
	}
	r1 = size / (1 + a.x(Allocation))
	if a.design.sizeUnit == Persons {
		r1 = math.Round(r1)
	}
	return r1, size - r1
}

// effective returns how many independent observations remain of those recruited. An exact test needs whole ones.
func (a *assumed) effective(r1, r2 float64) (n1, n2 float64) {
	share := 1 / a.clusters().Effect
	if _, ok := a.design.Taken(Loss); ok && !a.lossByYear() {
		share *= 1 - a.x(Loss)
	}
	n1, n2 = float64(r1*share), float64(r2*share)
	if a.isWhole() && a.design.sizeUnit == Persons {
		return math.Floor(n1 + 1e-9), math.Floor(n2 + 1e-9)
	}
	return n1, n2
}

func (a *assumed) isWhole() bool { return a.design.whole != nil && a.design.whole(a) }

// lossByYear says whether the loss is one of time under observation, which the follow-up of a design accounts for itself.
func (a *assumed) lossByYear() bool { _, ok := a.design.Taken(Recruitment); return ok }

// target is what reach has to come to.
func (a *assumed) target() float64 {
	if a.design.Goal == HalfWidth {
		return -a.x(HalfWidth)
	}
	return a.x(Power)
}

// solveSize finds the smallest size that reaches the goal, sets it rounded up, and returns it unrounded.
func (a *assumed) solveSize() float64 {
	if a.isWhole() {
		return a.solveWhole()
	}
	d, k := a.design, 0.0
	if d.Groups == 2 {
		k = a.x(Allocation)
	}
	short := func(r1 float64) float64 {
		n1, n2 := a.effective(r1, float64(r1*k))
		return d.reach(a, n1, n2) - a.target()
	}
	share, _ := a.effective(1, 1)
	low := d.least / share / math.Min(1, cond(k > 0, k, 1))
	first, ok := a.bracket(short, low)
	if !ok {
		return math.NaN()
	}
	r1, r2 := a.roundUp(first, k)
	a.set(Size, r1+r2)
	return first * (1 + k)
}

// bracket solves for the size of the first group.
func (a *assumed) bracket(short func(float64) float64, low float64) (float64, bool) {
	if short(low) >= 0 {
		return low, true
	}
	high := 2 * low
	for short(high) < 0 {
		if high > largest {
			a.refuse(a.design.blamed(), "a larger effect, or a longer follow-up", "no size reaches the goal: %s", a.most(high))
			return 0, false
		}
		low, high = high, 2*high
	}
	return crossing(short, low, high), true
}

// blamed is the assumption to change first when no size helps.
func (d *Design) blamed() Name {
	if d.Effect != "" {
		return d.Effect
	}
	return d.Goal
}

func (a *assumed) most(size float64) string {
	n1, n2 := a.effective(a.recruited(size))
	return fmt.Sprintf("with %s %s the %s would be %s", strconv.FormatFloat(size, 'f', 0, 64), a.design.Counted,
		strings.ReplaceAll(string(a.design.Goal), "_", " "), a.reached(a.design.reach(a, n1, n2)))
}

// reached writes what a study reaches: its power in percent, or a half-width as it is.
func (a *assumed) reached(x float64) string {
	if a.design.Goal == Power {
		return strconv.FormatFloat(100*math.Abs(x), 'f', 1, 64) + "%"
	}
	return brief(math.Abs(x))
}

// roundUp rounds each group up to whole numbers, where the size counts whole things. A size that is whole but for the last
// digits stays.
func (a *assumed) roundUp(first, k float64) (r1, r2 float64) {
	up := func(x float64) float64 { return math.Ceil(x - float64(1e-9*x)) }
	if a.design.sizeUnit == Persons {
		r1 = up(first)
		return r1, up(float64(first * k))
	}
	total := up(float64(first * (1 + k)))
	return total / (1 + k), total - total/(1+k)
}

// solveWhole finds the smallest size from which on an exact test keeps the power. Its power rises in a saw-tooth, so the
// search starts somewhat above where the normal test puts it, makes sure that the power holds from there on over a
// stretch, and walks down as long as it holds.
func (a *assumed) solveWhole() float64 {
	d, k := a.design, 0.0
	if d.Groups == 2 {
		k = a.x(Allocation)
	}
	start, err := Solve(d, a.roughly())
	if err != nil {
		a.problems = append(a.problems, err.(Problems)...)
		return math.NaN()
	}
	step := 1.0
	if d.sizeUnit != Persons {
		step = math.Max(1, math.Pow(10, math.Floor(math.Log10(start.Recruited[0]/100))))
	}
	if n1, n2 := a.effective(start.Recruited[0], math.Ceil(float64(start.Recruited[0]*k))); a.tooMany(n1, n2) {
		a.refuse(Test, testNormal, "an exact test of %s counts too many outcomes", sizeWords(d, n1, n2))
		return math.NaN()
	}
	holds := func(r1 float64) bool {
		n1, n2 := a.effective(r1, math.Ceil(float64(r1*k)-1e-9))
		return n1 >= d.least && (d.Groups == 1 || n2 >= d.least) && d.reach(a, n1, n2) >= a.target()
	}
	at := step * math.Ceil(1.05*start.Recruited[0]/step)
	const stretch = 12
	for kept := 0; kept < stretch; kept++ {
		if !holds(at + float64(step*float64(kept))) {
			at, kept = at+float64(step*float64(kept+1)), -1
		}
		if at > largest {
			a.refuse(d.Effect, "a larger effect", "no size was found that keeps the power")
			return math.NaN()
		}
	}
	for at > step && holds(at-step) {
		at -= step
	}
	r2 := math.Ceil(float64(at*k) - 1e-9)
	a.set(Size, at+r2)
	return at + r2
}

// mostOutcomes is the number of outcomes that an exact test counts in about a second.
const mostOutcomes = 3e7

func (a *assumed) tooMany(n1, n2 float64) bool {
	return a.isWhole() && a.design.outcomes(a, n1, n2) > mostOutcomes
}

// roughly is what the normal test is given: all that is known but the test and the size.
func (a *assumed) roughly() Given {
	given := make(Given, len(a.given))
	for name, s := range a.given {
		given[name] = s
	}
	delete(given, Size)
	given[Test] = Says(testNormal)
	return given
}

// solveEffect finds the smallest effect that reaches the goal, sets it and returns it.
func (a *assumed) solveEffect() float64 {
	d := a.design
	n1, n2 := a.effective(a.recruited(a.x(Size)))
	if n1 < d.least || d.Groups == 2 && n2 < d.least || a.tooMany(n1, n2) {
		a.set(d.Effect, 0) // Solve refuses the size
		return math.NaN()
	}
	null, far := d.null(a), d.far(a, a.word(Direction) != "lower")
	short := func(x float64) float64 { return d.reach(a.with(d.Effect, x), n1, n2) - a.target() }
	low, high := null, null
	for k, steps := 1, 64; ; k++ {
		low, high = high, towards(null, far, k, steps)
		if short(high) >= 0 {
			break
		}
		if k == steps {
			a.refuse(Size, "a larger size, or a smaller goal", "no effect can be detected with %s: the largest that is looked at, %s %s, would be found with a power of %s",
				sizeWords(d, n1, n2), strings.ReplaceAll(string(d.Effect), "_", " "), brief(high), a.reached(short(high)+a.target()))
			return math.NaN()
		}
	}
	nudge := float64(1e-9 * (high - null)) // at the null itself some formulas have no value
	x := crossing(short, cond(low == null, null+nudge, low), high)
	a.set(d.Effect, x)
	return x
}

// towards is the k-th of the steps from the null to the far end: each is twice as far as the one before where there is no end.
func towards(null, far float64, k, steps int) float64 {
	scale := cond(null == 0, 1e-6, 1e-3*math.Abs(null))
	switch {
	case math.IsInf(far, 0):
		return null + math.Copysign(math.Ldexp(scale, k), far)
	case k == steps:
		return far - float64(1e-9*(far-null))
	}
	return null + float64(float64(k)/float64(steps)*(far-null))
}

func cond(yes bool, a, b float64) float64 {
	if yes {
		return a
	}
	return b
}

// Null returns the value of the effect at which there would be nothing to find: 0 for a difference, 1 or the margin for a ratio,
// the share of the first group for that of the second.
func (answer *Answer) Null() float64 {
	if answer.Design.null == nil {
		return 0
	}
	return answer.Design.null(&assumed{design: answer.Design, given: answer.Given})
}
