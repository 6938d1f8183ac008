package power

import (
	"math"
	"math/rand/v2"
	"sort"

	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/dist"
	"deltoid/stats/hazards"
	"deltoid/stats/survival"
)

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
