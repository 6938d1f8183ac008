package change_test

import (
	"math"
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/random"
)

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

// The share of responders over every threshold, for 100,000 shoulders of 67,000 patients.
func BenchmarkResponderCurve(b *testing.B) {
	a := usual.draw(100_000, true, 7)
	scale := change.Scale{Worst: math.Inf(-1), Best: math.Inf(1)}
	b.Run("100000", func(b *testing.B) {
		for b.Loop() {
			if _, err := change.ResponderCurve(a.Scores, scale, change.OfChange, nil, 0.95); err != nil {
				b.Fatal(err)
			}
		}
	})
}
