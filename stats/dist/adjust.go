package dist

import (
	"math"
	"slices"
)

// Holm returns p-values adjusted by Holm's step-down method: those at or below α keep the chance
// of any false rejection at α. The order of p is kept; p is not changed.
//
// Source: Holm, Scand. J. Stat. 6 (1979) 65–70.
func Holm(p []float64) []float64 {
	out, order := make([]float64, len(p)), ascending(p)
	highest := 0.0
	for rank, i := range order {
		highest = max(highest, math.Min(1, float64(len(p)-rank)*p[i]))
		out[i] = highest
	}
	return out
}

// BenjaminiHochberg returns p-values adjusted by the step-up method of Benjamini and Hochberg:
// among those at or below α, a share of at most α is expected to be false rejections. The order
// of p is kept; p is not changed.
//
// Source: Benjamini & Hochberg, J. R. Stat. Soc. B 57 (1995) 289–300.
func BenjaminiHochberg(p []float64) []float64 {
	out, order := make([]float64, len(p)), ascending(p)
	lowest := 1.0
	for rank := len(order) - 1; rank >= 0; rank-- {
		i := order[rank]
		lowest = min(lowest, float64(len(p))/float64(rank+1)*p[i])
		out[i] = lowest
	}
	return out
}

// ascending returns the places of p in ascending order of p, ties in their own order.
func ascending(p []float64) []int {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case p[a] < p[b]:
			return -1
		case p[a] > p[b]:
			return 1
		}
		return 0
	})
	return order
}
