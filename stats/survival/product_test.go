package survival

import (
	"math/rand/v2"
	"testing"
)

// The vector instructions must give the very bits of the plain loop, whatever the length.
func TestProductIsThatInGo(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for n := range 70 {
		a, b := make([][4]float64, n), make([][4]float64, n)
		for i := range n {
			for j := range 4 {
				a[i][j], b[i][j] = r.NormFloat64(), r.NormFloat64()
			}
		}
		got, want := [16]float64{1}, [16]float64{}
		product(&got, a, b)
		productInGo(&want, a, b)
		if got != want {
			t.Fatalf("%d times: %v, want %v", n, got, want)
		}
	}
}
