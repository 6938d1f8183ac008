package power

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"sort"
	"strings"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/dist"
	"deltoid/stats/hazards"
	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// replicates is the number of studies that are made up for each design. The table in testdata/references/DOSSIER.md was made
// with 40,000:
//
//	go test -count=1 -run TestSimulated ./stats/power -replicates 40000 -dossier power.md
var (
	replicates = flag.Int("replicates", 1500, "studies made up for each design")
	dossier    = flag.String("dossier", "", "file to write the table of approximations to")
)

// simulation makes up studies of one design and says how often its test finds something, or how wide its interval is.
type simulation struct {
	id     string
	note   string // beside the design's name in the table
	given  Given
	off    float64 // how far the approximation is known to be off, beyond chance; 0 where it is exact or nearly so
	finds  func(r *rand.Rand, a *Answer) bool
	widens func(r *rand.Rand, a *Answer) float64
}

// Every design is held against studies made up by other code than its formula, under the same assumptions: they agree within
// three Monte-Carlo errors, and where the formula is known to be off, within that and no more than stated.
func TestSimulated(t *testing.T) {
	var table strings.Builder
	seen := map[string]bool{}
	for i, s := range simulations {
		seen[s.id] = true
		answer := solved(t, s.id, s.given)
		values := make([]float64, *replicates)
		for k := range values {
			r := random.Stream(8, fmt.Sprint("design ", i), uint64(k))
			if s.widens != nil {
				values[k] = s.widens(r, answer)
			} else if s.finds(r, answer) {
				values[k] = 1
			}
		}
		mean, se := meanAndError(values)
		if got := answer.Reached; math.Abs(got-mean) > 3*se+s.off {
			t.Errorf("%s (%s): %.4f by formula, %.4f ± %.4f simulated", s.id, s.note, got, mean, se)
		}
		sizes := make([]string, len(answer.Recruited))
		for g, n := range answer.Recruited {
			sizes[g] = brief(n)
		}
		fmt.Fprintf(&table, "| %s | %s | %s | %.4f | %.4f ± %.4f | %+.4f |\n", s.id, s.note, strings.Join(sizes, " + "), answer.Reached, mean, se, answer.Reached-mean)
	}
	for _, d := range Designs() {
		if !seen[d.ID] {
			t.Errorf("no studies were made up for the design %q", d.ID)
		}
	}
	if *dossier != "" {
		if err := os.WriteFile(*dossier, []byte(table.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func meanAndError(values []float64) (mean, se float64) {
	var sum, squares float64
	for _, v := range values {
		sum += v
	}
	mean = sum / float64(len(values))
	for _, v := range values {
		squares += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(squares / float64(len(values)-1) / float64(len(values)))
}

var simulations = []simulation{
	{id: "one mean", note: "d 0.5", given: Given{Difference: Is(5), SD: Is(10), Size: Is(35), Loss: Is(0)},
		finds: func(r *rand.Rand, a *Answer) bool { return tRejects(a)(oneSample(normals(r, a.Effective[0], 5, 10))) }},
	{id: "paired means", note: "correlation 0.6", given: Given{Difference: Is(8), SD: Is(16), Correlation: Is(.6), Size: Is(40), Loss: Is(0)},
		finds: func(r *rand.Rand, a *Answer) bool {
			d := make([]float64, int(a.Effective[0]))
			for i := range d {
				x := r.NormFloat64()
				d[i] = 8 + 16*(.6*x+.8*r.NormFloat64()-x)
			}
			return tRejects(a)(oneSample(d))
		}},
	{id: "two means", note: "d 0.5, 1 : 2", given: Given{Difference: Is(5), SD: Is(10), Size: Is(120), Allocation: Is(2), Loss: Is(0)},
		finds: func(r *rand.Rand, a *Answer) bool {
			return tRejects(a)(pooled(normals(r, a.Effective[0], 0, 10), normals(r, a.Effective[1], 5, 10), 0))
		}},
	{id: "two means", note: "unequal spread, 12 + 24", given: Given{Difference: Is(12), SD: Is(10), SDSecond: Is(20), Size: Is(36), Allocation: Is(2), Loss: Is(0)},
		finds: func(r *rand.Rand, a *Answer) bool {
			return tRejects(a)(welch(normals(r, a.Effective[0], 0, 10), normals(r, a.Effective[1], 12, 20)))
		}},
	{id: "two means", note: "unequal spread, 4 + 4", given: Given{Difference: Is(30), SD: Is(5), SDSecond: Is(25), Size: Is(8), Loss: Is(0)}, off: 0.06,
		finds: func(r *rand.Rand, a *Answer) bool {
			return tRejects(a)(welch(normals(r, a.Effective[0], 0, 5), normals(r, a.Effective[1], 30, 25)))
		}},
	{id: "non-inferior mean", note: "margin 0.5 SD", given: Given{Difference: Is(0), Margin: Is(5), SD: Is(10), Significance: Is(.025), Size: Is(128), Loss: Is(0)},
		finds: func(r *rand.Rand, a *Answer) bool {
			return tRejects(a)(pooled(normals(r, a.Effective[0], 0, 10), normals(r, a.Effective[1], 0, 10), -5))
		}},
	{id: "equivalent means", note: "margin 0.6 SD, true 0.1 SD", given: Given{Difference: Is(1), Margin: Is(6), SD: Is(10), Size: Is(100), Loss: Is(0)},
		finds: func(r *rand.Rand, a *Answer) bool {
			x, y := normals(r, a.Effective[0], 0, 10), normals(r, a.Effective[1], 1, 10)
			low, df := pooled(x, y, -6)
			high, _ := pooled(x, y, 6)
			c := critical(.05, df)
			return low > c && high < -c
		}},
	{id: "repeated scores", note: "adjusted, correlation 0.6, 20 per group", given: Given{Difference: Is(9), SD: Is(12), Correlation: Is(.6), Size: Is(40), Loss: Is(0)}, off: 0.002,
		finds: func(r *rand.Rand, a *Answer) bool { return tRejects(a)(adjusted(r, a, 9, 12, .6)) }},
	{id: "repeated scores", note: "adjusted, correlation 0.6, 6 per group", given: Given{Difference: Is(18), SD: Is(12), Correlation: Is(.6), Size: Is(12), Loss: Is(0)}, off: 0.02,
		finds: func(r *rand.Rand, a *Answer) bool { return tRejects(a)(adjusted(r, a, 18, 12, .6)) }},
	{id: "repeated scores", note: "change, 2 before and 3 after", given: Given{Difference: Is(6), SD: Is(12), Correlation: Is(.5), Size: Is(60), Loss: Is(0), Analysis: Says(byChange), MeasuresBefore: Is(2), MeasuresAfter: Is(3)},
		finds: func(r *rand.Rand, a *Answer) bool {
			change := func(n, mean float64) []float64 {
				d := make([]float64, int(n))
				for i := range d {
					d[i] = mean
					for k := range 5 { // the part that all scores of a shoulder share falls out
						e := 12 * math.Sqrt(.5) * r.NormFloat64()
						d[i] += map[bool]float64{true: -e / 2, false: e / 3}[k < 2]
					}
				}
				return d
			}
			return tRejects(a)(pooled(change(a.Effective[0], 0), change(a.Effective[1], 6), 0))
		}},
	{id: "correlation", note: "0.3", given: Given{Correlation: Is(.3), Size: Is(85), Loss: Is(0)}, off: 0.004,
		finds: func(r *rand.Rand, a *Answer) bool { return tRejects(a)(correlated(r, a.Effective[0], .3)) }},
	{id: "correlation", note: "0.8, 8 shoulders", given: Given{Correlation: Is(.8), Size: Is(8), Loss: Is(0)}, off: 0.02,
		finds: func(r *rand.Rand, a *Answer) bool { return tRejects(a)(correlated(r, a.Effective[0], .8)) }},
	{id: "ROC area", note: "0.7 against 0.5", given: Given{Area: Is(.7), Size: Is(90), Allocation: Is(2), Loss: Is(0)}, off: 0.02, finds: findsArea},
	{id: "one proportion", note: "exact, 30% against 15%", given: Given{Proportion: Is(.3), Reference: Is(.15), Power: Is(.8), Loss: Is(0)}, finds: findsProportion},
	{id: "one proportion", note: "normal, 30% against 15%", given: Given{Proportion: Is(.3), Reference: Is(.15), Size: Is(60), Loss: Is(0), Test: Says(testNormal)}, off: 0.05, finds: findsProportion},
	{id: "two proportions", note: "normal, 60% against 80%", given: Given{First: Is(.6), Second: Is(.8), Size: Is(164), Loss: Is(0)}, off: 0.01, finds: findsProportions},
	{id: "two proportions", note: "normal, 2% against 10%", given: Given{First: Is(.02), Second: Is(.1), Size: Is(280), Loss: Is(0)}, off: 0.03, finds: findsProportions},
	{id: "two proportions", note: "Fisher, 5% against 20%", given: Given{First: Is(.05), Second: Is(.2), Power: Is(.8), Loss: Is(0), Test: Says(testFisher)}, finds: findsFisher},
	{id: "two proportions", note: "continuity-corrected, run as Fisher, 5% against 20%", given: Given{First: Is(.05), Second: Is(.2), Size: Is(176), Loss: Is(0), Test: Says(testCorrected)}, off: 0.045, finds: findsFisher},
	{id: "non-inferior proportion", note: "restricted, 90%, margin 10", given: Given{First: Is(.9), Second: Is(.9), Margin: Is(.1), Worse: Says("lower"), Power: Is(.8), Loss: Is(0)}, off: 0.025, finds: findsRestricted},
	{id: "paired proportions", note: "exact, 5% and 20%", given: Given{OnlyFirst: Is(.05), OnlySecond: Is(.2), Power: Is(.8), Loss: Is(0), Test: Says(testExact)}, finds: findsPairs},
	{id: "paired proportions", note: "normal, 5% and 20%", given: Given{OnlyFirst: Is(.05), OnlySecond: Is(.2), Size: Is(85), Loss: Is(0)}, off: 0.042, finds: findsPairs},
	{id: "responders", note: "normal, changes of 14 and 20", given: Given{MeanFirst: Is(14), MeanSecond: Is(20), SD: Is(15), Threshold: Is(12), Size: Is(200), Loss: Is(0)}, off: 0.01,
		finds: func(r *rand.Rand, a *Answer) bool {
			count := func(n, mean float64) (k float64) {
				for _, x := range normals(r, n, mean, 15) {
					if x >= 12 {
						k++
					}
				}
				return k
			}
			return zOfProportions(count(a.Effective[0], 14), count(a.Effective[1], 20), a.Effective[0], a.Effective[1]) > 1.959964
		}},
	{id: "survival of two groups", note: "Schoenfeld, HR 0.5, deaths and loss", given: twoGroups(.5, 200, nil), off: 0.01, finds: findsLogRank},
	{id: "survival of two groups", note: "Schoenfeld, HR 0.25", given: twoGroups(.25, 80, nil), off: 0.05, finds: findsLogRank},
	{id: "survival of two groups", note: "Schoenfeld, HR 0.4, 1 : 4", given: twoGroups(.4, 200, Given{Allocation: Is(4)}), off: 0.14, finds: findsLogRank},
	{id: "survival of two groups", note: "Freedman, HR 0.5", given: twoGroups(.5, 200, Given{Formula: Says(freedman)}), off: 0.03, finds: findsLogRank},
	{id: "survival of two groups", note: "Freedman, HR 0.4, 1 : 4", given: twoGroups(.4, 200, Given{Allocation: Is(4), Formula: Says(freedman)}), off: 0.06, finds: findsLogRank},
	{id: "survival of two groups", note: "Lachin and Foulkes, HR 0.5", given: twoGroups(.5, 200, Given{Formula: Says(lachinFoulkes)}), off: 0.02, finds: findsLogRank},
	{id: "survival of two groups", note: "Lachin and Foulkes, HR 0.4, 1 : 4", given: twoGroups(.4, 200, Given{Allocation: Is(4), Formula: Says(lachinFoulkes)}), off: 0.11, finds: findsLogRank},
	{id: "survival of two groups", note: "margin 1.5, rising recruitment", given: twoGroups(1, 500, Given{Margin: Is(1.5), Sides: Is(1), Pattern: Says(patternRising)}), off: 0.01, finds: findsLogRank},
	{id: "survival of two groups", note: "falling recruitment, at most 3 years each", given: twoGroups(.6, 300, Given{Pattern: Says(patternFalling), FollowedFor: Is(3)}), off: 0.01, finds: findsLogRank},
	{id: "events for a hazard ratio", note: "HR 0.6", given: Given{HazardRatio: Is(.6), Size: Is(120)}, off: 0.01, finds: findsEvents},
	{id: "survival against a benchmark", note: "HR 0.6", given: add(twoGroups(.6, 150, nil), nil), off: 0.015, finds: findsBenchmark},
	{id: "survival against a benchmark", note: "HR 0.4, 40 shoulders", given: add(twoGroups(.4, 40, nil), nil), off: 0.05, finds: findsBenchmark},
	{id: "hazard of a characteristic", note: "R² 0.36", given: Given{HazardRatio: Is(1.5), Spread: Is(1), Explained: Is(.36), EventRate: Is(1), Size: Is(75), Loss: Is(0)}, off: 0.062, finds: findsCharacteristic},
	{id: "cumulative incidence", note: "20% against 35%, deaths", given: Given{First: Is(.20), Second: Is(.35), At: Is(5), Deaths: Is(.05), Loss: Is(.02), Recruitment: Is(2), FollowUp: Is(4), Size: Is(250)}, off: 0.02, finds: findsIncidence},
	{id: "one rate", note: "exact, 2 against 1 per 100", given: Given{Rate: Is(2), Reference: Is(1), Power: Is(.8)}, finds: findsRate},
	{id: "one rate", note: "normal, 2 against 1 per 100", given: Given{Rate: Is(2), Reference: Is(1), Size: Is(1000), Test: Says(testNormal)}, off: 0.06, finds: findsRate},
	{id: "two rates", note: "exact, 2 against 1 per 100", given: Given{RateFirst: Is(1), RateSecond: Is(2), Power: Is(.8)}, finds: findsRates},
	{id: "two rates", note: "normal, run as exact", given: Given{RateFirst: Is(1), RateSecond: Is(2), Size: Is(4700), Test: Says(testNormal)}, off: 0.05, finds: findsRates},
	{id: "width of a mean", note: "60 shoulders", given: Given{SD: Is(10), Size: Is(60), Loss: Is(0)}, off: 0.02,
		widens: func(r *rand.Rand, a *Answer) float64 {
			return dist.StudentSpread(.95, 59) * sdOf(normals(r, 60, 0, 10)) / math.Sqrt(60)
		}},
	{id: "width of an MCID", note: "a quarter a little better", given: Given{SD: Is(10), Category: Is(.25), Size: Is(200), Loss: Is(0)}, off: 0.05,
		widens: func(r *rand.Rand, a *Answer) float64 {
			n := math.Max(2, binomialDraw(r, 200, .25))
			return dist.StudentSpread(.95, n-1) * sdOf(normals(r, n, 0, 10)) / math.Sqrt(n)
		}},
	{id: "width of a proportion", note: "Wilson, 10%", given: Given{Proportion: Is(.1), Size: Is(150), Loss: Is(0)}, off: 0.001,
		widens: func(r *rand.Rand, a *Answer) float64 {
			p, z := binomialDraw(r, 150, .1)/150, dist.NormalSpread(.95)
			return z / (1 + z*z/150) * math.Sqrt(p*(1-p)/150+z*z/(4*150*150))
		}},
	{id: "width of a survival", note: "5 years, 10%", given: Given{First: Is(.1), At: Is(5), Loss: Is(.02), Deaths: Is(.03), Recruitment: Is(4), FollowUp: Is(3), Size: Is(400)}, off: 0.001, widens: widthOfCurve},
}

func twoGroups(ratio, size float64, more Given) Given {
	return add(Given{First: Is(.4), At: Is(5), HazardRatio: Is(ratio), Loss: Is(.03), Deaths: Is(.02), Recruitment: Is(2), FollowUp: Is(4), Size: Is(size)}, more)
}

// tRejects is the t test as the design asks for it, two-sided or towards larger values.
func tRejects(a *Answer) func(t, df float64) bool {
	return func(t, df float64) bool {
		if a.Given[Sides].Number == 2 {
			return dist.StudentTwoSided(t, df) <= a.Given[Significance].Number
		}
		return t > critical(a.Given[Significance].Number, df)
	}
}

func normals(r *rand.Rand, n, mean, sd float64) []float64 {
	x := make([]float64, int(n))
	for i := range x {
		x[i] = mean + sd*r.NormFloat64()
	}
	return x
}

func meanOf(x []float64) float64 { m, _ := meanAndError(x); return m }

func sdOf(x []float64) float64 {
	_, se := meanAndError(x)
	return se * math.Sqrt(float64(len(x)))
}

func oneSample(x []float64) (t, df float64) {
	m, se := meanAndError(x)
	return m / se, float64(len(x) - 1)
}

func pooled(x, y []float64, null float64) (t, df float64) {
	n1, n2 := float64(len(x)), float64(len(y))
	df = n1 + n2 - 2
	s := math.Sqrt(((n1-1)*sdOf(x)*sdOf(x) + (n2-1)*sdOf(y)*sdOf(y)) / df)
	return (meanOf(y) - meanOf(x) - null) / (s * math.Sqrt(1/n1+1/n2)), df
}

func welch(x, y []float64) (t, df float64) {
	m1, e1 := meanAndError(x)
	m2, e2 := meanAndError(y)
	v1, v2 := e1*e1, e2*e2
	return (m2 - m1) / math.Sqrt(v1+v2), (v1 + v2) * (v1 + v2) / (v1*v1/float64(len(x)-1) + v2*v2/float64(len(y)-1))
}

// adjusted is the analysis of covariance with one score before and one after.
func adjusted(r *rand.Rand, a *Answer, difference, sd, rho float64) (t, df float64) {
	var before, after [2][]float64
	var sxx, sxy, syy float64
	for g := range 2 {
		for range int(a.Effective[g]) {
			x := r.NormFloat64()
			before[g] = append(before[g], sd*x)
			after[g] = append(after[g], float64(g)*difference+sd*(rho*x+math.Sqrt(1-rho*rho)*r.NormFloat64()))
		}
		mx, my := meanOf(before[g]), meanOf(after[g])
		for i := range before[g] {
			dx, dy := before[g][i]-mx, after[g][i]-my
			sxx, sxy, syy = sxx+dx*dx, sxy+dx*dy, syy+dy*dy
		}
	}
	n1, n2 := a.Effective[0], a.Effective[1]
	df = n1 + n2 - 3
	dx := meanOf(before[1]) - meanOf(before[0])
	slope := sxy / sxx
	s2 := (syy - slope*sxy) / df
	return (meanOf(after[1]) - meanOf(after[0]) - slope*dx) / math.Sqrt(s2*(1/n1+1/n2+dx*dx/sxx)), df
}

func correlated(r *rand.Rand, n, rho float64) (t, df float64) {
	x, y := normals(r, n, 0, 1), make([]float64, int(n))
	for i := range y {
		y[i] = rho*x[i] + math.Sqrt(1-rho*rho)*r.NormFloat64()
	}
	mx, my := meanOf(x), meanOf(y)
	var sxy float64
	for i := range x {
		sxy += (x[i] - mx) * (y[i] - my)
	}
	c := sxy / (n - 1) / (sdOf(x) * sdOf(y))
	return c * math.Sqrt((n-2)/(1-c*c)), n - 2
}

// findsArea draws exponential scores, whose area is θ/(1+θ), and tests with the variance of Hanley and McNeil at the reference.
func findsArea(r *rand.Rand, a *Answer) bool {
	theta := .7 / .3
	x, y := make([]float64, int(a.Effective[0])), make([]float64, int(a.Effective[1]))
	for i := range x {
		x[i] = theta * r.ExpFloat64()
	}
	for i := range y {
		y[i] = r.ExpFloat64()
	}
	sort.Float64s(y)
	var wins float64
	for _, v := range x {
		wins += float64(sort.SearchFloat64s(y, v))
	}
	area := wins / float64(len(x)*len(y))
	return math.Abs(area-.5) > 1.959964*areaSpread(.5, a.Effective[0], a.Effective[1])
}

func binomialDraw(r *rand.Rand, n, p float64) (k float64) {
	for range int(n) {
		if r.Float64() < p {
			k++
		}
	}
	return k
}

func poissonDraw(r *rand.Rand, mean float64) (k float64) {
	for t := r.ExpFloat64(); t < mean; t += r.ExpFloat64() {
		k++
	}
	return k
}

// findsProportion is the exact binomial test, by the package's tails of a distribution, or the normal test.
func findsProportion(r *rand.Rand, a *Answer) bool {
	n, p0 := a.Effective[0], a.Given[Reference].Number
	k := binomialDraw(r, n, a.Given[Proportion].Number)
	if a.Given[Test].Word == testNormal {
		return math.Abs(k/n-p0) > 1.959964*math.Sqrt(p0*(1-p0)/n)
	}
	upper := dist.BinomialUpper(int64(k), int64(n), p0, false)
	lower := dist.BinomialUpper(int64(n-k), int64(n), 1-p0, false)
	return upper <= .025 || lower <= .025
}

func zOfProportions(k1, k2, n1, n2 float64) float64 {
	p := (k1 + k2) / (n1 + n2)
	if p == 0 || p == 1 {
		return 0
	}
	return math.Abs(k1/n1-k2/n2) / math.Sqrt(p*(1-p)*(1/n1+1/n2))
}

func findsProportions(r *rand.Rand, a *Answer) bool {
	n1, n2 := a.Effective[0], a.Effective[1]
	return zOfProportions(binomialDraw(r, n1, a.Given[First].Number), binomialDraw(r, n2, a.Given[Second].Number), n1, n2) > 1.959964
}

// findsFisher is Fisher's exact test of one table, by adding up the tables that are no more probable.
func findsFisher(r *rand.Rand, a *Answer) bool {
	n1, n2 := int(a.Effective[0]), int(a.Effective[1])
	k1, k2 := int(binomialDraw(r, a.Effective[0], a.Given[First].Number)), int(binomialDraw(r, a.Effective[1], a.Given[Second].Number))
	log := func(n, k int) float64 {
		u, _ := math.Lgamma(float64(n) + 1)
		v, _ := math.Lgamma(float64(k) + 1)
		w, _ := math.Lgamma(float64(n-k) + 1)
		return u - v - w
	}
	s := k1 + k2
	at := func(x int) float64 { return math.Exp(log(n2, x) + log(n1, s-x) - log(n1+n2, s)) }
	observed, p := at(k2), 0.0
	for x := max(0, s-n1); x <= min(n2, s); x++ {
		if q := at(x); q <= observed*(1+1e-7) {
			p += q
		}
	}
	return p <= .05
}

func findsRestricted(r *rand.Rand, a *Answer) bool {
	n1, n2 := a.Effective[0], a.Effective[1]
	p1, p2 := binomialDraw(r, n1, .9)/n1, binomialDraw(r, n2, .9)/n2
	q1, q2 := restricted(p1, p2, .1, n2/n1)
	return (p2-p1+.1)/math.Sqrt(q1*(1-q1)/n1+q2*(1-q2)/n2) > -dist.NormalQuantile(.05)
}

func findsPairs(r *rand.Rand, a *Answer) bool {
	var first, second float64
	for range int(a.Effective[0]) {
		switch u := r.Float64(); {
		case u < .05:
			first++
		case u < .25:
			second++
		}
	}
	m := first + second
	if a.Given[Test].Word == testNormal {
		return m > 0 && math.Abs(first-second) > 1.959964*math.Sqrt(m)
	}
	return m > 0 && dist.BinomialUpper(int64(math.Max(first, second)), int64(m), .5, false) <= .025
}

// shoulder is one made-up shoulder: when its observation ended, and why (0 it was censored or died, 1 the event).
type shoulder struct {
	t     float64
	cause uint8
	group int32
}

// follow makes up the follow-up of a group whose event has a hazard. Death ends it with cause 2 where it is told apart.
func follow(r *rand.Rand, a *Answer, n, hazard float64, group int32, apart bool) []shoulder {
	g := a.Given
	list := make([]shoulder, int(n))
	for i := range list {
		entry := r.Float64()
		switch g[Pattern].Word {
		case patternRising:
			entry = math.Sqrt(entry)
		case patternFalling:
			entry = 1 - math.Sqrt(entry)
		}
		end := g[Recruitment].Number*(1-entry) + g[FollowUp].Number
		if limit := g[FollowedFor].Number; limit > 0 {
			end = math.Min(end, limit)
		}
		end = math.Min(end, r.ExpFloat64()/-math.Log(1-g[Loss].Number))
		death := r.ExpFloat64() / -math.Log(1-g[Deaths].Number)
		event := r.ExpFloat64() / hazard
		s := shoulder{math.Min(end, math.Min(death, event)), 0, group}
		switch {
		case event == s.t:
			s.cause = 1
		case death == s.t && apart:
			s.cause = 2
		}
		list[i] = s
	}
	return list
}

// scoreTest is the log-rank test, or with another ratio the score test of that ratio: positive where the second group has more
// events.
func scoreTest(list []shoulder, ratio float64) float64 {
	sort.Slice(list, func(i, j int) bool { return list[i].t > list[j].t })
	var n, u, v [2]float64
	for _, s := range list {
		n[s.group]++
		if s.cause == 1 {
			p := ratio * n[1] / (n[0] + ratio*n[1])
			u[0] += float64(s.group) - p
			v[0] += p * (1 - p)
		}
	}
	if v[0] == 0 {
		return 0
	}
	return u[0] / math.Sqrt(v[0])
}

func findsLogRank(r *rand.Rand, a *Answer) bool {
	h := hazardOf(a.Given[First].Number, a.Given[At].Number)
	list := append(follow(r, a, a.Effective[0], h, 0, false), follow(r, a, a.Effective[1], h*a.Given[HazardRatio].Number, 1, false)...)
	if margin := a.Given[Margin].Number; margin > 0 {
		return scoreTest(list, margin) < dist.NormalQuantile(.05)
	}
	return math.Abs(scoreTest(list, 1)) > 1.959964
}

// findsEvents follows twice as many shoulders until half of them had the event.
func findsEvents(r *rand.Rand, a *Answer) bool {
	events := int(a.Given[Size].Number)
	list := make([]shoulder, 2*events)
	for i := range list {
		list[i] = shoulder{r.ExpFloat64() / []float64{1, .6}[i%2], 1, int32(i % 2)}
	}
	sort.Slice(list, func(i, j int) bool { return list[i].t < list[j].t })
	for i := events; i < len(list); i++ {
		list[i].cause = 0
	}
	return math.Abs(scoreTest(list, 1)) > 1.959964
}

func findsBenchmark(r *rand.Rand, a *Answer) bool {
	h := hazardOf(a.Given[First].Number, a.Given[At].Number)
	var seen, expected float64
	for _, s := range follow(r, a, a.Effective[0], h*a.Given[HazardRatio].Number, 0, false) {
		seen += float64(s.cause)
		expected += h * s.t
	}
	return math.Abs(seen-expected) > 1.959964*math.Sqrt(expected)
}

func findsCharacteristic(r *rand.Rand, a *Answer) bool {
	n := int(a.Effective[0])
	d := hazards.Data{Exit: make([]int32, n), Cause: make([]uint8, n)}
	x, z := make([]float64, n), make([]float64, n)
	for i := range n {
		z[i] = r.NormFloat64()
		x[i] = .6*z[i] + .8*r.NormFloat64()
		d.Exit[i], d.Cause[i] = 1+int32(1e6*r.ExpFloat64()/math.Exp(math.Log(1.5)*x[i]+.3*z[i])), 1
	}
	fit, err := hazards.Cox(d, 1, []covariates.Column{{Name: "x", Values: x}, {Name: "z", Values: z}}, hazards.Options{})
	if err != nil || fit.Status != covariates.Converged {
		return false
	}
	e := fit.Effect(0, .95)
	return e.Lower > 0 || e.Upper < 0
}

func inDays(list []shoulder, causes int) survival.Data {
	d := survival.Data{Causes: causes, Groups: 2}
	for _, s := range list {
		d.Exit, d.Cause, d.Group = append(d.Exit, int32(math.Ceil(s.t*365.25))), append(d.Cause, s.cause), append(d.Group, s.group)
	}
	return d
}

func findsIncidence(r *rand.Rand, a *Answer) bool {
	b := &assumed{design: incidence, given: a.Given}
	list := append(follow(r, a, a.Effective[0], b.causeHazard(First), 0, true), follow(r, a, a.Effective[1], b.causeHazard(Second), 1, true)...)
	counts, err := survival.Count(inDays(list, 2))
	if err != nil {
		return false
	}
	test, err := competing.Gray(1, 0, counts)
	return err == nil && test.P < .05
}

func widthOfCurve(r *rand.Rand, a *Answer) float64 {
	list := follow(r, a, a.Effective[0], hazardOf(.1, 5), 0, false)
	d := inDays(list, 1)
	d.Groups = 1
	counts, err := survival.Count(d)
	if err != nil {
		return math.NaN()
	}
	p, err := counts.ProductLimit(0, 1).Interval(5*365.25, .95, survival.LogLog)
	if err != nil {
		return math.NaN()
	}
	return (p.Upper - p.Lower) / 2
}

func findsRate(r *rand.Rand, a *Answer) bool {
	t := a.Effective[0]
	k, expected := poissonDraw(r, .02*t), .01*t
	if a.Given[Test].Word == testNormal {
		return math.Abs(k-expected) > 1.959964*math.Sqrt(expected)
	}
	lower, upper := dist.PoissonLimits(int64(k), .95)
	return lower > expected || upper < expected
}

func findsRates(r *rand.Rand, a *Answer) bool {
	k1, k2 := poissonDraw(r, .01*a.Effective[0]), poissonDraw(r, .02*a.Effective[1])
	if k1+k2 == 0 {
		return false
	}
	lower, upper := dist.BinomialLimits(int64(k2), int64(k1+k2), .95)
	return lower > .5 || upper < .5
}
