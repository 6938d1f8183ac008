package survival

import (
	"math"

	"deltoid/stats/numeric"
)

// robustArea returns the standard error of the area under the curve up to the horizon, by the
// infinitesimal jackknife summed over the clusters of the rows that the variance came from:
//
//	Var = Σ over clusters (∫ S(t) Σ over their rows w u(t) dt)²   from 0 to the horizon, u as for Robust
//
// The sum of a cluster is a + b·A(t), so its integral is that of S times a and of S·A times b,
// each from where a and b last changed. With independent rows of weight 1 and nobody entering
// late it equals the variance of RestrictedMean.
func (k *Curve) robustArea(horizon float64) float64 {
	last := k.step(horizon)
	plain, hazards := k.areasTo(last, horizon)
	sum := make([]float64, k.rows.Clusters)
	hazard := 0.0
	for row := 0; row <= last; row++ {
		restS, restSA := plain[last+1]-plain[row], hazards[last+1]-hazards[row]
		move := func(cluster int32, da, db float64) { sum[cluster] += float64(da*restS) + float64(db*restSA) }
		for _, m := range k.rows.Joining(row) {
			move(m.Cluster, float64(m.Weight*hazard), -m.Weight)
		}
		n, d := k.mass(row)
		alive := k.Survival[row] > 0 && n > d
		if d > 0 && alive {
			hazard += d / float64(n*(n-d))
		}
		for _, m := range k.rows.Leaving(row) {
			frozen := -float64(m.Weight * hazard)
			if alive && isEvent(m.Cause, k.Cause) {
				frozen += m.Weight / (n - d)
			}
			move(m.Cluster, frozen, m.Weight)
		}
	}
	var variance numeric.Sum
	for _, x := range sum {
		variance.Add(float64(x * x))
	}
	return math.Sqrt(variance.Value())
}

// areasTo returns the areas under S and under S·A before each row of the curve up to last, and, at last+1, up to the
// horizon.
func (k *Curve) areasTo(last int, horizon float64) (plain, hazards []float64) {
	plain, hazards = make([]float64, last+2), make([]float64, last+2)
	hazard := 0.0
	for row := 0; row <= last; row++ {
		n, d := k.mass(row)
		if d > 0 && n > d && k.Survival[row] > 0 {
			hazard += d / float64(n*(n-d))
		}
		end := horizon
		if row < last {
			end = k.Time[row+1]
		}
		area := float64(k.Survival[row] * (end - k.Time[row]))
		plain[row+1] = plain[row] + area
		hazards[row+1] = hazards[row] + float64(area*hazard)
	}
	return plain, hazards
}
