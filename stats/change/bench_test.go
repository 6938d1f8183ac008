package change_test

import (
	"math"
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/random"
)

// latent draws shoulders whose anchor answers come from a true change against a threshold of each patient's own, with the
// mean threshold as the truth. Patients of an even number have two shoulders when both is true.
type latent struct {
	Mean, SD, Error, Threshold, Spread float64
	Digits                             float64 // scores are rounded to these steps; 0 leaves them
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
			patient, threshold = r.NormFloat64(), l.Threshold+l.Spread*r.NormFloat64()
		}
		if both {
			a.Patient[i] = int32(i - i/3)
			if i%3 == 2 {
				a.Patient[i] = a.Patient[i-1]
			}
		}
		change := l.Mean + l.SD*(0.6*patient+0.8*r.NormFloat64())
		start := 40 + 12*r.NormFloat64()
		a.Baseline[i] = round(start + l.Error*r.NormFloat64())
		a.FollowUp[i] = round(start + change + l.Error*r.NormFloat64())
		switch {
		case change < threshold-10:
			a.Anchor[i] = -1
		case change < threshold:
			a.Anchor[i] = 0
		case change < threshold+12:
			a.Anchor[i] = 1
		default:
			a.Anchor[i] = 2
		}
	}
	return a
}

var usual = latent{Mean: 18, SD: 14, Error: 4, Threshold: 12, Spread: 4}

func question() change.Question {
	return change.Question{Scale: change.Scale{Worst: math.Inf(-1), Best: math.Inf(1)}, Improved: 1, Minimal: 1, Unchanged: 0, AnchorReliability: 0.8,
		ScoreReliability: 0.9, Resampling: change.Resampling{Replicates: 2000, Seed: 1, Level: 0.95}}
}

// All thresholds of 5,000 shoulders with 2,000 replicates: scores without two alike are the hardest case, scores in whole points the usual one.
func BenchmarkThresholds(b *testing.B) {
	whole := usual
	whole.Digits = 1
	for name, l := range map[string]latent{"distinct": usual, "points": whole} {
		for suffix, both := range map[string]bool{"": false, "-two-sides": true} {
			a := l.draw(5000, both, 7)
			b.Run(name+suffix, func(b *testing.B) {
				for b.Loop() {
					if _, err := change.Thresholds(a, question()); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}

// The curve of 100,000 rows with DeLong's variance.
func BenchmarkDiscrimination(b *testing.B) {
	r := random.Stream(3, "benchmark", 0)
	d := change.Discriminating{Value: make([]float64, 100_000), Positive: make([]bool, 100_000), HigherIsPositive: true}
	for i := range d.Value {
		d.Positive[i] = r.Float64() < 0.3
		d.Value[i] = r.NormFloat64()
		if d.Positive[i] {
			d.Value[i] += 0.7
		}
	}
	b.Run("100000", func(b *testing.B) {
		for b.Loop() {
			if _, err := change.Discrimination(d, 0.95); err != nil {
				b.Fatal(err)
			}
		}
	})
}
