package change_test

import (
	"math"

	"deltoid/stats/change"
	"deltoid/stats/dist"
	"deltoid/stats/random"
)

// latent draws shoulders whose anchor answers come from a true change against a threshold of each patient's own, with the
// mean threshold as the truth. Patients of an even number have two shoulders when both is true.
type latent struct {
	Mean, SD          float64 // of the true change
	Error             float64 // of one score
	Threshold, Spread float64 // mean and standard deviation of what patients ask of an improvement
	Recall            float64 // error of the answer, in points of change
	Digits            float64 // scores are rounded to these steps; 0 leaves them
}

func (l latent) draw(n int, both bool, seed uint64) change.Anchored {
	r := random.Stream(seed, "latent", uint64(n))
	a := change.Anchored{Scores: change.Scores{Baseline: make([]float64, n), FollowUp: make([]float64, n)}, Anchor: make([]int32, n)}
	round := func(x float64) float64 {
		if l.Digits == 0 {
			return x
		}
		return math.Round(x/l.Digits) * l.Digits
	}
	if both {
		a.Patient = make([]int32, n)
	}
	var patient, threshold float64
	for i := range n {
		if !both || i%3 != 2 {
			patient, threshold = r.NormFloat64(), l.Threshold+float64(l.Spread*r.NormFloat64())
		}
		if both {
			a.Patient[i] = int32(i - i/3)
			if i%3 == 2 {
				a.Patient[i] = a.Patient[i-1]
			}
		}
		change := l.Mean + l.SD*(float64(0.6*patient)+float64(0.8*r.NormFloat64()))
		start := 40 + 12*r.NormFloat64()
		a.Baseline[i] = round(start + l.Error*r.NormFloat64())
		a.FollowUp[i] = round(start + change + l.Error*r.NormFloat64())
		switch felt := change + l.Recall*r.NormFloat64(); {
		case felt < threshold-10:
			a.Anchor[i] = -1
		case felt < threshold:
			a.Anchor[i] = 0
		case felt < threshold+12:
			a.Anchor[i] = 1
		default:
			a.Anchor[i] = 2
		}
	}
	return a
}

var usual = latent{Mean: 18, SD: 14, Error: 4, Threshold: 12, Spread: 4}

// reliability is that of the answers: the share of their variance that is true change.
func (l latent) reliability() float64 {
	signal := l.SD * l.SD
	return signal / (signal + l.Spread*l.Spread + l.Recall*l.Recall)
}

// improving moves the mean change so that this share of patients is improved.
func (l latent) improving(share float64) latent {
	spread := math.Sqrt(l.SD*l.SD + l.Spread*l.Spread + l.Recall*l.Recall)
	l.Mean = l.Threshold + spread*dist.NormalQuantile(share)
	return l
}
