package power

import (
	"fmt"
	"math"
	"testing"

	"deltoid/stats/dist"
)

// Whatever was left out, the others come back: the size that a power needs has that power before it is rounded up and at
// least that after, one shoulder less in each group has not, and the smallest detectable effect of the size is the assumed
// one but for the rounding.
func TestThereAndBack(t *testing.T) {
	for _, d := range Designs() {
		given := whole(d.ID)
		sized, err := Solve(d, given)
		if err != nil {
			t.Fatal(d.ID, err)
		}
		goal := given[d.Goal].Number
		if better := sized.Reached - goal; (d.Goal == Power && better < 0) || (d.Goal == HalfWidth && better > 0) {
			t.Errorf("%s: the planned size reaches %v, not %v", d.ID, sized.Reached, goal)
		}
		back := add(given, Given{Size: sized.Given[Size]})
		delete(back, d.Goal)
		again, err := Solve(d, back)
		if err != nil || math.Abs(again.Reached-sized.Reached) > 1e-12 {
			t.Errorf("%s: back from the size: %v, %v", d.ID, again, err)
		}
		if d.sizeUnit == Persons {
			fewer := add(back, Given{Size: Is(sized.Given[Size].Number - float64(d.Groups))})
			if less, err := Solve(d, fewer); err == nil && sized.Given[Size].Number > 10 {
				if (d.Goal == Power && less.Reached >= goal) || (d.Goal == HalfWidth && less.Reached <= goal) {
					t.Errorf("%s: fewer would do: %v reach %v", d.ID, fewer[Size], less.Reached)
				}
			}
		}
		if d.Effect == "" {
			continue
		}
		detect := add(given, Given{Size: sized.Given[Size], Power: Is(sized.Reached)})
		delete(detect, d.Effect)
		if _, ok := d.Taken(Direction); ok {
			a := &assumed{design: d, given: sized.Given}
			detect[Direction] = Says(map[bool]string{true: "higher", false: "lower"}[given[d.Effect].Number > d.null(a)])
		}
		effect, err := Solve(d, detect)
		if err != nil {
			t.Errorf("%s: effect: %v", d.ID, err)
			continue
		}
		if got, want := effect.Given[d.Effect].Number, given[d.Effect].Number; math.Abs(got-want) > 1e-6*(1+math.Abs(want)) {
			t.Errorf("%s: smallest detectable %v is %v, assumed %v", d.ID, d.Effect, got, want)
		}
	}
}

// An exact test keeps its power from the planned size on: every size of the next hundred has it.
func TestExactSizesKeepTheirPower(t *testing.T) {
	given := Given{First: Is(.1), Second: Is(.3), Power: Is(.8), Loss: Is(0), Test: Says(testFisher)}
	planned := solved(t, "two proportions", given)
	delete(given, Power)
	for more := range 100 {
		given[Size] = Is(planned.Given[Size].Number + float64(2*more))
		if got := solved(t, "two proportions", given).Reached; got < .8 {
			t.Errorf("%v shoulders: power %v", given[Size].Number, got)
		}
	}
	given[Size] = Is(planned.Given[Size].Number - 2)
	if got := solved(t, "two proportions", given).Reached; got >= .8 {
		t.Errorf("one shoulder less in each group would do: %v", got)
	}
}

// The slow twin of the enumeration of Fisher's test: every table by itself, its p-value by adding up all tables that are no
// more probable.
func TestFisherBesideItsTwin(t *testing.T) {
	for _, c := range []struct {
		n1, n2 int
		p1, p2 float64
		sides  float64
	}{{8, 8, .2, .7, 2}, {15, 9, .1, .6, 2}, {12, 20, .8, .3, 2}, {10, 14, .3, .8, 1}, {11, 7, .9, .3, 1}} {
		a := &assumed{design: twoProportions, given: Given{Significance: Is(.05), Sides: Is(c.sides)}}
		logs := logFactorials(c.n1 + c.n2)
		first, second := binomial(c.n1, c.p1, logs), binomial(c.n2, c.p2, logs)
		want := 0.0
		for x := 0; x <= c.n1; x++ {
			for y := 0; y <= c.n2; y++ {
				table := func(k int) float64 {
					if k < 0 || k > c.n2 || x+y-k < 0 || x+y-k > c.n1 {
						return 0
					}
					return choose(c.n2, k) * choose(c.n1, x+y-k) / choose(c.n1+c.n2, x+y)
				}
				p := 0.0
				for k := 0; k <= c.n2; k++ {
					counts := table(k) <= table(y)*(1+1e-7)
					if c.sides == 1 {
						counts = (c.p2 > c.p1) == (k >= y) || k == y
					}
					if counts {
						p += table(k)
					}
				}
				if p <= .05 {
					want += first[x] * second[y]
				}
			}
		}
		near(t, fmt.Sprint(c), a.fisherPower(c.p1, c.p2, c.n1, c.n2), want, 1e-12)
	}
}

func choose(n, k int) float64 {
	c := 1.0
	for i := range k {
		c = c * float64(n-i) / float64(i+1)
	}
	return math.Round(c)
}

