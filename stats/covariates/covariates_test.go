package covariates_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/random"
)

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Max(math.Abs(want), 1e-3)) {
		t.Errorf("%s = %.17g, want %.17g", what, got, want)
	}
}

func draw(r *rand.Rand, n, p int) []covariates.Column {
	out := make([]covariates.Column, p)
	for j := range out {
		out[j] = covariates.Column{Name: fmt.Sprint("x", j), Values: make([]float64, n)}
		for i := range n {
			out[j].Values[i] = 2000 + 10*r.NormFloat64()
		}
	}
	return out
}

// The blocked product against three loops, for every remainder of a tile and of a block, and to the
// same bits on any number of processors.
func TestMomentsAgainstLoops(t *testing.T) {
	r := random.Stream(1, "moments", 0)
	for _, size := range [][2]int{{1, 1}, {7, 2}, {255, 3}, {257, 4}, {513, 5}, {1000, 9}, {20_000, 6}} {
		n, p := size[0], size[1]
		d, err := covariates.NewDesign(draw(r, n, p), n, true)
		if err != nil {
			t.Fatal(err)
		}
		c, v := make([]float64, n), make([]float64, n)
		for i := range n {
			c[i], v[i] = r.Float64(), r.NormFloat64()
		}
		fill := func(from, to int, a, b []float64) {
			copy(a, c[from:to])
			copy(b, v[from:to])
		}
		gram, sum := d.Moments(fill)
		for j := range p + 1 {
			s := 0.0
			for i := range n {
				s += v[i] * d.At(i, j)
			}
			near(t, fmt.Sprint(size, " sum ", j), sum[j], s, 1e-10)
			for k := range p + 1 {
				s := 0.0
				for i := range n {
					s += c[i] * d.At(i, j) * d.At(i, k)
				}
				near(t, fmt.Sprint(size, " product ", j, k), gram[j*(p+1)+k], s, 1e-10)
			}
		}
		before := runtime.GOMAXPROCS(1)
		single, _ := d.Moments(fill)
		runtime.GOMAXPROCS(before)
		if !slices.Equal(single, gram) {
			t.Errorf("%v: one processor gives other numbers", size)
		}
	}
}

// Σ over clusters against a map, with small, large and far-apart numbers of clusters.
func TestClusterSums(t *testing.T) {
	r := random.Stream(2, "clusters", 0)
	for _, step := range []int32{1, 3, 10_000_000} {
		const n = 700
		cluster, x := make([]int32, n), make([]float64, 2*n)
		for i := range n {
			cluster[i] = r.Int32N(200) * step
			x[2*i], x[2*i+1] = r.NormFloat64(), r.NormFloat64()
		}
		sums := map[int32][2]float64{}
		for i, g := range cluster {
			s := sums[g]
			sums[g] = [2]float64{s[0] + x[2*i], s[1] + x[2*i+1]}
		}
		want := [4]float64{}
		for _, s := range sums {
			want[0], want[1], want[3] = want[0]+s[0]*s[0], want[1]+s[0]*s[1], want[3]+s[1]*s[1]
		}
		want[2] = want[1]
		c, err := covariates.GroupRows(cluster, n)
		if err != nil {
			t.Fatal(err)
		}
		if c.Count != len(sums) {
			t.Errorf("%d clusters, want %d", c.Count, len(sums))
		}
		for i, got := range c.Outer(2, func(row int, out []float64) { copy(out, x[2*row:2*row+2]) }) {
			near(t, fmt.Sprint("step ", step), got, want[i], 1e-11)
		}
		seen := 0
		for g := range c.Count {
			rows := c.AppendRows(nil, g)
			seen += len(rows)
			for _, i := range rows {
				if cluster[i] != cluster[rows[0]] {
					t.Fatalf("rows of clusters %d and %d lie together", cluster[i], cluster[rows[0]])
				}
			}
		}
		if seen != n {
			t.Errorf("%d rows in clusters, want %d", seen, n)
		}
	}
}

