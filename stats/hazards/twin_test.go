package hazards_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/random"
)

// twin is Cox's model written as it is defined: for every event, loops over everybody at risk.
type twin struct {
	d    hazards.Data
	x    []covariates.Column
	ties hazards.Ties
	beta []float64
}

func (w *twin) weight(i int) float64 {
	if w.d.Weight == nil {
		return 1
	}
	return w.d.Weight[i]
}

func (w *twin) eta(i int) (sum float64) {
	if w.d.Offset != nil {
		sum = w.d.Offset[i]
	}
	for j, c := range w.x {
		sum += w.beta[j] * c.Values[i]
	}
	return sum
}

func (w *twin) stratum(i int) int32 {
	if w.d.Stratum == nil {
		return 0
	}
	return w.d.Stratum[i]
}

func (w *twin) atRisk(i int, stratum, t int32) bool {
	if w.stratum(i) != stratum || w.d.Exit[i] < t {
		return false
	}
	return w.d.Entry == nil || w.d.Entry[i] == 0 || w.d.Entry[i] < t
}

func (w *twin) event(i int) bool { return w.d.Cause[i] == 1 && w.weight(i) > 0 }

// turn is one turn of one event time: the share of everybody in the set at risk.
type turn struct {
	stratum, t int32
	weight     float64   // mean weight of the events
	share      []float64 // 1 at risk, 1 − l/d for those with the event, 0 for others
	events     []int
	last       bool // of the time
}

func (w *twin) turns() (out []turn) {
	done := map[[2]int32]bool{}
	for e := range w.d.Exit {
		s, t := w.stratum(e), w.d.Exit[e]
		if !w.event(e) || done[[2]int32{s, t}] {
			continue
		}
		done[[2]int32{s, t}] = true
		var events []int
		sum := 0.0
		for i := range w.d.Exit {
			if w.event(i) && w.stratum(i) == s && w.d.Exit[i] == t {
				events = append(events, i)
				sum += w.weight(i)
			}
		}
		for l := range events {
			u := turn{stratum: s, t: t, weight: sum / float64(len(events)), events: events, share: make([]float64, len(w.d.Exit)), last: l == len(events)-1}
			for i := range u.share {
				if w.atRisk(i, s, t) {
					u.share[i] = 1
					if slices.Contains(events, i) && w.ties == hazards.Efron {
						u.share[i] = 1 - float64(l)/float64(len(events))
					}
				}
			}
			out = append(out, u)
		}
	}
	return out
}

// all returns log-likelihood, gradient, information, score residuals (row by row) and martingale
// residuals.
func (w *twin) all() (value float64, u, info []float64, score [][]float64, martingale []float64) {
	n, p := len(w.d.Exit), len(w.x)
	u, info, martingale = make([]float64, p), make([]float64, p*p), make([]float64, n)
	for range n {
		score = append(score, make([]float64, p))
	}
	for i := range n {
		if w.event(i) {
			value += w.weight(i) * w.eta(i)
			martingale[i] = 1
			for j := range p {
				u[j] += w.weight(i) * w.x[j].Values[i]
			}
		}
	}
	for _, turn := range w.turns() {
		s0, s1 := 0.0, make([]float64, p)
		for i, share := range turn.share {
			r := share * w.weight(i) * math.Exp(w.eta(i))
			s0 += r
			for j := range p {
				s1[j] += r * w.x[j].Values[i]
			}
		}
		value -= turn.weight * math.Log(s0)
		for j := range p {
			u[j] -= turn.weight * s1[j] / s0
		}
		for i, share := range turn.share {
			r := share * math.Exp(w.eta(i)) * turn.weight / s0
			martingale[i] -= r
			for j := range p {
				zj := w.x[j].Values[i] - s1[j]/s0
				score[i][j] -= w.weight(i) * r * zj
				if slices.Contains(turn.events, i) {
					score[i][j] += w.weight(i) * zj / float64(len(turn.events))
				}
				for k := range p {
					info[j*p+k] += w.weight(i) * r * zj * (w.x[k].Values[i] - s1[k]/s0)
				}
			}
		}
	}
	return value, u, info, score, martingale
}

