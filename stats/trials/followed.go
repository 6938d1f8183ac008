package trials

import (
	"math"
	"slices"
	"strconv"

	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/dist"
	"deltoid/stats/hazards"
	"deltoid/stats/monitor"
	"deltoid/stats/survival"
)

// data is the follow-up of the sample as package survival takes it.
func (s *Sample) data() survival.Data {
	return survival.Data{Exit: s.Exit, Cause: s.Cause, Group: s.Group, Groups: s.Groups, Causes: 2}
}

// Clusters says which rows of a sample are not independent.
type Clusters uint8

// The clusters.
const (
	NoClusters Clusters = iota
	ByPatient
	ByHospital
)

func (c Clusters) of(s *Sample) []int32 {
	switch c {
	case ByPatient:
		return s.Patient
	case ByHospital:
		return s.Hospital
	}
	return nil
}

var clustersText = [...]string{NoClusters: "", ByPatient: ", clustered by patient", ByHospital: ", clustered by hospital"}

// LogRank compares the hazards of the event, death being censored: survival.LogRank with equal
// weights. Two arms are compared in one pass that counts over days and makes no garbage.
func LogRank() Test { return Test{Name: "log-rank test", Run: logRank} }

func logRank(s *Sample) Verdict {
	if s.Groups != 2 {
		return WeightedLogRank(survival.Equal).Run(s)
	}
	score, variance := s.scores()
	return scored(score, variance)
}

// scores counts exits and events by day and arm, and returns observed minus expected events of the
// second arm with the hypergeometric variance.
func (s *Sample) scores() (score, variance float64) {
	last := int32(0)
	for _, t := range s.Exit {
		last = max(last, t)
	}
	table := room(s.table, 4*(int(last)+1)) // by day: exits and events of the first arm, then of the second
	s.table = table
	clear(table)
	for i, t := range s.Exit {
		at := 4*int(t) + 2*int(s.Group[i])
		table[at]++
		if s.Cause[i] == Event {
			table[at+1]++
		}
	}
	var n0, n1 float64
	for at := len(table) - 4; at >= 0; at -= 4 {
		day := table[at : at+4 : at+4]
		n0 += float64(day[0])
		n1 += float64(day[2])
		if day[1]+day[3] == 0 {
			continue
		}
		n, d := n0+n1, float64(day[1]+day[3])
		score += float64(day[3]) - float64(d*n1)/n
		if n > 1 {
			variance += float64(d * (n - d) / (n - 1) * (n0 / n) * (n1 / n))
		}
	}
	return score, variance
}

// scored is the verdict of a score of the second arm: score over variance is close to the log
// hazard ratio when that is small.
func scored(score, variance float64) Verdict {
	if !(variance > 0) {
		return Verdict{Reason: survival.NotComparable.String()}
	}
	return normal(score/variance, 1/math.Sqrt(variance), 0)
}

// tested is the verdict of a test of two or more arms that estimates nothing.
func tested(score []float64, p float64, status survival.Status) Verdict {
	switch {
	case status != survival.Estimated:
		return Verdict{Reason: status.String()}
	case len(score) == 2:
		return Verdict{Z: signed(p, score[1]), P: p}
	}
	return Verdict{Z: signed(p, 1), P: p}
}

// WeightedLogRank is survival.LogRank with weights, for differences early or late.
func WeightedLogRank(w survival.Weighting) Test {
	return Test{Name: "log-rank test, weights " + w.String(), Run: func(s *Sample) Verdict {
		counts, err := survival.Count(s.data())
		if err != nil {
			return Verdict{Reason: err.Error()}
		}
		return logRankOf(w, counts)
	}}
}

func logRankOf(w survival.Weighting, strata ...*survival.Counts) Verdict {
	t, err := survival.LogRank(1, w, strata...)
	if err != nil {
		return Verdict{Reason: err.Error()}
	}
	if len(t.Score) == 2 && w == survival.Equal && t.Status == survival.Estimated {
		return scored(t.Score[1], t.Variance[3])
	}
	return tested(t.Score, t.P, t.Status)
}

// StratifiedLogRank compares within strata.
func StratifiedLogRank() Test {
	return Test{Name: "stratified log-rank test", Run: func(s *Sample) Verdict {
		counts, err := survival.CountByStratum(s.data(), s.Stratum, s.Strata)
		if err != nil {
			return Verdict{Reason: err.Error()}
		}
		return logRankOf(survival.Equal, counts...)
	}}
}