// A Hilbert matrix of order 4 has an inverse in whole numbers (Hilbert, Acta Math. 18 (1894)
// 155–159), and determinant 1/6048000.
func TestFactorOfTheHilbertMatrix(t *testing.T) {
	m := make([]float64, 16)
	for i := range 4 {
		for j := range 4 {
			m[i*4+j] = 1 / float64(i+j+1)
		}
	}
	f, bad := covariates.Factorise(m, 4, nil)
	if bad >= 0 {
		t.Fatal("said to be singular")
	}
	for i, want := range []float64{16, -120, 240, -140, -120, 1200, -2700, 1680, 240, -2700, 6480, -4200, -140, 1680, -4200, 2800} {
		near(t, "inverse", f.Inverse()[i], want, 1e-10)
	}
	near(t, "log determinant", f.LogDeterminant(), -math.Log(6048000), 1e-12)
	near(t, "form", f.Form([]float64{1, 0, 0, 0}), 16, 1e-10)
	if _, bad := covariates.Factorise([]float64{1, 2, 2, 4}, 2, nil); bad != 1 {
		t.Errorf("column %d of a matrix of rank 1 is at fault, want 1", bad)
	}
	if _, bad := covariates.Factorise([]float64{1, 0, 0, 0}, 2, nil); bad != 1 {
		t.Errorf("column %d of a matrix with a 0 is at fault, want 1", bad)
	}
}

// A quadratic has its top one step away; held coefficients stay.
type quadratic struct{ beta []float64 }

func (q *quadratic) Value(beta []float64) float64 {
	q.beta = slices.Clone(beta)
	return -(beta[0]-3)*(beta[0]-3) - (beta[1]+1)*(beta[1]+1) - beta[0]*beta[1]/2
}

func (q *quadratic) Slope() (gradient, information, size []float64) {
	b := q.beta
	return []float64{-2*(b[0]-3) - b[1]/2, -2*(b[1]+1) - b[0]/2}, []float64{2, 0.5, 0.5, 2}, []float64{2, 2}
}

func TestNewtonOnAQuadratic(t *testing.T) {
	d, _ := covariates.NewDesign(draw(random.Stream(3, "newton", 0), 20, 2), 20, false)
	a := covariates.Maximise(d, &quadratic{}, covariates.Start{})
	if a.Status != covariates.Converged || a.Steps != 1 {
		t.Errorf("%v after %d steps", a.Status, a.Steps)
	}
	near(t, "first", a.Beta[0], (3*2+0.5)*2/3.75, 1e-14)
	near(t, "second", a.Beta[1], (-2*2-3)/3.75*1, 1e-14)
	held := covariates.Maximise(d, &quadratic{}, covariates.Start{Beta: []float64{0, 2}, Hold: []bool{false, true}})
	if held.Beta[1] != 2 {
		t.Errorf("the held coefficient moved to %v", held.Beta[1])
	}
	near(t, "beside a held one", held.Beta[0], 2.5, 1e-14)
}

func TestColumnsThatAreRefused(t *testing.T) {
	good := []float64{1, 2, 3}
	for name, columns := range map[string][]covariates.Column{
		"no name": {{Values: good}}, "one name twice": {{Name: "a", Values: good}, {Name: "a", Values: good}}, "short": {{Name: "a", Values: good[:2]}},
	} {
		if _, err := covariates.NewDesign(columns, 3, false); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300} {
		for at := range 3 {
			values := slices.Clone(good)
			values[at] = bad
			_, err := covariates.NewDesign([]covariates.Column{{Name: "a", Values: values}}, 3, false)
			var row *covariates.RowError
			if !errors.As(err, &row) || row.Row != at || row.Column != "a" || !strings.Contains(err.Error(), "row") {
				t.Errorf("%v in row %d: %v", bad, at, err)
			}
		}
	}
}

