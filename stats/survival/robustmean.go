package survival

import "math"

// robustArea returns the standard error of the area under the curve up to the horizon, by the
// infinitesimal jackknife summed over the clusters of the rows that the variance came from:
//
//	Var = Σ over clusters (∫ S(t) Σ over their rows w u(t) dt)²   from 0 to the horizon, u as for Robust
//
// The sum of a cluster is a + b·A(t), so its integral is that of S times a and of S·A times b,
// each from where a and b last changed. With independent rows of weight 1 and nobody entering
// late it equals the variance of RestrictedMean.
func (k *Curve) robustArea(horizon float64) float64 {
	if k.step(horizon) < 0 {
		return 0
	}
	return math.Sqrt(k.rows.squares(k.areaMoves(horizon), k.Cause))
}

// areaMoves returns how a row that comes or goes changes the integral of its cluster.
func (k *Curve) areaMoves(horizon float64) Moves {
	last := k.step(horizon)
	if last < 0 {
		return NewMoves(len(k.Time))
	}
	moves, hazard, _ := k.moves()
	plain, hazards := k.areasTo(last, horizon, hazard)
	for row := range k.Time {
		restS, restSA := 0.0, 0.0
		if row <= last {
			restS, restSA = plain[last+1]-plain[row], hazards[last+1]-hazards[row]
		}
		area := func(m *Move) { m[0] = float64(m[0]*restS) + float64(m[1]*restSA) }
		area(&moves.Joining[row])
		for kind := range moves.Leaving {
			area(&moves.Leaving[kind][row])
		}
	}
	return moves
}

// areasTo returns the areas under S and under S·A before each row of the curve up to last, and, at
// last+1, up to the horizon. A is given after each row.
func (k *Curve) areasTo(last int, horizon float64, hazard []float64) (plain, hazards []float64) {
	plain, hazards = make([]float64, last+2), make([]float64, last+2)
	for row := 0; row <= last; row++ {
		end := horizon
		if row < last {
			end = k.Time[row+1]
		}
		area := float64(k.Survival[row] * (end - k.Time[row]))
		plain[row+1] = plain[row] + area
		hazards[row+1] = hazards[row] + float64(area*hazard[row])
	}
	return plain, hazards
}