// ClusteredLogRank has a variance summed over clusters: survival.ClusteredLogRank. Two arms are
// compared in one pass over days and one over rows, without garbage.
func ClusteredLogRank(c Clusters) Test {
	return Test{Name: "log-rank test" + clustersText[c], Run: func(s *Sample) Verdict {
		if cluster := c.of(s); s.Groups == 2 && cluster != nil {
			return s.clusteredScore(cluster)
		}
		d := s.data()
		d.Cluster = c.of(s)
		t, err := survival.ClusteredLogRank(1, survival.Equal, d, nil, 1)
		if err != nil {
			return Verdict{Reason: err.Error()}
		}
		return tested(t.Score, t.P, t.Status)
	}}
}

// clusteredScore sums what each row adds to the score of the second arm over clusters. A row of arm
// g that left on day x adds, with p(t) the share of the second arm among those at risk,
//
//	δ (g − p(x)) − Σ_{t ≤ x} (g − p(t)) d(t)/n(t)
func (s *Sample) clusteredScore(cluster []int32) Verdict {
	if !slices.ContainsFunc(cluster, func(c int32) bool { return c != cluster[0] }) {
		return Verdict{Reason: survival.OneCluster.String()}
	}
	score, variance := s.scores()
	if !(variance > 0) {
		return Verdict{Reason: survival.NotComparable.String()}
	}
	days := len(s.table) / 4
	share, hazard := room(s.x, days), room(s.y, days) // p, and Σ d/n; Σ p d/n in drift
	s.x, s.y = share, hazard
	drift := room(s.drift, days)
	s.drift = drift
	s.walk(share, hazard, drift)
	sums := room(s.sums, max(s.Patients, s.Hospitals))
	s.sums = sums
	clear(sums)
	for i, x := range s.Exit {
		g := float64(s.Group[i])
		add := drift[x] - float64(g*hazard[x])
		if s.Cause[i] == Event {
			add += g - share[x]
		}
		sums[cluster[i]] += add
	}
	total := 0.0
	for _, u := range sums {
		total += float64(u * u)
	}
	// Clusters that add up to nothing leave only rounding.
	if !(total > 1e-12*variance) {
		return Verdict{Reason: survival.NotComparable.String()}
	}
	z := score / math.Sqrt(total)
	return Verdict{Z: z, P: dist.NormalTwoSided(z)}
}

// walk fills in, by day, the share of the second arm among those at risk, the cumulative hazard, and
// the sum of their products over the days with events, from the table that scores made.
func (s *Sample) walk(share, hazard, drift []float64) {
	var n0, n1 float64
	for _, g := range s.Group {
		n1 += float64(g)
	}
	n0 = float64(len(s.Group)) - n1
	var h, k float64
	for day := range share {
		at := s.table[4*day : 4*day+4 : 4*day+4]
		if share[day] = 0; n0+n1 > 0 {
			share[day] = n1 / (n0 + n1)
			step := float64(at[1]+at[3]) / (n0 + n1)
			h += step
			k += float64(share[day] * step)
		}
		hazard[day], drift[day] = h, k
		n0 -= float64(at[0])
		n1 -= float64(at[2])
	}
}

// Gray compares the cumulative incidences of the event, deaths included: competing.Gray.
func Gray(rho float64) Test {
	return Test{Name: "Gray's test", Run: func(s *Sample) Verdict {
		counts, err := survival.Count(s.data())
		if err != nil {
			return Verdict{Reason: err.Error()}
		}
		t, err := competing.Gray(1, rho, counts)
		if err != nil {
			return Verdict{Reason: err.Error()}
		}
		return tested(t.Score, t.P, t.Status)
	}}
}

// ClusteredGray is Gray's test with a variance summed over clusters: competing.ClusteredGray.
func ClusteredGray(rho float64, c Clusters) Test {
	return Test{Name: "Gray's test" + clustersText[c], Run: func(s *Sample) Verdict {
		d := s.data()
		d.Cluster = c.of(s)
		t, err := competing.ClusteredGray(1, rho, d, nil, 1)
		if err != nil {
			return Verdict{Reason: err.Error()}
		}
		return tested(t.Score, t.P, t.Status)
	}}
}

// Model says how a regression in a simulated study is set up.
type Model struct {
	Clusters   Clusters
	Stratified bool // a baseline hazard for each stratum; of Cox only
	Adjusted   bool // with the covariates of the sample
	// Margin is the ratio that is tested against: 1 for no effect, 0 stands for 1.
	Margin float64
}

func (m Model) logMargin() float64 {
	if m.Margin == 0 {
		return 0
	}
	return math.Log(m.Margin)
}

