package witness_test

import (
	commandline "flag"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/monitor"
	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// simulations is how many sets each study draws. The few of every run tell a method that is broken
// from one that is not; a nightly run draws many, and its results stand in testdata/references/DOSSIER.md:
//
//	go test -count=1 -run TestSimulations -v ./stats/witness -args -simulations 10000
var simulations = commandline.Int("simulations", 400, "sets that each study of TestSimulations draws")

// study draws sets of which the truth is known and says, for each question, whether an interval held the
// truth or a test rejected it.
type study struct {
	name      string
	questions []string
	nominal   float64
	// allow is by how much a good method may miss its nominal share in sets of this size, for which its
	// theory of large samples does not quite hold.
	allow float64
	draw  func(r *rand.Rand) []bool
}

// run returns the share of yes for each question. Set i is drawn from the stream (20, name, i), whatever
// the number of processors.
func (s *study) run(sets int) []float64 {
	counts := make([]atomic.Int64, len(s.questions))
	var next atomic.Int64
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for i := next.Add(1) - 1; i < int64(sets); i = next.Add(1) - 1 {
				for q, yes := range s.draw(random.Stream(20, s.name, uint64(i))) {
					if yes {
						counts[q].Add(1)
					}
				}
			}
		})
	}
	wait.Wait()
	shares := make([]float64, len(counts))
	for q := range counts {
		shares[q] = float64(counts[q].Load()) / float64(sets)
	}
	return shares
}

func TestSimulations(t *testing.T) {
	sets := *simulations
	var table strings.Builder
	for _, s := range studies {
		// Three and a half standard errors: of some forty shares one in forty runs of other seeds would be beyond.
		bound := s.allow + 3.5*math.Sqrt(s.nominal*(1-s.nominal)/float64(sets))
		for q, share := range s.run(sets) {
			fmt.Fprintf(&table, "| %s | %s | %.3f | %.4f | %.4f |\n", s.name, s.questions[q], s.nominal, share, math.Sqrt(share*(1-share)/float64(sets)))
			if strings.HasPrefix(s.questions[q], "(") {
				continue // shown to say what it is about; known not to hold
			}
			if math.Abs(share-s.nominal) > bound {
				t.Errorf("%s, %s: %.4f, want %.3f within %.4f", s.name, s.questions[q], share, s.nominal, bound)
			}
		}
	}
	t.Logf("%d sets each:\n| study | question | nominal | found | its standard error |\n| --- | --- | --- | --- | --- |\n%s", sets, table.String())
}

// oneDeath is a time of the event at a rate a day, ended by a censoring at any time up to last, in whole
// days.
func oneDeath(r *rand.Rand, rate, last float64) (exit int32, event uint8) {
	t, c := r.ExpFloat64()/rate, last*r.Float64()
	if t <= c {
		return int32(t), 1
	}
	return int32(c), 0
}

// competingEnd is the first of an event of cause 1, one of cause 2 and a censoring.
func competingEnd(r *rand.Rand, own, other, last float64) (exit int32, cause uint8) {
	t, o, c := r.ExpFloat64()/own, r.ExpFloat64()/other, last*r.Float64()
	switch {
	case t <= o && t <= c:
		return int32(t), 1
	case o <= c:
		return int32(o), 2
	}
	return int32(c), 0
}

// frailty is a gamma variable of mean 1 and variance 1, which a pair shares: the survival of one is
// 1/(1+H), H the cumulative hazard at frailty 1.
func frailty(r *rand.Rand) float64 { return r.ExpFloat64() }

func mustCounts(d survival.Data) *survival.Counts {
	c, err := survival.Count(d)
	if err != nil {
		panic(err)
	}
	return c
}

func must[T any](x T, err error) T {
	if err != nil {
		panic(err)
	}
	return x
}

func covers(p survival.Point, truth float64) bool {
	return p.Limits != survival.Estimated || p.Lower <= truth && truth <= p.Upper
}

var fiveForms = []string{"complementary log-log", "plain", "log", "logit", "arcsine square root"}

// productLimit asks whether the five intervals of survival hold the truth, which at the end of day t is
// exp(−rate (t+1)).
func productLimit(n int, truth float64) func(r *rand.Rand) []bool {
	const at = 1000
	rate := -math.Log(truth) / (at + 1)
	return func(r *rand.Rand) []bool {
		d := survival.Data{}
		for range n {
			exit, event := oneDeath(r, rate, 3000)
			d.Exit, d.Cause = append(d.Exit, exit), append(d.Cause, event)
		}
		curve := mustCounts(d).ProductLimit(0, 1)
		var yes []bool
		for scale := survival.LogLog; scale <= survival.ArcsineRoot; scale++ {
			yes = append(yes, covers(must(curve.Interval(at, 0.95, scale)), truth))
		}
		return yes
	}
}

