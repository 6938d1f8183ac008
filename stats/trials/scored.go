package trials

import (
	"math"

	"deltoid/stats/describe"
	"deltoid/stats/regression"
)

// MeanDifference tests the means of the scores at a visit, second arm minus first, without supposing
// equal variances (Welch), against a margin. With change it takes the change since the first visit.
func MeanDifference(visit int, change bool, margin float64) Test {
	name := "Welch's t test of the scores"
	if change {
		name = "Welch's t test of the changes"
	}
	return Test{Name: name, Margin: margin, Run: func(s *Sample) Verdict {
		var values [2][]float64
		values[0], values[1] = s.x[:0], s.y[:0]
		for i, g := range s.Group {
			if x, ok := s.scoreOf(i, visit, change); ok && g < 2 {
				values[g] = append(values[g], x)
			}
		}
		s.x, s.y = values[0], values[1]
		t := describe.Welch(describe.MomentsOf(values[1]), describe.MomentsOf(values[0]), 0.95)
		if t.Status != describe.Estimated {
			return Verdict{Reason: t.Status.String()}
		}
		return student(t.Difference, t.SE, t.DF, margin)
	}}
}

// scoreOf is the score of a row at a visit, or its change since the first, where it is known.
func (s *Sample) scoreOf(i, visit int, change bool) (float64, bool) {
	if !s.Seen[visit][i] || change && !s.Seen[0][i] {
		return 0, false
	}
	x := s.Score[visit][i]
	if change {
		x -= s.Score[0][i]
	}
	return x, true
}

// AdjustedMeans tests the difference of the scores at a visit given the first visit, second arm
// minus first (analysis of covariance with one slope), against a margin, in those whose two scores
// are known. With clusters the variance is summed over them, times G/(G − 1) with G clusters, and
// has G − 1 degrees of freedom.
func AdjustedMeans(visit int, c Clusters, margin float64) Test {
	return Test{Name: "analysis of covariance" + clustersText[c], Margin: margin, Run: func(s *Sample) Verdict {
		f := s.adjust(visit)
		switch {
		case f.n[0] < 2 || f.n[1] < 2 || f.n[0]+f.n[1] < 4 || !(f.sxx > 0):
			return Verdict{Reason: "too few scores for an adjusted difference"}
		case c == NoClusters:
			return student(f.effect, f.modelSE(), f.n[0]+f.n[1]-3, margin)
		}
		se, clusters := f.clusteredSE(s, visit, c)
		return student(f.effect, se, clusters-1, margin)
	}}
}

// adjusted is a regression of a score on arm and first score.
type adjusted struct {
	n, x, y       [2]float64 // by arm: rows, means
	sxx, sxy, syy float64    // within arms
	slope, effect float64
}

// adjust fits by sums within arms, around the means.
func (s *Sample) adjust(visit int) adjusted {
	var f adjusted
	s.both(visit, func(_ int, g int32, x, y float64) {
		f.n[g]++
		f.x[g] += x
		f.y[g] += y
	})
	for g := range f.n {
		f.x[g] /= max(f.n[g], 1)
		f.y[g] /= max(f.n[g], 1)
	}
	s.both(visit, func(_ int, g int32, x, y float64) {
		dx, dy := x-f.x[g], y-f.y[g]
		f.sxx += float64(dx * dx)
		f.sxy += float64(dx * dy)
		f.syy += float64(dy * dy)
	})
	if f.sxx > 0 {
		f.slope = f.sxy / f.sxx
	}
	f.effect = f.y[1] - f.y[0] - float64(f.slope*(f.x[1]-f.x[0]))
	return f
}

// both visits the rows of the first two arms whose first score and score at a visit are known.
func (s *Sample) both(visit int, do func(row int, group int32, x, y float64)) {
	for i, g := range s.Group {
		if g < 2 && s.Seen[0][i] && s.Seen[visit][i] {
			do(i, g, s.Score[0][i], s.Score[visit][i])
		}
	}
}

func (f adjusted) modelSE() float64 {
	apart := f.x[1] - f.x[0]
	residual := (f.syy - float64(f.slope*f.sxy)) / (f.n[0] + f.n[1] - 3)
	return math.Sqrt(residual * (1/f.n[0] + 1/f.n[1] + float64(apart*apart)/f.sxx))
}