// columns are the second and later arms, and the covariates.
func (m Model) columns(s *Sample) []covariates.Column {
	var out []covariates.Column
	for g := 1; g < s.Groups; g++ {
		values := s.numbersOf(len(out))
		for i, group := range s.Group {
			values[i] = 0
			if int(group) == g {
				values[i] = 1
			}
		}
		out = append(out, covariates.Column{Name: "arm " + strconv.Itoa(g+1), Values: values})
	}
	if m.Adjusted {
		for j, x := range s.Covariate {
			out = append(out, covariates.Column{Name: "covariate " + strconv.Itoa(j+1), Values: x})
		}
	}
	return out
}

// numbersOf returns column j of the scratch memory, a number for each row.
func (s *Sample) numbersOf(j int) []float64 {
	for len(s.numbers) <= j {
		s.numbers = append(s.numbers, nil)
	}
	s.numbers[j] = room(s.numbers[j], len(s.Exit))
	return s.numbers[j]
}

// Cox tests the hazard ratio of the second arm: hazards.Cox.
func Cox(m Model) Test {
	return Test{Name: "Cox model" + clustersText[m.Clusters], Margin: m.logMargin(), Run: func(s *Sample) Verdict {
		d := hazards.Data{Exit: s.Exit, Cause: s.Cause, Cluster: m.Clusters.of(s)}
		if m.Stratified {
			d.Stratum = s.Stratum
		}
		fit, err := hazards.Cox(d, 1, m.columns(s), hazards.Options{})
		if err != nil {
			return Verdict{Reason: err.Error()}
		}
		return fitted(fit.Effect(0, 0.95), m.logMargin())
	}}
}

// SubdistributionRatio tests the ratio of subdistribution hazards of the second arm: competing.Subdistribution.
func SubdistributionRatio(m Model) Test {
	return Test{Name: "Fine and Gray's model" + clustersText[m.Clusters], Margin: m.logMargin(), Run: func(s *Sample) Verdict {
		d := s.data()
		d.Group, d.Groups, d.Cluster = nil, 1, m.Clusters.of(s)
		fit, err := competing.Subdistribution(d, 1, m.columns(s), competing.SubdistributionOptions{})
		if err != nil {
			return Verdict{Reason: err.Error()}
		}
		return fitted(fit.Effect(0, 0.95), m.logMargin())
	}}
}

// RestrictedMean tests the difference of the mean times free of the event up to a horizon, second
// arm minus first, against a margin in days.
func RestrictedMean(horizon, margin float64) Test {
	return Test{Name: "test of the difference of restricted mean times", Margin: margin, Run: func(s *Sample) Verdict {
		counts, err := survival.Count(s.data())
		if err != nil {
			return Verdict{Reason: err.Error()}
		}
		var mean [2]survival.Mean
		for g := range mean {
			if mean[g], err = counts.ProductLimit(g, 1).RestrictedMean(horizon, 0.95); err != nil {
				return Verdict{Reason: err.Error()}
			}
		}
		c, err := mean[1].Minus(mean[0], 0)
		switch {
		case err != nil:
			return Verdict{Reason: err.Error()}
		case c.Status != survival.Estimated:
			return Verdict{Reason: c.Status.String()}
		}
		return normal(c.Value, c.SE, margin)
	}}
}

// RateRatio tests the events per time under observation, exactly: monitor.Ratio.
func RateRatio() Test {
	return Test{Name: "exact test of the rate ratio", Run: func(s *Sample) Verdict {
		var tally [2]monitor.Tally
		for i, g := range s.Group {
			if g > 1 {
				continue
			}
			tally[g].Exposure += float64(s.Exit[i])
			if s.Cause[i] == Event {
				tally[g].Events++
			}
		}
		r, err := monitor.Ratio(tally[1], tally[0], 0.95, monitor.Exact)
		switch {
		case err != nil:
			return Verdict{Reason: err.Error()}
		case r.Status != monitor.Estimated && r.Status != monitor.NoReference:
			return Verdict{Reason: r.Status.String()}
		case r.Status == monitor.NoReference:
			return Verdict{Z: signed(r.P, 1), P: r.P}
		}
		if tally[1].Events == 0 {
			return Verdict{Z: signed(r.P, -1), P: r.P}
		}
		se := math.Sqrt(1/float64(tally[0].Events) + 1/float64(tally[1].Events))
		return Verdict{Z: signed(r.P, r.Value-1), P: r.P, Effect: math.Log(r.Value), SE: se}
	}}
}
