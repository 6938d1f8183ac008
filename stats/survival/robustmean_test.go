package survival_test

import (
	"math"
	"testing"

	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// slowMean is the area under the weighted product-limit curve, word by word.
func slowMean(d survival.Data, weight []float64, horizon float64) float64 {
	area, s := 0.0, 1.0
	for day := 0; float64(day) < horizon; day++ {
		n, events := 0.0, 0.0
		for i, exit := range d.Exit {
			entry := int32(0)
			if d.Entry != nil {
				entry = d.Entry[i]
			}
			if exit >= int32(day) && (entry == 0 || entry < int32(day)) {
				n += weight[i]
				if exit == int32(day) && d.Cause[i] == 1 {
					events += weight[i]
				}
			}
		}
		if n > 0 {
			s *= 1 - events/n
		}
		area += s * math.Min(1, horizon-float64(day))
	}
	return area
}

// slowMeanSE moves the weight of each row a little, up and down: the slope of the mean is what the row adds to it. The
// slopes are summed within clusters and squared.
func slowMeanSE(d survival.Data, horizon float64) float64 {
	const little = 1e-5
	weight := make([]float64, len(d.Exit))
	for i := range weight {
		weight[i] = 1
	}
	sums := map[int32]float64{}
	for i := range weight {
		weight[i] = 1 + little
		up := slowMean(d, weight, horizon)
		weight[i] = 1 - little
		down := slowMean(d, weight, horizon)
		weight[i] = 1
		sums[d.Cluster[i]] += (up - down) / (2 * little)
	}
	total := 0.0
	for _, x := range sums {
		total += x * x
	}
	return math.Sqrt(total)
}

// The fast standard error of a clustered mean against slopes found by moving weights, on random sets with heavy ties and
// late entries. The bound is that of the numeric slope.
func TestRobustMeanAgainstSlopes(t *testing.T) {
	r := random.Stream(11, "robust mean", 0)
	compared := 0
	for range 400 {
		rows := randomRows(r, 1, 2)
		d := columns(rows, 1, 2)
		d.Cluster = make([]int32, len(rows))
		for i := range d.Cluster {
			d.Cluster[i] = int32(r.IntN(1 + len(rows)/2))
		}
		curve := mustCount(t, d).ProductLimit(0, 1)
		robust, err := curve.Robust(d)
		if err != nil {
			t.Fatal(err)
		}
		for _, horizon := range []float64{1, 2.5, 7} {
			m, err := robust.RestrictedMean(horizon, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			if m.Status != survival.Estimated || atZeroRisk(d, horizon) {
				continue
			}
			want := slowMeanSE(d, horizon)
			if math.Abs(m.SE-want) > 1e-7*(1+want) {
				t.Fatalf("standard error %v to %v, by slopes %v, of %+v", m.SE, horizon, want, rows)
			}
			compared++
		}
	}
	if compared < 300 {
		t.Errorf("only %d means were compared", compared)
	}
}

// atZeroRisk says that somebody who stands alone has an event while others are still to come: the curve falls to 0 there,
// where it has no slope.
func atZeroRisk(d survival.Data, horizon float64) bool {
	for _, x := range d.Exit {
		n, events := 0, 0
		for i, exit := range d.Exit {
			if exit >= x && (d.Entry[i] == 0 || d.Entry[i] < x) {
				n++
				if exit == x && d.Cause[i] == 1 {
					events++
				}
			}
		}
		if n == events && float64(x) < horizon {
			return true
		}
	}
	return false
}

// With every row on its own and nobody late the clustered mean has the classical standard error; giving every row k times
// leaves it as it is, while the classical one falls by √k.
func TestRobustMeanInvariances(t *testing.T) {
	r := random.Stream(12, "robust mean", 1)
	for range 100 {
		rows := randomRows(r, 1, 1)
		for i := range rows {
			rows[i].entry = 0
		}
		d := columns(rows, 1, 1)
		d.Cluster = make([]int32, len(rows))
		var copies survival.Data
		const k = 3
		for i, x := range rows {
			d.Cluster[i] = int32(i)
			for range k {
				copies.Exit, copies.Cause, copies.Cluster = append(copies.Exit, x.exit), append(copies.Cause, x.cause), append(copies.Cluster, int32(i))
			}
		}
		plain := meanOf(t, mustCount(t, d).ProductLimit(0, 1))
		robust := meanOf(t, mustRobust(t, d))
		thrice := meanOf(t, mustRobust(t, copies))
		classic := meanOf(t, mustCount(t, copies).ProductLimit(0, 1))
		if math.Abs(plain.SE-robust.SE) > 1e-10 || math.Abs(robust.SE-thrice.SE) > 1e-10 {
			t.Fatalf("standard errors: classical %v, clustered %v, of %d copies %v, for %+v", plain.SE, robust.SE, k, thrice.SE, rows)
		}
		if plain.Status == survival.Estimated && math.Abs(classic.SE*math.Sqrt(k)-plain.SE) > 1e-10 {
			t.Fatalf("the classical standard error of %d copies is %v, once it is %v", k, classic.SE, plain.SE)
		}
	}
}

func mustRobust(t *testing.T, d survival.Data) *survival.Curve {
	t.Helper()
	c, err := mustCount(t, d).ProductLimit(0, 1).Robust(d)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func meanOf(t *testing.T, c *survival.Curve) survival.Mean {
	t.Helper()
	m, err := c.RestrictedMean(3.5, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return m
}