// What makes a natural cubic spline: straight outside its knots, and value, slope and curvature
// without a jump at them; between knots a cubic, whose fourth differences are 0.
func TestSplineIsOne(t *testing.T) {
	knots := []float64{-1, 0.5, 2, 7}
	for j := range 3 {
		s := func(x float64) float64 { return covariates.SplineAt(x, knots)[j] }
		const h = 1e-3
		second := func(x float64) float64 { return (s(x+h) - 2*s(x) + s(x-h)) / (h * h) }
		for _, x := range []float64{-50, -2, 7.5, 100} {
			if c := second(x); math.Abs(c) > 1e-5*math.Max(1, math.Abs(s(x))) {
				t.Errorf("piece %d has curvature %v at %v, outside the knots", j, c, x)
			}
		}
		for _, k := range knots {
			before, after := second(k-2*h), second(k+2*h)
			if math.Abs(before-after) > 0.02 || math.Abs(s(k-1e-9)-s(k+1e-9)) > 1e-7 {
				t.Errorf("piece %d jumps at the knot %v: curvature %v before, %v after", j, k, before, after)
			}
		}
		for i := 1; i < 4; i++ {
			x, g := knots[i-1], (knots[i]-knots[i-1])/4
			if fourth := s(x) - 4*s(x+g) + 6*s(x+2*g) - 4*s(x+3*g) + s(x+4*g); math.Abs(fourth) > 1e-12 {
				t.Errorf("piece %d is no cubic between %v and %v: fourth difference %v", j, knots[i-1], knots[i], fourth)
			}
		}
	}
	columns, err := covariates.Spline("age", []float64{-3, 1, 9}, knots)
	if err != nil || len(columns) != 3 || columns[2].Term != "age" || columns[1].Values[2] != covariates.SplineAt(9, knots)[1] {
		t.Error(err, columns)
	}
	if _, err := covariates.Spline("age", nil, []float64{1, 1, 2}); err == nil {
		t.Error("knots on top of each other are accepted")
	}
}

func TestKnots(t *testing.T) {
	x := make([]float64, 101)
	for i := range x {
		x[i] = float64((i * 37) % 101)
	}
	got, err := covariates.Knots(x, 5)
	if err != nil {
		t.Fatal(err)
	}
	for k, want := range []float64{5, 27.5, 50, 72.5, 95} {
		near(t, "knot", got[k], want, 1e-14)
	}
	for _, bad := range [][]float64{nil, {1, 1, 1, 1, 1, 2}} {
		if _, err := covariates.Knots(bad, 4); err == nil {
			t.Errorf("knots among %v", bad)
		}
	}
	if _, err := covariates.Knots(x, 2); err == nil {
		t.Error("two knots are accepted")
	}
}

// An estimate of variance 4, by hand.
func TestEffectAndTests(t *testing.T) {
	f := &covariates.Fit{Names: []string{"a", "b", "c"}, Terms: []string{"a", "f", "f"}, N: 10, Events: 5,
		Coefficient: []float64{3, 1, -1}, Model: []float64{4, 0, 0, 0, 1, 0.5, 0, 0.5, 1}, NullLogLikelihood: -20, LogLikelihood: -15}
	e := f.Effect(0, 0.95)
	near(t, "z", e.Z, 1.5, 1e-15)
	near(t, "p", e.P, 0.133614402537716, 1e-12) // 2 Φ(−1.5), from tables
	near(t, "upper", e.Upper, 3+2*1.959963984540054, 1e-14)
	c := f.Combine([]float64{0, 1, -1}, 0.95)
	near(t, "difference", c.Estimate, 2, 1e-15)
	near(t, "its SE", c.SE, 1, 1e-15)
	if w := f.Term("f"); math.Abs(w.ChiSquare-4) > 1e-12 || w.DF != 2 {
		t.Errorf("%+v, want 4 on 2 degrees of freedom", w) // (1, −1)·V⁻¹·(1, −1)ᵀ = 2/(1−½)
	}
	near(t, "likelihood ratio", f.LikelihoodRatio().ChiSquare, 10, 1e-15)
	smaller := &covariates.Fit{Names: []string{"a"}, N: 10, Events: 5, LogLikelihood: -16}
	if w, err := f.Compare(smaller); err != nil || w.ChiSquare != 2 || w.DF != 2 {
		t.Error(w, err)
	}
	smaller.N = 9
	if _, err := f.Compare(smaller); err == nil {
		t.Error("models of different rows are compared")
	}
	f.Refuse(covariates.Separated, "because", "a")
	if e := f.Effect(0, 0.95); e.Status != covariates.Separated || e.Estimate != 0 || e.Reason != "because" {
		t.Errorf("%+v", e)
	}
	for s := covariates.Converged; s <= covariates.Unsupported; s++ {
		if s.String() == "" || s.String() == "unknown status" {
			t.Errorf("status %d has no words", s)
		}
	}
}
