package change

import (
	"math"

	"deltoid/stats/numeric"
)

// ResponderPoint is the share of rows that improved by at least At.
type ResponderPoint struct {
	At      float64
	Reached int
	Share   float64
	// Lower and Upper hold at this threshold, AllLower and AllUpper at all thresholds at once.
	Lower, Upper, AllLower, AllUpper float64
	// Least and Most are the shares if no row without a score had reached it, and if all had.
	Least, Most float64
}

// Responders is the share of responders over every threshold.
type Responders struct {
	Points               []ResponderPoint // from the most lenient threshold to the strictest, one for each distinct improvement
	N, NotScored, Failed int              // Failed rows reach no threshold; they are among N
	Patients             int              // as in Estimate
	Level                float64
	State
}

// ResponderCurve returns the share of rows that improved by at least x (or, with OfState, whose follow-up is as good as x) for every
// distinct x. Rulings are those of Respond: a row ruled NotReached stays below every threshold, one ruled Reached is at or above all of them.
//
// The limits at one threshold are those of ShareOf. The band for all of them is share ± √(ln(2/(1−level))/(2n)), exact to a hair above the level; where
// patients have several rows n is divided by the largest design effect of any threshold, which makes it approximate. The
// time is that of one sort.
//
// Source: Dvoretzky, Kiefer & Wolfowitz, Ann. Math. Stat. 27 (1956) 642–669, with the constant of Massart, Ann. Probab. 18 (1990) 1269–1283.
func ResponderCurve(s Scores, scale Scale, about Measure, rulings []Response, level float64) (Responders, error) {
	if err := firstError(s.check(scale), checkLevel(level)); err != nil {
		return Responders{}, err
	}
	if rulings != nil {
		if err := checkLength("rulings", len(rulings), len(s.Baseline)); err != nil {
			return Responders{}, err
		}
	}
	out := Responders{Level: level, State: s.state(scale)}
	if !out.OK() {
		return out, nil
	}
	x := Anchored{Scores: s}.measure(Question{Scale: scale, About: about})
	w := walk{}
	for i, v := range x {
		if rulings != nil && rulings[i] != NotScored {
			if rulings[i] == LeftOut {
				continue
			}
			v = math.Inf(1)
			if rulings[i] == NotReached {
				v = math.Inf(-1)
				out.Failed++
			}
		}
		if math.IsNaN(v) {
			out.NotScored++
			continue
		}
		w.x, w.rows = append(w.x, v), append(w.rows, int32(i))
	}
	if out.N = len(w.x); out.N == 0 {
		out.State = state(NoRows, "no row has what the curve is about")
		return out, nil
	}
	p := peopleOf(pick(s.Patient, w.rows), out.N)
	out.Patients = p.patients()
	if w.down(p); len(w.at) == 0 {
		out.State = state(NoRows, "all %d rows are ruled and none is scored", out.N)
	}
	out.fill(w, about == OfState && !scale.HigherIsBetter())
	return out, nil
}

// walk goes through the thresholds from the highest down.
type walk struct {
	x       []float64
	rows    []int32
	at      []float64 // falling
	reached []float64
	effect  []float64
}

// down fills the thresholds. With a_g of m_g rows of patient g at or above it, the variance of the share times n² is Σ(a_g − p m_g)² = Σa_g² − 2pΣa_g m_g +
// p²Σm_g²; each row that is passed changes the first two sums by a step.
func (w *walk) down(p people) {
	n := float64(len(w.x))
	of := p.patientOf()
	have, size := make([]float64, p.clusters.Count), make([]float64, p.clusters.Count)
	var squares, mixed, sizes numeric.Sum
	for _, g := range of {
		size[g]++
	}
	for _, m := range size {
		sizes.Add(m * m)
	}
	order := rising(w.x)
	reached := 0.0
	for k := len(order) - 1; k >= 0; k-- {
		i := order[k]
		g := of[i]
		squares.Add(2*have[g] + 1)
		mixed.Add(size[g])
		have[g]++
		reached++
		if k > 0 && w.x[order[k-1]] == w.x[i] || math.IsInf(w.x[i], 0) {
			continue
		}
		share := reached / n
		variance := squares.Value() - float64(2*share*mixed.Value()) + float64(share*share*sizes.Value())
		w.at, w.reached = append(w.at, w.x[i]), append(w.reached, reached)
		w.effect = append(w.effect, designEffect(reached, n, variance/(n*n), p))
	}
}

// patientOf returns the patient of each row.
func (p people) patientOf() []int32 {
	of := make([]int32, p.rows)
	for g := range p.clusters.Count {
		if !p.clustered() {
			of[g] = int32(g)
			continue
		}
		for _, i := range p.clusters.Of(g) {
			of[i] = int32(g)
		}
	}
	return of
}

func (r *Responders) fill(w walk, negated bool) {
	n, missing := float64(r.N), float64(r.NotScored)
	largest := 1.0
	for k, effect := range w.effect {
		if w.reached[k] < n {
			largest = max(largest, effect)
		}
	}
	half := math.Sqrt(math.Log(2/(1-r.Level)) * largest / (2 * n))
	for k := len(w.at) - 1; k >= 0; k-- {
		e := wilson(w.reached[k], n, w.effect[k], r.Level)
		at := w.at[k]
		if negated {
			at = -at
		}
		r.Points = append(r.Points, ResponderPoint{At: at, Reached: int(w.reached[k]), Share: e.Value, Lower: e.Lower, Upper: e.Upper,
			AllLower: max(0, e.Value-half), AllUpper: min(1, e.Value+half),
			Least: w.reached[k] / (n + missing), Most: (w.reached[k] + missing) / (n + missing)})
	}
}
