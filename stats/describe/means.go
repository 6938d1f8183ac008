package describe

import (
	"math"

	"deltoid/stats/dist"
	"deltoid/stats/numeric"
)

// Welch tests whether two independent means differ, the first minus the second, without supposing equal variances. The degrees of freedom are
// Satterthwaite's.
//
// Source: Welch, Biometrika 34 (1947) 28–35.
func Welch(a, b Moments, level float64) MeanTest {
	if s := first(a.Status, b.Status, a.Spread, b.Spread); s != Estimated {
		return MeanTest{Level: level, Test: Test{Status: s}}
	}
	u, v := a.squaredError(), b.squaredError()
	sum := u + v
	df := float64(sum*sum) / (float64(u*u)/float64(a.N-1) + float64(v*v)/float64(b.N-1))
	return meanTest(a.Mean-b.Mean, math.Sqrt(sum), df, level)
}

// Student tests whether two independent means differ, the first minus the second, supposing equal variances. One of the groups may hold one
// number.
//
// Source: Student, Biometrika 6 (1908) 1–25, in Fisher's form for two samples.
func Student(a, b Moments, level float64) MeanTest {
	if s := first(a.Status, b.Status); s != Estimated {
		return MeanTest{Level: level, Test: Test{Status: s}}
	}
	df := float64(a.N + b.N - 2)
	if df < 1 {
		return MeanTest{Level: level, Test: Test{Status: OneRow}}
	}
	pooled := (float64(float64(a.N-1)*a.Variance()) + float64(float64(b.N-1)*b.Variance())) / df
	return meanTest(a.Mean-b.Mean, math.Sqrt(float64(pooled*(1/float64(a.N)+1/float64(b.N)))), df, level)
}

// Paired tests whether the mean of differences within pairs is 0.
//
// Source: Student, Biometrika 6 (1908) 1–25.
func Paired(differences Moments, level float64) MeanTest {
	if s := first(differences.Status, differences.Spread); s != Estimated {
		return MeanTest{Level: level, Test: Test{Status: s}}
	}
	return meanTest(differences.Mean, math.Sqrt(differences.squaredError()), float64(differences.N-1), level)
}

// OneWay tests whether any of several independent means differ, supposing equal variances: the F-test of a one-way analysis
// of variance.
//
// Source: Fisher, Statistical Methods for Research Workers (1925), chapter 7.
func OneWay(groups []Moments) Test {
	n, s := 0, wantGroups(groups)
	if s != Estimated {
		return Test{Status: s}
	}
	var mean, within, among numeric.Sum
	for _, g := range groups {
		n += g.N
		mean.Add(float64(g.N) * g.Mean)
		within.Add(float64(g.N-1) * g.Variance())
	}
	centre := mean.Value() / float64(n)
	for _, g := range groups {
		d := g.Mean - centre
		among.Add(float64(g.N) * float64(d*d))
	}
	df, df2 := float64(len(groups)-1), float64(n-len(groups))
	return fTest(among.Value()/df, within.Value()/df2, df, df2)
}

func fTest(above, below, df, df2 float64) Test {
	f := above / below
	if !(below > 0) || !finite(f) || !(df2 > 0) || !finite(df2) {
		return Test{Status: NoSpread}
	}
	return Test{Statistic: f, DF: df, DF2: df2, P: dist.FUpper(f, df, df2)}
}

// WelchOneWay tests whether any of several independent means differ, without supposing equal variances. With two groups it is
// [Welch]'s test, its statistic squared. A group that does not vary makes it NoSpread.
//
// Source: Welch, Biometrika 38 (1951) 330–336.
func WelchOneWay(groups []Moments) Test {
	if s := wantGroups(groups); s != Estimated {
		return Test{Status: s}
	}
	var weights, mean numeric.Sum
	for _, g := range groups {
		if s := first(g.Spread, spreadStatus(g)); s != Estimated {
			return Test{Status: s}
		}
		w := 1 / g.squaredError()
		weights.Add(w)
		mean.Add(w * g.Mean)
	}
	total := weights.Value()
	centre := mean.Value() / total
	var among, lambda numeric.Sum
	for _, g := range groups {
		w, d := 1/g.squaredError(), g.Mean-centre
		among.Add(w * float64(d*d))
		rest := 1 - w/total
		lambda.Add(float64(rest*rest) / float64(g.N-1))
	}
	k := float64(len(groups))
	l := lambda.Value() / (float64(k*k) - 1)
	return fTest(among.Value()/(k-1), 1+float64(2*(k-2)*l), k-1, 1/(3*l))
}

func spreadStatus(m Moments) Status {
	if e := m.squaredError(); e > 0 && finite(1/e) {
		return Estimated
	}
	return NoSpread
}

// wantGroups asks for two groups or more, each with a number.
func wantGroups(groups []Moments) Status {
	if len(groups) < 2 {
		return NoRows
	}
	for _, g := range groups {
		if g.Status != Estimated {
			return g.Status
		}
	}
	return Estimated
}