// incidence asks the same of a cumulative incidence, (own/both)(1 − exp(−both (t+1))).
func incidence(n int) func(r *rand.Rand) []bool {
	const at, own, other = 1000, 0.0002, 0.0003
	truth := own / (own + other) * (1 - math.Exp(-(own+other)*(at+1)))
	return func(r *rand.Rand) []bool {
		d := survival.Data{Causes: 2}
		for range n {
			exit, cause := competingEnd(r, own, other, 3000)
			d.Exit, d.Cause = append(d.Exit, exit), append(d.Cause, cause)
		}
		curve := competing.All(mustCounts(d), 0).Cause(1)
		return []bool{covers(curve.At(at), truth), covers(curve.Using(competing.Aalen).At(at), truth)}
	}
}

// restrictedMean asks whether the interval of the mean to 2,000 days holds the truth, the area under
// exp(−rate (t+1)) taken by whole days.
func restrictedMean(r *rand.Rand) []bool {
	const rate, horizon = 0.0005, 2000
	d := survival.Data{}
	for range 200 {
		exit, event := oneDeath(r, rate, 6000)
		d.Exit, d.Cause = append(d.Exit, exit), append(d.Cause, event)
	}
	truth := 0.0
	for day := range horizon {
		truth += math.Exp(-rate * float64(day+1))
	}
	m := must(mustCounts(d).ProductLimit(0, 1).RestrictedMean(horizon, 0.95))
	return []bool{m.Lower <= truth && truth <= m.Upper}
}

// pairs draws patients with one frailty for both shoulders. group says in which group each shoulder is.
func pairs(r *rand.Rand, patients int, group func(patient, shoulder int) int32) survival.Data {
	d := survival.Data{Groups: 2, Causes: 2}
	for p := range patients {
		f := frailty(r)
		for s := range 2 {
			exit, cause := competingEnd(r, 0.0006*f, 0.0002, 3000)
			d.Exit, d.Cause = append(d.Exit, exit), append(d.Cause, cause)
			d.Group, d.Cluster = append(d.Group, group(p, s)), append(d.Cluster, int32(p))
		}
	}
	return d
}

func together(patient, _ int) int32 { return int32(patient % 2) }
func apart(_, shoulder int) int32   { return int32(shoulder) }

// clusteredCurves asks whether the intervals of survival of pairs hold the truth 1/(1+H), by the clustered
// variance and by the one that knows of no pairs.
func clusteredCurves(r *rand.Rand) []bool {
	const at = 1000
	truth := 1 / (1 + 0.0006*(at+1))
	d := pairs(r, 200, together)
	curve := mustCounts(d).Pooled().ProductLimit(0, 1)
	robust := must(curve.RobustFrom(must(survival.LayOut(d)).Pooled()))
	return []bool{covers(robust.At(at), truth), covers(curve.At(at), truth)}
}

// contrasts asks whether the interval of a difference of survival between the two sides of patients
// holds 0.
func contrasts(r *rand.Rand) []bool {
	const at = 1000
	d := pairs(r, 200, apart)
	counts, layout := mustCounts(d), must(survival.LayOut(d))
	a := must(counts.ProductLimit(0, 1).RobustFrom(layout.Group(0)))
	b := must(counts.ProductLimit(1, 1).RobustFrom(layout.Group(1)))
	holds := func(covariance float64) bool {
		c := must(a.At(at).Minus(b.At(at), covariance))
		return c.Lower <= 0 && 0 <= c.Upper
	}
	means := func(covariance float64) bool {
		c := must(must(a.RestrictedMean(at, 0.95)).Minus(must(b.RestrictedMean(at, 0.95)), covariance))
		return c.Lower <= 0 && 0 <= c.Upper
	}
	return []bool{holds(a.Influence(at).With(b.Influence(at))), means(a.MeanInfluence(at).With(b.MeanInfluence(at))), holds(0)}
}

// tests asks whether tests of groups that do not differ reject at 5 %.
func tests(r *rand.Rand) []bool {
	d := survival.Data{Groups: 3, Causes: 2}
	var stratum []int32
	for range 240 {
		s := int32(r.IntN(3))
		exit, cause := competingEnd(r, 0.0003*float64(1+s), 0.0003, 3000)
		d.Exit, d.Cause = append(d.Exit, exit), append(d.Cause, cause)
		d.Group, stratum = append(d.Group, int32(r.IntN(3))), append(stratum, s)
	}
	counts, strata := mustCounts(d), must(survival.CountByStratum(d, stratum, 3))
	return []bool{
		must(survival.LogRank(1, survival.Equal, counts)).P < 0.05,
		must(survival.LogRank(1, survival.PetoPrentice, counts)).P < 0.05,
		must(survival.LogRank(1, survival.Equal, strata...)).P < 0.05,
		must(competing.Gray(1, 0, counts)).P < 0.05,
		must(competing.Gray(1, 0, strata...)).P < 0.05,
	}
}

