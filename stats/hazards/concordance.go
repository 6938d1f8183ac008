package hazards

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/survival"
)

// Concordance says how often, of two rows of which one has the event while the other is at risk,
// the one with the higher predictor has it.
type Concordance struct {
	Status covariates.Status // NoEvents where there are no pairs
	// C is (concordant + tied/2) / pairs.
	C, SE float64
	// Sums over pairs of the product of weights. Pairs tied on the predictor are Tied; of two
	// events at one time neither came first, and they are no pair.
	Concordant, Discordant, Tied float64
}

// Concordance compares the predictor of the fit with what happened, within strata; its variance
// is summed over clusters where the data have them.
func (f *Fit) Concordance() (*Concordance, error) {
	eta, err := f.Predictors()
	if err != nil {
		return nil, err
	}
	return Concord(f.partial.data, f.Cause, eta)
}

// Concord compares any predictor of risk, higher meaning earlier, with the events of a cause. The
// variance is the infinitesimal jackknife over rows or clusters. The cost is n log n.
//
// Sources: Harrell et al., J. Am. Med. Assoc. 247 (1982) 2543–2546; Therneau & Watson, technical
// report 85, Mayo Clinic (2015), for the variance and the sweep.
func Concord(d Data, cause uint8, predictor []float64) (*Concordance, error) {
	return concord(d, cause, predictor, nil)
}

// ConcordUpTo is Concord in which the pairs that an event up to a time makes are weighted by 1/G², G being the probability of
// staying uncensored until just before it: it then estimates what would be seen if nobody were censored, whatever the censoring;
// the zero time is all of follow-up. G is the product-limit estimate within the stratum, an event coming before a censoring of its
// time; the variance takes it as known. Of late entries, for which the weights do not hold, the status says that there is no method.
//
// Source: Uno et al., Stat. Med. 30 (2011) 1105–1117.
func ConcordUpTo(d Data, cause uint8, predictor []float64, time float64) (*Concordance, error) {
	if _, _, err := d.check(cause); err != nil {
		return nil, err
	}
	if time < 0 || math.IsNaN(time) {
		return nil, fmt.Errorf("time %v, want 0 or more", time)
	}
	for i := range d.Exit {
		if d.entry(i) > 0 {
			return &Concordance{Status: covariates.Unsupported}, nil
		}
	}
	worth, err := d.inverseStay(cause, time)
	if err != nil {
		return nil, err
	}
	return concord(d, cause, predictor, worth)
}

// inverseStay returns 1/G² just before the event of each row, 0 after a time.
func (d Data) inverseStay(cause uint8, time float64) ([]float64, error) {
	left := make([]uint8, len(d.Exit)) // any end but a censoring
	for i, c := range d.Cause {
		left[i] = min(c, 1)
	}
	_, strata, err := d.check(cause)
	if err != nil {
		return nil, err
	}
	counts, err := survival.Count(survival.Data{Exit: d.Exit, Cause: left, Group: d.Stratum, Groups: strata, Weight: d.Weight})
	if err != nil {
		return nil, err
	}
	stay := make([]stayCurve, strata)
	for g := range stay {
		stay[g] = stayIn(counts, g)
	}
	out := make([]float64, len(d.Exit))
	for i, c := range d.Cause {
		if c == cause && (time == 0 || d.time(d.Exit[i]) <= time) {
			g := stay[d.stratum(i)].before(d.Exit[i])
			out[i] = 1 / (g * g)
		}
	}
	return out, nil
}

func concord(d Data, cause uint8, predictor, worth []float64) (*Concordance, error) {
	if _, _, err := d.check(cause); err != nil {
		return nil, err
	}
	if len(predictor) != len(d.Exit) {
		return nil, fmt.Errorf("the predictor has %d rows, Exit has %d", len(predictor), len(d.Exit))
	}
	for i, x := range predictor {
		if math.IsNaN(x) {
			return nil, &covariates.RowError{Row: i, Column: "the predictor", Found: "NaN", Want: "a number"}
		}
	}
	clusters, err := covariates.GroupRows(d.Cluster, len(d.Exit))
	if err != nil {
		return nil, err
	}
	s := &pairSweep{d: d, cause: cause, rank: ranked(predictor), credit: make([]float64, len(predictor)), pairs: make([]float64, len(predictor)), worth: worth}
	s.run()
	return s.result(clusters), nil
}

// ranked returns the rank of each value among the distinct ones, from 0.
func ranked(values []float64) []int32 {
	rank, next := make([]int32, len(values)), int32(-1)
	before := uint64(0)
	for at, r := range byValue(values) {
		if at == 0 || r.key != before {
			next++
		}
		rank[r.row], before = next, r.key
	}
	return rank
}

// pairSweep goes along the times of each stratum. Credit and pairs of a row are sums over the
// pairs it is in, times both weights: 1 for a concordant pair, ½ for a tied one.
type pairSweep struct {
	d             Data
	cause         uint8
	rank          []int32
	credit, pairs []float64
	worth         []float64 // what the event of a row counts for; nil is 1
	sums          Concordance
}

// eventWeight is the weight of the event of a row.
func (s *pairSweep) eventWeight(row int32) float64 {
	w := s.d.weight(int(row))
	if s.worth != nil {
		w *= s.worth[row]
	}
	return w
}

