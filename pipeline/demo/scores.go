package demo

import "math"

// Scores are drawn for each visit about a mean of the visit, then rounded and cut off at the ends of the scale. Three parts
// belong to a shoulder or a visit, each normal: a level, of which a part is lost with the operation, so that who begins worse
// gains more; a recovery that is the same at all visits after it; and an error of measurement of each visit. The second
// instrument goes along with the first.
//
// What a patient answers about change is drawn from the true change, that is without the error of measurement, against a threshold
// of that patient's own. The mean of these thresholds is what an analysis of the answers has to find.

// visits lists when scores are collected, with the mean of the first instrument for each of the three indications of the
// demo's plan (others have that of the first) and the share of shoulders of average recovery that come.
var visits = []struct {
	years   float64 // 0: before the operation
	mean    [3]float64
	present float64
	asks    int // how many of the questions are asked: none, the one about change, that about the state too
}{
	{0, [3]float64{32, 28, math.NaN()}, 0.75, 0}, // nobody asks for a score with a fresh fracture
	{1, [3]float64{60, 57, 55}, 0.70, 1},
	{2, [3]float64{62, 59, 57}, 0.60, 2},
	{5, [3]float64{61, 57, 56}, 0.45, 0},
}

const (
	scoreShoulder = 10  // standard deviations, in points of 100: of the level,
	levelKept     = 0.7 // part of the level that stays after the operation
	scoreRecovery = 12  // of the recovery,
	scoreVisit    = 5   // and of the error of measurement
	oxfordVisit   = 3   // further standard deviation of the second instrument, in points of 48
	missingWorse  = 0.008
	// missingWorse is by how much the share that comes to a visit falls with each point of recovery below the average.
)

// What patients call a change. The threshold of a patient is normal about thresholdMean.
const (
	thresholdMean   = 20 // points of the first instrument from which on a change is called a little better
	thresholdSpread = 6
	acceptableMean  = 52 // points from which on the state is called acceptable
	acceptableSpan  = 8
)

// answerFrom are the lowest changes, less the patient's departure from thresholdMean, of the answers from "worse" up.
var answerFrom = []float64{-60, -30, 4, thresholdMean, thresholdMean + 8, thresholdMean + 20}

// scoresOf draws the scores of a shoulder until it is revised, its patient dies or follow-up ends.
func (b *batch) scoresOf(op *operation, revised, life float64, end int32) {
	if !collectsScores(op.hospital) {
		return
	}
	group := op.indication
	if group > fracture {
		group = oaDeficientCuff
	}
	own, recovery := scoreShoulder*b.r.NormFloat64(), scoreRecovery*b.r.NormFloat64()
	for i := range visits {
		v := &visits[i]
		day := int32(v.years*daysPerYear) + b.r.Int32N(60) - 30
		if v.years == 0 {
			day = -1 - b.r.Int32N(30)
		}
		state, share := v.mean[group]+own, v.present
		if v.years > 0 {
			state, share = v.mean[group]+float64(levelKept*own)+recovery, share+float64(missingWorse*recovery)
		}
		present := b.r.Float64() < share
		points := state + float64(scoreVisit*b.r.NormFloat64())
		oxford := float64(0.48*points) + float64(oxfordVisit*b.r.NormFloat64())
		if !present || math.IsNaN(points) || float64(day) >= min(revised, life) || day > end {
			continue
		}
		at := score{patient: op.patient, day: op.day + day, side: op.side}
		b.score(at, constantScore, inScale(points, 100))
		b.score(at, oxfordScore, inScale(oxford, 48))
		if v.asks > 0 && group != fracture {
			b.score(at, ratingOfChange, b.rate(v.mean[group]-visits[0].mean[group]-float64((1-levelKept)*own)+recovery))
		}
		if v.asks > 1 {
			b.score(at, acceptableState, b.accept(state))
		}
	}
}

func (b *batch) score(at score, instrument int16, value float64) {
	at.instrument, at.value = instrument, value
	b.scores = append(b.scores, at)
}

// rate draws the answer to the question of how the shoulder has changed, from -3 to 3.
func (b *batch) rate(change float64) float64 {
	change -= float64(thresholdSpread * b.r.NormFloat64())
	answer := -3.0
	for _, from := range answerFrom {
		if change >= from {
			answer++
		}
	}
	return answer
}

// accept draws the answer to the question of whether the state is acceptable: 1 for yes.
func (b *batch) accept(state float64) float64 {
	if state >= acceptableMean+float64(acceptableSpan*b.r.NormFloat64()) {
		return 1
	}
	return 0
}

// True thresholds of the first instrument, in points, with the reliability of the answers: the share of the variance of what
// patients answer by that is the true change, or the true state.
type TrueThresholds struct {
	Minimal, Substantial, Acceptable float64 // from which on a change is called a little better, and better; and the state acceptable
	OfChange, OfState                float64 // reliabilities, within one indication
}

// TrueThreshold returns what is true of the answers.
func TrueThreshold() TrueThresholds {
	recovery, lost, kept := float64(scoreRecovery*scoreRecovery), (1-levelKept)*scoreShoulder, levelKept*scoreShoulder
	change, state := recovery+float64(lost*lost), recovery+float64(kept*kept)
	return TrueThresholds{Minimal: answerFrom[3], Substantial: answerFrom[4], Acceptable: acceptableMean,
		OfChange: change / (change + thresholdSpread*thresholdSpread), OfState: state / (state + acceptableSpan*acceptableSpan)}
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
