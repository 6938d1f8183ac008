package hazards_test

import (
	"runtime"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
)

// All that a fit allocates in its whole course, and so what it ever holds at once, stays below 64
// bytes a row, however many the coefficients.
func TestMemoryOfAFit(t *testing.T) {
	const n = 400_000
	d, x := registry(n)
	wide := append([]covariates.Column(nil), x...)
	for j := range 24 {
		c := covariates.Column{Name: string(rune('A' + j)), Values: make([]float64, n)}
		for i := range c.Values {
			c.Values[i] = float64((i*(j+3)*7919 + i/(j+2)) % 101)
		}
		wide = append(wide, c)
	}
	for _, columns := range [][]covariates.Column{x, wide} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		mustCox(t, d, columns, hazards.Options{})
		runtime.ReadMemStats(&after)
		each := float64(after.TotalAlloc-before.TotalAlloc) / n
		if each > 64 {
			t.Errorf("%d columns: %.0f bytes a row in all", len(columns), each)
		}
	}
}