// What happens at one tick comes in this order: those who leave with the event look at those at
// risk, then those leave who were in pairs with them, then late entries of the tick join.
const (
	early uint64 = iota // those who are there from the start, before the first tick
	event
	censoring
	late
)

// moments returns every entry and exit in order: by stratum, tick and kind.
func (s *pairSweep) moments() []keyed {
	d := s.d
	out := make([]keyed, 0, 2*len(d.Exit))
	for i := range d.Exit {
		if d.weight(i) == 0 {
			continue
		}
		key := func(tick int32, kind uint64) uint64 { return uint64(d.stratum(i))<<33 | uint64(tick)<<2 | kind }
		if e := d.entry(i); e > 0 {
			out = append(out, keyed{key(e, late), int32(i)})
		} else {
			out = append(out, keyed{key(0, early), int32(i)})
		}
		kind := censoring
		if d.Cause[i] == s.cause {
			kind = event
		}
		out = append(out, keyed{key(d.Exit[i], kind), int32(i)})
	}
	return sortKeyed(out)
}

func (s *pairSweep) run() {
	ranks := int32(0)
	for _, r := range s.rank {
		ranks = max(ranks, r+1)
	}
	all, risk, seen := s.moments(), newRankSums(ranks), newRankSums(ranks)
	for from := 0; from < len(all); {
		to := from
		for to < len(all) && all[to].key>>33 == all[from].key>>33 {
			to++
		}
		s.stratum(all[from:to], risk, seen)
		for _, m := range all[from:to] {
			risk.forget(s.rank[m.row])
			seen.forget(s.rank[m.row])
		}
		from = to
	}
}

// stratum needs two sums by rank: of the weights of those at risk, and of the events so far. What
// a row gains from events while it is at risk is the second sum when it leaves less that when it
// entered.
func (s *pairSweep) stratum(all []keyed, risk, seen *rankSums) {
	for from := 0; from < len(all); {
		to := from
		for to < len(all) && all[to].key == all[from].key {
			to++
		}
		group := all[from:to]
		switch group[0].key & 3 {
		case early, late:
			for _, m := range group {
				risk.add(s.rank[m.row], s.d.weight(int(m.row)))
				s.partner(seen, m.row, -1)
			}
		case event:
			for _, m := range group {
				risk.add(s.rank[m.row], -s.d.weight(int(m.row)))
				s.partner(seen, m.row, 1)
			}
			for _, m := range group {
				s.event(risk, m.row)
			}
			for _, m := range group {
				seen.add(s.rank[m.row], s.eventWeight(m.row))
			}
		case censoring:
			for _, m := range group {
				risk.add(s.rank[m.row], -s.d.weight(int(m.row)))
				s.partner(seen, m.row, 1)
			}
		}
		from = to
	}
}

// event pairs an event with all who remain at risk.
func (s *pairSweep) event(risk *rankSums, row int32) {
	w := s.eventWeight(row)
	below, same, above := risk.split(s.rank[row])
	s.credit[row] += float64(w * (below + same/2))
	s.pairs[row] += float64(w * (below + same + above))
	s.sums.Concordant += float64(w * below)
	s.sums.Tied += float64(w * same)
	s.sums.Discordant += float64(w * above)
}

// partner adds, or takes off, what the events so far are worth to a row that is still at risk.
func (s *pairSweep) partner(seen *rankSums, row int32, sign float64) {
	w := sign * s.d.weight(int(row))
	below, same, above := seen.split(s.rank[row])
	s.credit[row] += float64(w * (above + same/2))
	s.pairs[row] += float64(w * (below + same + above))
}

// result: with N = Σ pairs, a row's influence on C is (credit − C pairs)/N.
func (s *pairSweep) result(clusters *covariates.Clusters) *Concordance {
	out := s.sums
	total := out.Concordant + out.Discordant + out.Tied
	if !(total > 0) {
		out.Status = covariates.NoEvents
		return &out
	}
	out.C = (out.Concordant + out.Tied/2) / total
	variance := clusters.Outer(1, func(row int, u []float64) {
		u[0] = (s.credit[row] - float64(out.C*s.pairs[row])) / total
	})
	out.SE = math.Sqrt(variance[0])
	return &out
}

// rankSums is a table of sums by rank that can be summed up to any rank in log n steps.
//
// Source: Fenwick, Softw. Pract. Exp. 24 (1994) 327–336.
type rankSums struct {
	tree, own []float64
	total     float64
}

func newRankSums(n int32) *rankSums {
	return &rankSums{tree: make([]float64, n+1), own: make([]float64, n)}
}

func (r *rankSums) add(rank int32, w float64) {
	r.own[rank] += w
	r.total += w
	for i := rank + 1; i < int32(len(r.tree)); i += i & -i {
		r.tree[i] += w
	}
}

// forget clears everything that adding at a rank has touched.
func (r *rankSums) forget(rank int32) {
	r.own[rank], r.total = 0, 0
	for i := rank + 1; i < int32(len(r.tree)); i += i & -i {
		r.tree[i] = 0
	}
}

func (r *rankSums) split(rank int32) (below, same, above float64) {
	for i := rank; i > 0; i -= i & -i {
		below += r.tree[i]
	}
	same = r.own[rank]
	return below, same, r.total - below - same
}