// Student's noncentral distribution: without a shift it is the central one; values with a shift are from R's pt(q, df, ncp,
// lower.tail = FALSE), by way of the powers of TestMeansWorked.
func TestBeyond(t *testing.T) {
	for _, df := range []float64{1, 2, 3.7, 5, 30, 400, 1e5} {
		for _, c := range []float64{.1, 1, 3} {
			near(t, fmt.Sprint(c, df), 2*beyond(c, df, 0), dist.StudentTwoSided(c, df), 1e-9)
		}
	}
	for _, df := range []float64{5, 5.5, 17, 900, 1e6, 1e8} {
		for _, tail := range []float64{.4, .05, .025, 1e-4} {
			near(t, fmt.Sprint("critical value ", tail, df), critical(tail, df), dist.StudentSpread(1-2*tail, df), 2e-9)
		}
	}
	// The mean of the statistic is shift · √(df/2) Γ((df−1)/2)/Γ(df/2) (Johnson, Kotz & Balakrishnan, 31.4), and the integral of
	// both tails gives it.
	for _, df := range []float64{4, 11.3, 60} {
		shift := 2.5
		g1, _ := math.Lgamma((df - 1) / 2)
		g2, _ := math.Lgamma(df / 2)
		want := shift * math.Sqrt(df/2) * math.Exp(g1-g2)
		got := integral(func(c float64) float64 { return beyond(c, df, shift) - beyond(c, df, -shift) }, 0, 400, 60)
		near(t, fmt.Sprint("mean with ", df), got, want, 2e-5)
	}
}

// The exact power of the test of a correlation under two normal measures is Student's noncentral power averaged over the
// spread of one of them; Fisher's approximation is close to it from 20 shoulders on.
func TestCorrelationBesideTheExactPower(t *testing.T) {
	for _, c := range []struct{ n, rho, tol float64 }{{20, .5, .006}, {50, .3, .002}, {85, .3, .001}, {200, .15, .001}} {
		a := &assumed{design: correlation, given: Given{Significance: Is(.05), Sides: Is(2), Correlation: Is(c.rho)}}
		limit := critical(.025, c.n-2)
		want := spreadOf(c.n-1, 0, math.Inf(1), func(s float64) float64 {
			shift := c.rho / math.Sqrt(1-c.rho*c.rho) * s * math.Sqrt(c.n-1)
			return beyond(limit, c.n-2, shift) + beyond(limit, c.n-2, -shift)
		})
		if got := correlation.reach(a, c.n, 0); math.Abs(got-want) > c.tol {
			t.Errorf("n %v, ρ %v: %v, exactly %v", c.n, c.rho, got, want)
		}
	}
}

// What is compared between patients needs more shoulders the more alike the two of a patient are, what is compared within
// them fewer; unequal hospitals cost more than equal ones.
func TestLikenessCostsOrHelps(t *testing.T) {
	given := Given{Difference: Is(5), SD: Is(10), Power: Is(.9), Loss: Is(0)}
	alone := solved(t, "two means", given).Given[Size].Number
	between := solved(t, "two means", add(given, Given{BothShoulders: Is(1), ShoulderLikeness: Is(.4)}))
	within := solved(t, "two means", add(given, Given{BothShoulders: Is(1), ShoulderLikeness: Is(.4), ComparedWithin: Says("patients")}))
	near(t, "between", between.Clusters.Effect, 1.4, 1e-12)
	near(t, "within", within.Clusters.Effect, .6, 1e-12)
	if !(within.Given[Size].Number < alone && alone < between.Given[Size].Number) {
		t.Errorf("within %v, alone %v, between %v", within.Given[Size], alone, between.Given[Size])
	}
	hospitals := func(cv float64) float64 {
		return solved(t, "two means", add(given, Given{HospitalSize: Is(20), HospitalVariation: Is(cv), HospitalLikeness: Is(.02)})).Clusters.Effect
	}
	near(t, "equal hospitals", hospitals(0), DesignEffect(20, 0, .02), 1e-12)
	near(t, "unequal hospitals", hospitals(.6), DesignEffect(20, .6, .02), 1e-12)
}

// Recruitment that rises sees fewer events than even recruitment, falling more; and a limit on each shoulder's follow-up is the
// same as a study in which all enter at once.
func TestPatterns(t *testing.T) {
	seen := func(pattern string, recruitment, followUp, limit float64) float64 {
		return watch{recruitment: recruitment, longest: recruitment + followUp, limit: limit, pattern: pattern, ended: .05}.seen(.1)
	}
	if !(seen(patternRising, 4, 1, 99) < seen(patternEven, 4, 1, 99) && seen(patternEven, 4, 1, 99) < seen(patternFalling, 4, 1, 99)) {
		t.Error("the patterns are out of order")
	}
	near(t, "limited", seen(patternEven, 4, 3, 2), seen(patternEven, 0, 2, 99), 1e-12)
	near(t, "closed form", seen(patternEven, 0, 2, 99), .1/.15*(1-math.Exp(-.3)), 1e-12)
}

func BenchmarkSolve(b *testing.B) {
	for _, d := range Designs() {
		given := whole(d.ID)
		if _, ok := d.Taken(Test); ok {
			if t, _ := d.Taken(Test); t.Choices[0] == testExact || t.Choices[0] == testNormal {
				given[Test] = Says(testNormal)
			}
		}
		b.Run(d.ID, func(b *testing.B) {
			for b.Loop() {
				if _, err := Solve(d, given); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkFisher500PerGroup(b *testing.B) {
	d, _ := Find("two proportions")
	for b.Loop() {
		if _, err := Solve(d, Given{First: Is(.3), Second: Is(.4), Size: Is(1000), Loss: Is(0), Test: Says(testFisher)}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFisherSize(b *testing.B) {
	d, _ := Find("two proportions")
	for b.Loop() {
		if _, err := Solve(d, Given{First: Is(.3), Second: Is(.4), Power: Is(.9), Loss: Is(0), Test: Says(testFisher)}); err != nil {
			b.Fatal(err)
		}
	}
}