// randomRows draws a small set with heavy ties, and with strata, late entries, weights (some 0),
// offsets and clusters in turn.
func randomRows(r *rand.Rand, turn int) (hazards.Data, []covariates.Column) {
	n := 12 + r.IntN(30)
	d := hazards.Data{Exit: make([]int32, n), Cause: make([]uint8, n)}
	days := int32(3 + r.IntN(12))
	if turn&1 > 0 {
		d.Stratum = make([]int32, n)
	}
	if turn&2 > 0 {
		d.Entry = make([]int32, n)
	}
	if turn&4 > 0 {
		d.Weight = make([]float64, n)
	}
	if turn&8 > 0 {
		d.Offset = make([]float64, n)
	}
	if turn&16 > 0 {
		d.Cluster = make([]int32, n)
	}
	x := []covariates.Column{{Name: "a", Values: make([]float64, n)}, {Name: "b", Values: make([]float64, n)}}
	for i := range n {
		d.Exit[i], d.Cause[i] = r.Int32N(days), uint8(r.IntN(3))
		x[0].Values[i], x[1].Values[i] = r.NormFloat64(), float64(r.IntN(2))
		if d.Stratum != nil {
			d.Stratum[i] = r.Int32N(3)
		}
		if d.Entry != nil && d.Exit[i] > 0 && r.IntN(2) > 0 {
			d.Entry[i] = r.Int32N(d.Exit[i])
		}
		if d.Weight != nil {
			d.Weight[i] = float64(r.IntN(5)) / 2
		}
		if d.Offset != nil {
			d.Offset[i] = r.NormFloat64()
		}
		if d.Cluster != nil {
			d.Cluster[i] = r.Int32N(8) * 1_000_000
		}
	}
	return d, x
}

// Two thousand small random sets: what the fast routine makes of them against the loops.
func TestCoxAgainstTheTwin(t *testing.T) {
	converged := 0
	for seed := range uint64(2000) {
		d, x := randomRows(random.Stream(seed, "cox twin", 0), int(seed))
		ties := hazards.Ties(seed / 32 % 2)
		fit, err := hazards.Cox(d, 1, x, hazards.Options{Ties: ties, Robust: true})
		if err != nil {
			t.Fatal(seed, err)
		}
		if fit.Status != covariates.Converged {
			continue
		}
		w := &twin{d, x, ties, fit.Coefficient}
		converged++
		compareTwin(t, fit, w)
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
	}
	if converged < 1200 {
		t.Errorf("only %d of 2000 sets have estimates", converged)
	}
}

func compareTwin(t *testing.T, fit *hazards.Fit, w *twin) {
	t.Helper()
	value, u, info, score, martingale := w.all()
	p := len(w.x)
	near(t, "log-likelihood", fit.LogLikelihood, value, 1e-11)
	inverse := invert2(info)
	for j := range p {
		if math.Abs(u[j])*math.Sqrt(inverse[j*p+j]) > 1e-7 {
			t.Errorf("slope %v at the estimate", u)
		}
		for k := range p {
			near(t, "covariance", fit.Model[j*p+k], inverse[j*p+k], 1e-7)
		}
	}
	m, err := fit.Martingale()
	if err != nil {
		t.Fatal(err)
	}
	s, _ := fit.Scores()
	sums := map[int32][]float64{}
	for i := range m {
		if w.weight(i) > 0 {
			near(t, "martingale", m[i]-martingale[i]+1, 1, 1e-8)
		}
		g := int32(i)
		if w.d.Cluster != nil {
			g = w.d.Cluster[i]
		}
		if sums[g] == nil {
			sums[g] = make([]float64, p)
		}
		for j := range p {
			near(t, "score residual", s[j][i]-score[i][j]+1, 1, 1e-7)
			sums[g][j] += score[i][j]
		}
	}
	meat := make([]float64, p*p)
	for _, v := range sums {
		for j := range p {
			for k := range p {
				meat[j*p+k] += v[j] * v[k]
			}
		}
	}
	nearAll(t, "robust covariance", fit.Robust, covariates.Sandwich(inverse, meat, p), 1e-6)
}

func invert2(m []float64) []float64 {
	det := m[0]*m[3] - m[1]*m[2]
	return []float64{m[3] / det, -m[1] / det, -m[2] / det, m[0] / det}
}

// Exact partial ties against a sum over all samples, written out.
func TestExactAgainstAllSamples(t *testing.T) {
	for seed := range uint64(200) {
		d, x := randomRows(random.Stream(seed, "exact twin", 0), int(seed)&3)
		d.Exit, d.Cause = d.Exit[:12], d.Cause[:12]
		if d.Entry != nil {
			d.Entry = d.Entry[:12]
		}
		if d.Stratum != nil {
			d.Stratum = d.Stratum[:12]
		}
		for j := range x {
			x[j].Values = x[j].Values[:12]
		}
		fit, err := hazards.Cox(d, 1, x, hazards.Options{Ties: hazards.ExactPartial})
		if err != nil {
			t.Fatal(err)
		}
		if fit.Status != covariates.Converged {
			continue
		}
		w := &twin{d, x, hazards.ExactPartial, fit.Coefficient}
		near(t, "log-likelihood", fit.LogLikelihood, w.exact(), 1e-10)
		for j := range x {
			for _, step := range []float64{-1e-3, 1e-3} {
				w.beta = slices.Clone(fit.Coefficient)
				w.beta[j] += step
				if w.exact() >= fit.LogLikelihood {
					t.Fatalf("seed %d: the likelihood is higher beside the estimate", seed)
				}
			}
		}
	}
}

