package demo

import "math"

// Scores are drawn for each visit from a normal curve about a mean of the visit, with a part that belongs to the
// shoulder and is the same at all its visits, then rounded and cut off at the ends of the scale. The second instrument
// goes along with the first.

// visits lists when scores are collected, with the mean of the first instrument for each of the three indications of the
// demo's plan (others have that of the first) and the share of shoulders that come.
var visits = []struct {
	years   float64 // 0: before the operation
	mean    [3]float64
	present float64
}{
	{0, [3]float64{32, 28, 15}, 0.75},
	{1, [3]float64{66, 64, 56}, 0.70},
	{2, [3]float64{68, 66, 58}, 0.60},
	{5, [3]float64{67, 64, 57}, 0.45},
}

const (
	scoreShoulder = 10 // standard deviations, in points of 100
	scoreVisit    = 8
	oxfordVisit   = 3 // further standard deviation of the second instrument, in points of 48
)

// scoresOf draws the scores of a shoulder until it is revised, its patient dies or follow-up ends.
func (b *batch) scoresOf(op *operation, revised, life float64, end int32) {
	if !collectsScores(op.hospital) {
		return
	}
	group := op.indication
	if group > fracture {
		group = oaDeficientCuff
	}
	own := scoreShoulder * b.r.NormFloat64()
	for i := range visits {
		v := &visits[i]
		day := int32(v.years*daysPerYear) + b.r.Int32N(60) - 30
		if v.years == 0 {
			day = -1 - b.r.Int32N(30)
		}
		present := b.r.Float64() < v.present
		points := v.mean[group] + own + float64(scoreVisit*b.r.NormFloat64())
		oxford := float64(0.48*points) + float64(oxfordVisit*b.r.NormFloat64())
		if !present || float64(day) >= min(revised, life) || day > end {
			continue
		}
		b.scores = append(b.scores,
			score{op.patient, op.day + day, op.side, constantScore, inScale(points, 100)},
			score{op.patient, op.day + day, op.side, oxfordScore, inScale(oxford, 48)})
	}
}

func inScale(x, top float64) float64 { return min(max(math.Round(x), 0), top) }

// complicated is the share of shoulders with a complication, and complicationShares the shares of its kinds; the days to
// it are exponential with the mean complicationMean. Treatment shares are none, without and with an operation.
const (
	complicated      = 0.06
	complicationMean = 120
)

var (
	complicationShares = []float64{0.12, 0.16, 0.18, 0.14, 0.10, 0.04, 0.12, 0.05, 0.05, 0.04}
	treatmentShares    = []float64{0.30, 0.50, 0.20}
)

// complicationsOf draws at most one complication without revision.
func (b *batch) complicationsOf(op *operation, revised, life float64, end int32) {
	if b.r.Float64() >= complicated {
		return
	}
	moment := complicationMean * b.r.ExpFloat64()
	c := complication{op.patient, op.day + int32(math.Ceil(moment)), op.side, pick(b.r, complicationShares),
		pick(b.r, treatmentShares)}
	if moment < min(revised, life)-1 && moment < float64(end) {
		b.complications = append(b.complications, c)
	}
}
