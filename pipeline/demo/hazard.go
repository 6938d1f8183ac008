package demo

import "math"

// baseRevision returns the cumulative hazard of a first revision t years after the operation when every ratio is 1.
func baseRevision(t float64) float64 {
	var sum float64
	for i, from := range revisionFrom {
		if t <= from {
			break
		}
		sum += float64(revisionHazard[i] * (min(t, pieceEnd(i)) - from))
	}
	return sum
}

// baseRevisionRate returns the hazard a year at t years.
func baseRevisionRate(t float64) float64 {
	rate := revisionHazard[0]
	for i, from := range revisionFrom {
		if t >= from {
			rate = revisionHazard[i]
		}
	}
	return rate
}

// whenRevised is the inverse of baseRevision.
func whenRevised(cumulative float64) float64 {
	for i, from := range revisionFrom {
		piece := revisionHazard[i] * (pieceEnd(i) - from)
		if cumulative <= piece {
			return from + cumulative/revisionHazard[i]
		}
		cumulative -= piece
	}
	return math.Inf(1) // not reached: the last piece has no end
}

func pieceEnd(i int) float64 {
	if i+1 < len(revisionFrom) {
		return revisionFrom[i+1]
	}
	return math.Inf(1)
}

// ageSexRevision is the ratio of revision of a sex at an age in whole years.
func ageSexRevision(age int, sex int16) float64 {
	r := math.Exp(revisionPerYear * float64(age-75))
	if sex == male {
		r *= revisionMale
	}
	return r
}

// sexAsaDeath is the ratio of death of a sex and an ASA class (0 for class 1).
func sexAsaDeath(sex, asa int16) float64 {
	if sex == male {
		return deathMale * asaDeath[asa]
	}
	return asaDeath[asa]
}

// cumulativeDeath returns the cumulative hazard of death over t years from the exact age z on, when every ratio is 1.
func cumulativeDeath(z, t float64) float64 {
	return deathAt75 * math.Exp(deathSlope*(z-75)) * math.Expm1(deathSlope*t) / deathSlope
}

// whenDead is the inverse of cumulativeDeath in t.
func whenDead(z, cumulative float64) float64 {
	return math.Log1p(deathSlope*cumulative/(deathAt75*math.Exp(deathSlope*(z-75)))) / deathSlope
}
