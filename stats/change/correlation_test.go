package change

import (
	"math"
	"testing"

	"deltoid/stats/dist"
	"deltoid/stats/random"
	"deltoid/stats/references"
)

type correlationReference struct {
	N       int
	Pearson struct {
		R        float64
		Interval [2]float64 `json:"fisher_z_ci"`
	}
	Spearman struct {
		Rho      float64
		Interval [2]float64 `json:"bonett_wright_ci"`
	}
}

func (c correlationReference) check(t *testing.T, what string, x, y []float64) {
	t.Helper()
	p := peopleOf(nil, len(x))
	product, rank := byProduct(x, y, p, 0.95), byRank(x, y, p, 0.95)
	close2(t, what+" by product", product.Value, c.Pearson.R, 1e-13)
	close2(t, what+" by product, lower", product.Lower, c.Pearson.Interval[0], 1e-12)
	close2(t, what+" by product, upper", product.Upper, c.Pearson.Interval[1], 1e-12)
	close2(t, what+" by rank", rank.Value, c.Spearman.Rho, 1e-13)
	close2(t, what+" by rank, lower", rank.Lower, c.Spearman.Interval[0], 1e-12)
	close2(t, what+" by rank, upper", rank.Upper, c.Spearman.Interval[1], 1e-12)
}

func TestCorrelationsAgainstReferences(t *testing.T) {
	var air struct {
		Results struct {
			Wind correlationReference `json:"ozone_wind"`
			Temp correlationReference `json:"ozone_temp"`
		}
	}
	references.Expected(t, "correlation_airquality", &air)
	f := references.Data(t, "airquality.csv")
	f = f.Where(func(i int) bool { return f["Ozone"][i] != "" })
	air.Results.Wind.check(t, "ozone and wind", f.Numbers(t, "Ozone"), f.Numbers(t, "Wind"))
	air.Results.Temp.check(t, "ozone and temperature", f.Numbers(t, "Ozone"), f.Numbers(t, "Temp"))
	var small struct {
		Results struct {
			X, Y   references.Column
			Result correlationReference
		}
	}
	references.Expected(t, "correlation_small", &small)
	small.Results.Result.check(t, "eight", small.Results.X, small.Results.Y)
}

// The acceleration of a difference of means is that of the reference's jackknife, up to the n − 1 of its groups.
func TestAccelerationAgainstReference(t *testing.T) {
	var ref struct {
		Results struct {
			N            []float64
			Acceleration float64 `json:"acceleration_jackknife"`
		}
	}
	references.Expected(t, "bootstrap_anorexia", &ref)
	f := references.Data(t, "anorexia.csv")
	f = f.Where(func(i int) bool { return f["Treat"][i] != "FT" })
	a, q := Anchored{Scores: Scores{Baseline: f.Numbers(t, "Prewt"), FollowUp: f.Numbers(t, "Postwt")}}, someQuestion()
	for _, g := range f["Treat"] {
		answer := int32(0)
		if g == "CBT" {
			answer = 1
		}
		a.Anchor = append(a.Anchor, answer)
	}
	got := newSample(a, q).acceleration(MeanDifference)
	if !(math.Abs(got-ref.Results.Acceleration) <= 0.06*ref.Results.Acceleration) {
		t.Errorf("acceleration = %v, reference %v", got, ref.Results.Acceleration)
	}
}

// At its limits the ratio of spreads makes sum and difference correlated just as much as Student's distribution allows.
func TestSpreadRatioAgainstTwin(t *testing.T) {
	r := random.Stream(8, "spread", 0)
	x, y := make([]float64, 25), make([]float64, 25)
	for i := range x {
		x[i] = r.NormFloat64()
		y[i] = 0.6*x[i] + 1.3*r.NormFloat64()
	}
	e := spreadRatio(x, y, peopleOf(nil, len(x)), 0.95)
	for _, limit := range []float64{e.Lower, e.Upper} {
		sum, difference := make([]float64, 25), make([]float64, 25)
		for i := range x {
			sum[i], difference[i] = limit*x[i]+y[i], limit*x[i]-y[i]
		}
		c, _ := correlation(sum, difference)
		close2(t, "Student's t at the limit", math.Abs(c)*math.Sqrt(23/(1-c*c)), dist.StudentSpread(0.95, 23), 1e-10)
	}
}

// latentCategories draws a score and a category of a normal variable correlated with it.
func latentCategories(n int, rho float64, seed uint64) (x []float64, category []int32) {
	r := random.Stream(seed, "polyserial", uint64(n))
	for range n {
		z := r.NormFloat64()
		y := rho*z + math.Sqrt(1-rho*rho)*r.NormFloat64()
		c := int32(0)
		for _, cut := range []float64{-0.8, 0.1, 1.2} {
			if y > cut {
				c += 2
			}
		}
		x, category = append(x, 50+9*z), append(category, c)
	}
	return x, category
}

func TestPolyserial(t *testing.T) {
	x, category := latentCategories(40_000, 0.55, 1)
	big := polyserial(x, category, peopleOf(nil, len(x)), 0.95)
	// Five standard errors of 40,000 rows around the truth.
	if !(math.Abs(big.Value-0.55) <= 5*big.SE) || !(big.SE < 0.006) {
		t.Errorf("correlation %v (standard error %v), truth 0.55", big.Value, big.SE)
	}
	x, category = latentCategories(150, 0.55, 2)
	small := polyserial(x, category, peopleOf(nil, len(x)), 0.95)
	twin := func(x []float64, category []int32) float64 { return twinOfPolyserial(x, category) }
	whole := twin(x, category)
	close2(t, "polyserial", small.Value, whole, 2e-6)
	squares := 0.0
	for i := range x {
		left := twin(append(append([]float64(nil), x[:i]...), x[i+1:]...), append(append([]int32(nil), category[:i]...), category[i+1:]...))
		squares += (left - whole) * (left - whole)
	}
	if jackknife := math.Sqrt(squares); !(math.Abs(small.SE/jackknife-1) <= 0.06) {
		t.Errorf("standard error %v, by leaving rows out %v", small.SE, jackknife)
	}
}

// twinOfPolyserial climbs the likelihood itself, by thirds.
func twinOfPolyserial(x []float64, category []int32) float64 {
	s := newSerial(x, category)
	value := func(r float64) float64 {
		sum := 0.0
		for i, v := range x {
			z := (v - s.mean) / s.sd
			upper, lower := 1.0, 0.0
			if k := s.k[i]; k < len(s.cut) {
				upper = dist.NormalLower((s.cut[k] - r*z) / math.Sqrt(1-r*r))
			}
			if k := s.k[i]; k > 0 {
				lower = dist.NormalLower((s.cut[k-1] - r*z) / math.Sqrt(1-r*r))
			}
			sum += math.Log(upper - lower)
		}
		return sum
	}
	a, b := -0.99, 0.99
	for b-a > 1e-7 {
		l, u := a+(b-a)/3, b-(b-a)/3
		if value(l) < value(u) {
			a = l
		} else {
			b = u
		}
	}
	return (a + b) / 2
}
