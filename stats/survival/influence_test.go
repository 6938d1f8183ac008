package survival_test

import (
	"math"
	"testing"

	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// slopes returns, for each cluster, Σ w ∂f/∂w over its rows, by central differences.
func slopes(d survival.Data, f func(weight []float64) float64) map[int32]float64 {
	by := map[int32]float64{}
	for j, w := range d.Weight {
		const h = 1e-5
		moved := append([]float64(nil), d.Weight...)
		moved[j] = w + h
		up := f(moved)
		moved[j] = w - h
		by[d.Cluster[j]] += w * (up - f(moved)) / (2 * h)
	}
	return by
}

func product(a, b map[int32]float64) (sum float64) {
	for c, x := range a {
		sum += x * b[c]
	}
	return sum
}

// The slow twin of a covariance takes the derivative of both estimates by each weight, and adds up the
// products by cluster.
func TestCovarianceOfTwoGroupsAgainstNumericalDerivatives(t *testing.T) {
	for seed := range uint64(300) {
		r := random.Stream(seed, "covariance twin", 0)
		rows := randomRows(r, 2, 2)
		d := columns(rows, 2, 2)
		for range rows {
			d.Weight = append(d.Weight, 0.2+2*r.Float64())
			d.Cluster = append(d.Cluster, int32(r.IntN(1+len(rows)/2)))
		}
		counts, layout := mustCount(t, d), mustLayOut(t, d)
		first := robustFrom(t, counts.ProductLimit(0, 1), layout.Group(0))
		second := robustFrom(t, counts.ProductLimit(1, 1), layout.Group(1))
		for _, at := range []float64{0, 2, 3.5, 6} {
			a, b := first.At(at), second.At(at)
			if a.Status != survival.Estimated || b.Status != survival.Estimated || a.Value == 0 || b.Value == 0 {
				continue
			}
			s := func(group int) map[int32]float64 {
				return slopes(d, func(w []float64) float64 { return math.Exp(weightedLogSurvival(rows, w, group, 1, at)) })
			}
			want := product(s(0), s(1))
			if got := first.Influence(at).With(second.Influence(at)); math.Abs(got-want) > 1e-7*(1+math.Abs(want)) {
				t.Fatalf("seed %d at %v: covariance %v, by derivatives %v", seed, at, got, want)
			}
			near(t, "of itself", first.Influence(at).With(first.Influence(at)), product(s(0), s(0)), 1e-6)
		}
	}
}

// Every patient has a shoulder in each group, with the very same follow-up: nothing can differ.
func TestGroupsOfTheSamePatients(t *testing.T) {
	d := survival.Data{Groups: 2}
	for i := range int32(12) {
		for g := range int32(2) {
			d.Exit, d.Cause = append(d.Exit, 1+i), append(d.Cause, uint8(i%2))
			d.Group, d.Cluster = append(d.Group, g), append(d.Cluster, i)
		}
	}
	counts, layout := mustCount(t, d), mustLayOut(t, d)
	a := robustFrom(t, counts.ProductLimit(0, 1), layout.Group(0))
	b := robustFrom(t, counts.ProductLimit(1, 1), layout.Group(1))
	shared := a.Influence(6).With(b.Influence(6))
	near(t, "covariance", shared, a.At(6).SE*a.At(6).SE, 1e-12)
	c, err := a.At(6).Minus(b.At(6), shared)
	if err != nil || c.Value != 0 || c.Limits != survival.NotComparable || c.SE != 0 {
		t.Errorf("difference %+v, %v", c, err)
	}
	test, err := a.At(6).Differs(b.At(6), survival.LogLog, shared)
	if err != nil || test.Status != survival.NotComparable {
		t.Errorf("test %+v, %v", test, err)
	}
	shared = a.MeanInfluence(9).With(b.MeanInfluence(9))
	near(t, "covariance of means", shared, math.Pow(meanOver(t, a, 9).SE, 2), 1e-12)
	ratio, err := meanOver(t, a, 9).Over(meanOver(t, b, 9), shared)
	if err != nil || ratio.Value != 1 || ratio.Limits != survival.NotComparable {
		t.Errorf("ratio %+v, %v", ratio, err)
	}
}

// Every patient k times, with all copies of both shoulders in one cluster: nothing is any surer, and
// shoulders apart, each its own patient, share nothing.
func TestCovarianceOfCopies(t *testing.T) {
	r := random.Stream(4, "covariance of copies", 0)
	one := survival.Data{Groups: 2}
	for i := range int32(40) {
		for g := range int32(2) {
			one.Exit, one.Cause = append(one.Exit, int32(1+r.IntN(30))), append(one.Cause, uint8(r.IntN(2)))
			one.Group, one.Cluster = append(one.Group, g), append(one.Cluster, i)
		}
	}
	var want [2]float64
	for _, k := range []int{1, 3} {
		d := survival.Data{Groups: 2}
		for range k {
			d.Exit, d.Cause = append(d.Exit, one.Exit...), append(d.Cause, one.Cause...)
			d.Group, d.Cluster = append(d.Group, one.Group...), append(d.Cluster, one.Cluster...)
		}
		counts, layout := mustCount(t, d), mustLayOut(t, d)
		a := robustFrom(t, counts.ProductLimit(0, 1), layout.Group(0))
		b := robustFrom(t, counts.ProductLimit(1, 1), layout.Group(1))
		c, err := a.At(15).Minus(b.At(15), a.Influence(15).With(b.Influence(15)))
		if err != nil {
			t.Fatal(err)
		}
		m, err := meanOver(t, a, 20).Minus(meanOver(t, b, 20), a.MeanInfluence(20).With(b.MeanInfluence(20)))
		if err != nil {
			t.Fatal(err)
		}
		if k == 1 {
			want = [2]float64{c.SE, m.SE}
			continue
		}
		near(t, "standard error of a difference", c.SE, want[0], 1e-10)
		near(t, "standard error of a difference of means", m.SE, want[1], 1e-10)
	}
	one.Cluster = nil
	counts, layout := mustCount(t, one), mustLayOut(t, one)
	a := robustFrom(t, counts.ProductLimit(0, 1), layout.Group(0))
	b := robustFrom(t, counts.ProductLimit(1, 1), layout.Group(1))
	if shared := a.Influence(15).With(b.Influence(15)); shared != 0 {
		t.Errorf("patients of one shoulder share %v", shared)
	}
	if shared := counts.ProductLimit(0, 1).Influence(15).With(b.Influence(15)); shared != 0 {
		t.Errorf("a curve of independent rows shares %v", shared)
	}
}

func TestCovarianceOfMeansAgainstNumericalDerivatives(t *testing.T) {
	for seed := range uint64(200) {
		r := random.Stream(seed, "covariance of means", 0)
		rows := randomRows(r, 2, 1)
		d := columns(rows, 2, 1)
		for range rows {
			d.Weight = append(d.Weight, 0.2+2*r.Float64())
			d.Cluster = append(d.Cluster, int32(r.IntN(1+len(rows)/2)))
		}
		counts, layout := mustCount(t, d), mustLayOut(t, d)
		first := robustFrom(t, counts.ProductLimit(0, 1), layout.Group(0))
		second := robustFrom(t, counts.ProductLimit(1, 1), layout.Group(1))
		const horizon = 5.5
		if first.N == 0 || second.N == 0 || counts.LastTime(0) < horizon || counts.LastTime(1) < horizon {
			continue
		}
		s := func(group int) map[int32]float64 {
			return slopes(d, func(w []float64) float64 {
				area := 0.0
				for day := 0.0; day < horizon; day++ {
					area += math.Exp(weightedLogSurvival(rows, w, group, 1, day)) * min(1, horizon-day)
				}
				return area
			})
		}
		if first.At(horizon).Value == 0 || second.At(horizon).Value == 0 {
			continue // the derivative of a curve that reached 0 is not a number
		}
		want := product(s(0), s(1))
		if got := first.MeanInfluence(horizon).With(second.MeanInfluence(horizon)); math.Abs(got-want) > 1e-6*(1+math.Abs(want)) {
			t.Fatalf("seed %d: covariance %v, by derivatives %v", seed, got, want)
		}
	}
}
