package numeric_test

import (
	"math"
	"math/big"
	"testing"

	"deltoid/stats/numeric"
)

// The terms cancel so that a plain sum loses the answer altogether; 2 is the exact sum.
func TestSumKeepsWhatAPlainSumLoses(t *testing.T) {
	terms := []float64{1, 1e100, 1, -1e100}
	var plain float64
	var sum numeric.Sum
	for _, x := range terms {
		plain += x
		sum.Add(x)
	}
	if plain == 2 {
		t.Fatal("the example no longer needs compensation")
	}
	if sum.Value() != 2 {
		t.Fatalf("sum = %v, want 2", sum.Value())
	}
}

// Against exact rational arithmetic: n·(n−1)/n · … telescopes, and so do its pieces.
func TestRatiosAgainstExactArithmetic(t *testing.T) {
	for _, n := range []int64{7, 100, 4001} {
		r := numeric.One()
		exact := new(big.Rat).SetInt64(1)
		for left := n; left > n/3; left -= 1 + left%3 {
			drop := 1 + left%3
			r.Times(float64(left-drop), float64(left))
			exact.Mul(exact, big.NewRat(left-drop, left))
			want, _ := exact.Float64()
			if got := r.Value(); got != want {
				t.Fatalf("n = %d, %d left: %v, exact product rounds to %v", n, left, got, want)
			}
		}
	}
}

func TestRatiosMeetsOneHalfExactly(t *testing.T) {
	for n := 2; n <= 2000; n += 2 {
		r := numeric.One()
		for left := n; left > n/2; left-- {
			r.Times(float64(left-1), float64(left))
		}
		if r.Value() != 0.5 {
			t.Fatalf("%d of %d left: %v", n/2, n, r.Value())
		}
	}
}

func TestRatiosReachesZeroAndStays(t *testing.T) {
	r := numeric.One()
	r.Times(0, 3)
	r.Times(1, 2)
	if v := r.Value(); v != 0 || math.Signbit(v) {
		t.Fatalf("product = %v, want 0", v)
	}
}
