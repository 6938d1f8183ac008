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

// 1e100 + 1 − 1e100 − 2 is −1; the sums rounded first would differ by 0.
func TestLessKeepsWhatRoundingLoses(t *testing.T) {
	var a, b numeric.Sum
	for _, x := range []float64{1e100, 1} {
		a.Add(x)
	}
	for _, x := range []float64{1e100, 2} {
		b.Add(x)
	}
	if a.Value() != b.Value() {
		t.Fatal("the example no longer rounds to one value")
	}
	if got := a.Less(&b); got != -1 {
		t.Fatalf("difference = %v, want -1", got)
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

// A covariance of three scores that sum to 0: by leaving out the last, the form is u₁, u₂ with the
// inverse of the upper left 2 × 2, here worked by hand: V₂ = [2 −1; −1 2], V₂⁻¹ = [2 1; 1 2]/3.
func TestQuadraticFormOfASingularMatrix(t *testing.T) {
	v := []float64{2, -1, -1, -1, 2, -1, -1, -1, 2}
	form, rank := numeric.QuadraticForm([]float64{1, 2, -3}, v)
	if want := (2.*1 + 2*1*2 + 2*4) / 3; math.Abs(form-want) > 1e-14 || rank != 2 {
		t.Errorf("form %v of rank %d, want %v of rank 2", form, rank, want)
	}
	if v[0] != 2 || v[8] != 2 || v[4] != 2 {
		t.Error("the matrix was changed")
	}
	if form, rank := numeric.QuadraticForm([]float64{0, 0}, make([]float64, 4)); form != 0 || rank != 0 {
		t.Errorf("form %v of rank %d for a matrix of zeros", form, rank)
	}
}

// Whatever the order of rows, and whichever pivots that leads to, the form is the same; it is
// built here as A·Aᵀ with u = A·x, so that it is |x|² when A has full column rank.
func TestQuadraticFormWithPivots(t *testing.T) {
	const k, r = 6, 3
	for seed := range 50 {
		a := make([]float64, k*r)
		for i := range a {
			a[i] = math.Sin(float64((i + 1) * (i + 2) * (seed + 3)))
		}
		x := []float64{1, -2, 0.5}
		u, v := make([]float64, k), make([]float64, k*k)
		for i := range k {
			for c := range r {
				u[i] += a[i*r+c] * x[c]
				for j := range k {
					v[i*k+j] += a[i*r+c] * a[j*r+c]
				}
			}
		}
		form, rank := numeric.QuadraticForm(u, v)
		if rank != r || math.Abs(form-5.25) > 1e-9 {
			t.Errorf("seed %d: form %v of rank %d, want 5.25 of rank %d", seed, form, rank, r)
		}
	}
}
