package numeric

import (
	"math/rand/v2"
	"testing"
)

// The vector instructions must give the very bits of the plain loop, whatever the length.
func TestProductIsThatInGo(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for n := range 70 {
		a, b, c := make([][4]float64, n), make([][4]float64, n), make([][4]float64, n)
		for i := range n {
			for j := range 4 {
				a[i][j], b[i][j], c[i][j] = r.NormFloat64(), r.NormFloat64(), r.NormFloat64()
			}
		}
		var left, right [16]float64
		productInGo(&left, a, b)
		productInGo(&right, a, c)
		one, two, three := [16]float64{1}, [16]float64{1}, [16]float64{1}
		product(&one, a, b)
		products(&two, &three, a, b, c)
		if one != left || two != left || three != right {
			t.Fatalf("%d times: %v, %v and %v, want %v and %v", n, one, two, three, left, right)
		}
	}
}

func TestAddProducts(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	const n = 37
	for k := 1; k < 14; k++ {
		a, b := NewPanels(k, Stretch), NewPanels(k, n)
		for q := range a.Count() {
			for i := range n {
				for j := range 4 {
					a.Panel(q, n)[i][j], b.Panel(q, n)[i][j] = float64(r.IntN(9)), float64(r.IntN(9))
				}
			}
		}
		got := make([]float64, k*k)
		for q := range a.Count() {
			AddProducts(got, k, 4*q, k, a.Panel(q, n), b)
		}
		for j := range k {
			for l := range k {
				want := 0.0
				for i := range n {
					want += a.Panel(j/4, n)[i][j%4] * b.Panel(l/4, n)[i][l%4]
				}
				if got[j*k+l] != want {
					t.Fatalf("%d columns, product of %d and %d is %v, want %v", k, j, l, got[j*k+l], want)
				}
			}
		}
	}
}
