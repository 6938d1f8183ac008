package describe_test

import (
	"fmt"
	"math"
	"testing"

	"deltoid/stats/describe"
)

// What a baseline table costs for each measured characteristic: sort for the quartiles, two passes for the mean.
func BenchmarkSample(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		x := make([]float64, n)
		for i := range x {
			x[i] = math.Mod(float64(i)*0.618033988749895, 1) * 50
		}
		b.Run(fmt.Sprint("moments/", n), func(b *testing.B) {
			for b.Loop() {
				describe.MomentsOf(x)
			}
		})
		b.Run(fmt.Sprint("sort/", n), func(b *testing.B) {
			for b.Loop() {
				describe.Sort(x)
			}
		})
	}
}