// clusteredTests asks the same of pairs, both in one group or one in each.
func clusteredTests(group func(patient, shoulder int) int32) func(r *rand.Rand) []bool {
	return func(r *rand.Rand) []bool {
		d := pairs(r, 150, group)
		counts := mustCounts(d)
		return []bool{
			must(survival.ClusteredLogRank(1, survival.Equal, d, nil, 1)).P < 0.05,
			must(competing.ClusteredGray(1, 0, d, nil, 1)).P < 0.05,
			must(survival.LogRank(1, survival.Equal, counts)).P < 0.05,
			must(competing.Gray(1, 0, counts)).P < 0.05,
		}
	}
}

// rates asks whether intervals of a rate, and of a ratio of two equal ones, hold the truth, for Poisson
// counts of a mean of 12.
func rates(r *rand.Rand) []bool {
	poisson := func() monitor.Tally {
		n, t := int64(0), r.ExpFloat64()
		for ; t < 12; t += r.ExpFloat64() {
			n++
		}
		return monitor.Tally{Events: n, Exposure: 12}
	}
	a, b := poisson(), poisson()
	var yes []bool
	for form := monitor.Exact; form <= monitor.MidP; form++ {
		x := must(a.Rate(1, 0.95, form))
		yes = append(yes, x.Lower <= 1 && 1 <= x.Upper)
		ratio := must(monitor.Ratio(a, b, 0.95, form))
		yes = append(yes, ratio.Status != monitor.Estimated || ratio.Lower <= 1 && 1 <= ratio.Upper)
	}
	return yes
}

// clusteredRates asks it of pairs with a frailty, followed for 500 days after each other's event, so that
// the true rate is known: 0.0006 for each day.
func clusteredRates(r *rand.Rand) []bool {
	const rate, days = 0.0006, 500
	d := survival.Data{Groups: 2, Causes: 1}
	for p := range 150 {
		f := frailty(r)
		for s := range 2 {
			for begin := int32(0); begin < days; { // each event begins a new row, so that exposure does not depend on frailty
				end, cause := int32(days), uint8(0)
				if wait := r.ExpFloat64() / (rate * f); wait < float64(days-begin) {
					end, cause = begin+1+int32(wait), 1
				}
				d.Entry, d.Exit, d.Cause = append(d.Entry, begin), append(d.Exit, end), append(d.Cause, cause)
				d.Group, d.Cluster = append(d.Group, int32(s)), append(d.Cluster, int32(p))
				begin = end
			}
		}
	}
	clusters := must(monitor.Cluster(d))
	all, sides := clusters.Spread(1, 0, math.Inf(1), 1, nil, 1), clusters.Spread(1, 0, math.Inf(1), 1, d.Group, 2)
	holds := func(x monitor.Rate) bool { return x.Lower <= rate && rate <= x.Upper }
	ratio := must(sides.Ratio(0, 1, 0.95, monitor.MidP))
	difference := must(sides.Difference(0, 1, 1, 0.95, monitor.MidP))
	return []bool{
		holds(must(all.Rate(0, 1, 0.95, monitor.MidP))),
		ratio.Lower <= 1 && 1 <= ratio.Upper,
		difference.Lower <= 0 && 0 <= difference.Upper,
		holds(must(all.Tallies[0].Rate(1, 0.95, monitor.MidP))),
	}
}

var studies = []study{
	{"product-limit, 200 shoulders, S = 0.9", fiveForms, 0.95, 0.02, productLimit(200, 0.9)},
	{"product-limit, 50 shoulders, S = 0.6", fiveForms, 0.95, 0.025, productLimit(50, 0.6)},
	{"cumulative incidence, 200 shoulders", []string{"delta method", "counting process"}, 0.95, 0.01, incidence(200)},
	{"cumulative incidence, 50 shoulders", []string{"delta method", "counting process"}, 0.95, 0.02, incidence(50)},
	{"restricted mean, 200 shoulders", []string{"plain"}, 0.95, 0.01, restrictedMean},
	{"survival of 200 pairs", []string{"clustered", "(as if independent)"}, 0.95, 0.01, clusteredCurves},
	{"difference between the sides of 200 patients", []string{"survival", "restricted mean", "(as if groups were independent)"}, 0.95, 0.01, contrasts},
	{"three groups of 80 that do not differ", []string{"log-rank", "weighted early", "log-rank in strata", "Gray", "Gray in strata"}, 0.05, 0.01, tests},
	{"150 pairs, each in one of two groups", []string{"log-rank, clustered", "Gray, clustered", "(log-rank as if independent)", "(Gray as if independent)"}, 0.05, 0.01, clusteredTests(together)},
	{"150 pairs, one shoulder in each group", []string{"log-rank, clustered", "Gray, clustered", "(log-rank as if independent)", "(Gray as if independent)"}, 0.05, 0.01, clusteredTests(apart)},
	{"rates of 12 expected events", []string{"exact, rate", "exact, ratio", "mid-P, rate", "mid-P, ratio"}, 0.95, 0.04, rates},
	{"rates of 150 pairs", []string{"rate, clustered", "ratio of the sides, clustered", "difference of the sides, clustered", "(rate as if independent)"}, 0.95, 0.015, clusteredRates},
}