// clusteredSE sums the influences of the rows on the effect over clusters.
func (f adjusted) clusteredSE(s *Sample, visit int, c Clusters) (se, clusters float64) {
	cluster := c.of(s)
	sums := room(s.x, max(s.Patients, s.Hospitals))
	clear(sums)
	apart := f.x[1] - f.x[0]
	s.both(visit, func(i int, g int32, x, y float64) {
		residual := y - f.y[g] - float64(f.slope*(x-f.x[g]))
		weight := (2*float64(g) - 1) / f.n[g]
		sums[cluster[i]] += float64((weight - apart*(x-f.x[g])/f.sxx) * residual)
	})
	s.x = sums
	total := 0.0
	for _, u := range sums {
		if u != 0 {
			clusters++
			total += float64(u * u)
		}
	}
	if clusters < 2 {
		return 0, clusters
	}
	return math.Sqrt(total * clusters / (clusters - 1)), clusters
}

// Outcome says of a row whether something is so, and whether that is known.
type Outcome struct {
	Name string
	Of   func(s *Sample, row int) (yes, known bool)
}

// Occurred is that the event came within so many days; not known of those who were watched for
// less without it. Those who died without it did not have it.
func Occurred(days int32) Outcome {
	return Outcome{"with the event in time", func(s *Sample, i int) (yes, known bool) {
		switch {
		case s.Cause[i] == Event && s.Exit[i] <= days:
			return true, true
		case s.Exit[i] >= days, s.Cause[i] == Died:
			return false, true
		}
		return false, false
	}}
}

// Responded is that a score rose since the first visit by so much or more; a threshold below 0
// means that it fell by so much or more.
func Responded(visit int, threshold float64) Outcome {
	return Outcome{"that responds", func(s *Sample, i int) (yes, known bool) {
		change, known := s.scoreOf(i, visit, true)
		if threshold < 0 {
			change, threshold := -change, -threshold
			return known && change >= threshold, known
		}
		return known && change >= threshold, known
	}}
}

// Proportions tests the shares with an outcome by Pearson's chi-square without continuity
// correction: describe.ChiSquare. The effect is the difference of the shares, second arm minus first.
func Proportions(o Outcome) Test {
	return Test{Name: "chi-square test of the share " + o.Name, Run: func(s *Sample) Verdict { return s.shares(o, describe.ChiSquare) }}
}

// ExactProportions tests the shares by Fisher's exact test.
func ExactProportions(o Outcome) Test {
	return Test{Name: "Fisher's exact test of the share " + o.Name, Run: func(s *Sample) Verdict { return s.shares(o, describe.FisherExact) }}
}

func (s *Sample) shares(o Outcome, test func([][]int64) describe.Test) Verdict {
	var count [2][2]int64
	for i, g := range s.Group {
		if yes, known := o.Of(s, i); known && g < 2 {
			if yes {
				count[g][1]++
			} else {
				count[g][0]++
			}
		}
	}
	t := test([][]int64{count[0][:], count[1][:]})
	if t.Status != describe.Estimated {
		return Verdict{Reason: t.Status.String()}
	}
	first, v0 := proportion(count[0])
	second, v1 := proportion(count[1])
	d := second - first
	return Verdict{Z: signed(t.P, d), P: t.P, Effect: d, SE: math.Sqrt(v0 + v1)}
}

// proportion is a share and its variance.
func proportion(count [2]int64) (p, variance float64) {
	n := float64(count[0] + count[1])
	p = float64(count[1]) / n
	return p, p * (1 - p) / n
}

// Odds tests the odds ratio of an outcome in a logistic regression, on the rows in which it is
// known: regression.Logistic.
func Odds(o Outcome, m Model) Test {
	return Test{Name: "logistic regression of the share " + o.Name + clustersText[m.Clusters], Margin: m.logMargin(), Run: func(s *Sample) Verdict {
		columns := m.columns(s)
		outcome, weight := s.numbersOf(len(columns)), s.numbersOf(len(columns)+1)
		for i := range outcome {
			yes, known := o.Of(s, i)
			outcome[i], weight[i] = number(yes), number(known)
		}
		fit, err := regression.Logistic(regression.Data{Outcome: outcome, Weight: weight, Cluster: m.Clusters.of(s)}, columns, regression.Options{})
		if err != nil {
			return Verdict{Reason: err.Error()}
		}
		return fitted(fit.Effect(0, 0.95), m.logMargin())
	}}
}

func number(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}
