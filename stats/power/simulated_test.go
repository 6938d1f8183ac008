package power

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"deltoid/stats/dist"
	"deltoid/stats/random"
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