func (w *twin) exact() (value float64) {
	for _, turn := range w.turns() {
		if !turn.last {
			continue
		}
		own := 0.0
		for _, i := range turn.events {
			own += w.eta(i)
		}
		var at []int
		for i, share := range turn.share {
			if share > 0 {
				at = append(at, i)
			}
		}
		sum := 0.0
		for set := range 1 << len(at) {
			count, eta := 0, 0.0
			for b, i := range at {
				if set>>b&1 > 0 {
					count++
					eta += w.eta(i)
				}
			}
			if count == len(turn.events) {
				sum += math.Exp(eta)
			}
		}
		value += own - math.Log(sum)
	}
	return value
}

// The penalised likelihood against its definition: at the estimate, log-likelihood plus half the
// log determinant of the information, both from the loops, is higher than beside it.
func TestPenalisedAgainstTheTwin(t *testing.T) {
	for seed := range uint64(300) {
		d, x := randomRows(random.Stream(seed, "penalised twin", 0), int(seed)&15)
		ties := hazards.Ties(seed / 16 % 2)
		fit, err := hazards.Cox(d, 1, x, hazards.Options{Ties: ties, Penalised: true})
		if err != nil {
			t.Fatal(err)
		}
		if fit.Status != covariates.Converged {
			if fit.Status == covariates.Separated {
				t.Fatalf("seed %d: %s", seed, fit.Reason)
			}
			continue
		}
		value := func(beta []float64) float64 {
			v, _, info, _, _ := (&twin{d, x, ties, beta}).all()
			return v + math.Log(info[0]*info[3]-info[1]*info[2])/2
		}
		best := value(fit.Coefficient)
		for j := range 2 {
			h := 1e-4
			up, down := slices.Clone(fit.Coefficient), slices.Clone(fit.Coefficient)
			up[j] += h
			down[j] -= h
			a, b := value(up), value(down)
			slope, curvature := (a-b)/(2*h), (2*best-a-b)/(h*h)
			if !(math.Abs(slope) < 1e-4*math.Max(1, curvature)) || curvature < 0 {
				t.Fatalf("seed %d, %s: slope %v, curvature %v", seed, x[j].Name, slope, curvature)
			}
		}
	}
}

// Concordance against all pairs, with its jackknife from leaving weights free: the influence of a
// row is the derivative of C in its weight.
func TestConcordanceAgainstAllPairs(t *testing.T) {
	for seed := range uint64(300) {
		d, x := randomRows(random.Stream(seed, "pairs", 0), int(seed)&23)
		eta := make([]float64, len(d.Exit))
		for i := range eta {
			eta[i] = math.Round(2 * x[0].Values[i])
		}
		got, err := hazards.Concord(d, 1, eta)
		if err != nil {
			t.Fatal(err)
		}
		w := &twin{d: d, x: x}
		n := len(eta)
		credit, pairs := make([]float64, n), make([]float64, n)
		var sum, total float64
		for i := range n {
			for j := range n {
				if !w.event(i) || w.weight(j) == 0 || !w.atRisk(j, w.stratum(i), d.Exit[i]) || (d.Exit[j] == d.Exit[i] && w.event(j)) {
					continue
				}
				v, s := w.weight(i)*w.weight(j), 0.0
				if eta[i] > eta[j] {
					s = 1
				} else if eta[i] == eta[j] {
					s = 0.5
				}
				sum, total = sum+v*s, total+v
				credit[i], credit[j] = credit[i]+v*s, credit[j]+v*s
				pairs[i], pairs[j] = pairs[i]+v, pairs[j]+v
			}
		}
		if total == 0 {
			if got.Status != covariates.NoEvents {
				t.Fatalf("seed %d: %v without pairs", seed, got.Status)
			}
			continue
		}
		near(t, "C", got.C, sum/total, 1e-12)
		sums := map[int32]float64{}
		for i := range n {
			g := int32(i)
			if d.Cluster != nil {
				g = d.Cluster[i]
			}
			sums[g] += (credit[i] - got.C*pairs[i]) / total
		}
		variance := 0.0
		for _, s := range sums {
			variance += s * s
		}
		near(t, "standard error", got.SE, math.Sqrt(variance), 1e-9)
	}
}
