package demo

import (
	"math"
	"math/rand/v2"
)

// findings is what was found at the operation or on the films before it.
type findings struct {
	distance     float64 // acromiohumeral, mm; NaN when not measured
	cuff         int16
	grade        int16
	migration    int16
	fracture     int16
	tuberosities int16
	head         int16
	deltoid      int16
}

// profile is how findings are distributed for an indication: weights of the codes in their order.
type profile struct {
	cuff, grade, migration, fracture, tuberosities, head []float64
	distance                                             float64 // mean, mm
}

var (
	noMigration  = []float64{1, 0.1, 0, 0, 0, 0}
	notBroken    = []float64{1, 0, 0}
	tuberosityOK = []float64{1}
	headViable   = []float64{1}
)

var profiles = [...]profile{
	oaDeficientCuff: {[]float64{0, 0, 0.45, 0.40, 0.15}, []float64{0, 0.05, 0.40, 0.55},
		[]float64{0.80, 0.20}, notBroken, tuberosityOK, headViable, 7},
	cuffTearArthropathy: {[]float64{0, 0, 0.05, 0.85, 0.10}, []float64{0, 0.15, 0.40, 0.45},
		[]float64{0, 0.15, 0.25, 0.30, 0.20, 0.10}, notBroken, tuberosityOK, []float64{0.9, 0, 0, 0, 0.1}, 3.5},
	fracture: {[]float64{0.60, 0.20, 0.15, 0.05}, []float64{0.80, 0.20}, noMigration, []float64{0, 1, 0},
		[]float64{0.10, 0.90}, []float64{0.15, 0.55, 0.30}, 9},
	fractureSequelae: {[]float64{0.35, 0.25, 0.20, 0.20}, []float64{0.20, 0.30, 0.30, 0.20}, noMigration,
		[]float64{0, 0, 1}, []float64{0.10, 0, 0.45, 0.30, 0.15}, []float64{0.30, 0, 0, 0.40, 0.30}, 8},
	oaIntactCuff: {[]float64{0.80, 0.20}, []float64{0, 0.05, 0.35, 0.60}, noMigration, notBroken, tuberosityOK,
		headViable, 9.5},
	massiveCuffTear: {[]float64{0, 0, 0, 0.95, 0.05}, []float64{0.80, 0.20}, []float64{0.45, 0.45, 0.10}, notBroken,
		tuberosityOK, headViable, 5},
	inflammatory: {[]float64{0.20, 0.20, 0.25, 0.20, 0.15}, []float64{0.05, 0.25, 0.40, 0.30}, noMigration, notBroken,
		tuberosityOK, headViable, 7},
	avascularNecrosis: {[]float64{0.85, 0.15}, []float64{0.30, 0.30, 0.25, 0.15}, noMigration, notBroken, tuberosityOK,
		[]float64{0, 0, 0, 0.50, 0.50}, 9.5},
	instability: {[]float64{0.15, 0.25, 0.35, 0.25}, []float64{0.40, 0.30, 0.20, 0.10}, noMigration, notBroken,
		tuberosityOK, headViable, 8},
	tumour: {[]float64{0.80, 0.20}, []float64{0.90, 0.10}, noMigration, notBroken, []float64{0.7, 0, 0, 0, 0.3},
		headViable, 9},
}

// Shares of records whose findings are those of another indication, and of single findings that are not recorded.
const (
	disagreement = 0.03
	notRecorded  = 0.05
	notMeasured  = 0.35 // distance and migration
)

const distanceSpread = 1.8 // mm, standard deviation within an indication

var deltoidShares = []float64{0.95, 0.045, 0.005}

func drawFindings(r *rand.Rand, indication int16) findings {
	if r.Float64() < disagreement {
		indication = int16(r.IntN(len(profiles)))
	}
	p := &profiles[indication]
	f := findings{
		cuff:         unless(r, notRecorded, p.cuff),
		grade:        unless(r, notRecorded, p.grade),
		fracture:     unless(r, notRecorded, p.fracture),
		tuberosities: unless(r, notRecorded, p.tuberosities),
		head:         unless(r, notRecorded, p.head),
		deltoid:      unless(r, notRecorded, deltoidShares),
		migration:    unless(r, notMeasured, p.migration),
		distance:     math.NaN(),
	}
	if r.Float64() >= notMeasured {
		f.distance = roundTo(min(max(p.distance+float64(distanceSpread*r.NormFloat64()), 0), 16), 0.5)
	}
	return f
}

// unless draws a place by weight, or says that it is missing.
func unless(r *rand.Rand, share float64, weights []float64) int16 {
	if r.Float64() < share {
		return missing
	}
	return pick(r, weights)
}

// pick draws a place by weight. The weights need not sum to 1.
func pick(r *rand.Rand, weights []float64) int16 {
	var sum float64
	for _, w := range weights {
		sum += w
	}
	u := r.Float64() * sum
	for i, w := range weights {
		if u -= w; u < 0 {
			return int16(i)
		}
	}
	return int16(len(weights) - 1)
}

func roundTo(x, step float64) float64 { return math.Round(x/step) * step }
