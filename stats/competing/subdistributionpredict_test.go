package competing_test

import (
	"fmt"
	"math"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// weighable is data with ties whose rows have weights of 1 that a test may move, in one group or two.
func weighable(seed uint64, n int) (survival.Data, []covariates.Column) {
	d, x := manyCompeting(random.Stream(seed, "subdistribution weights", 0), n)
	d.Weight = make([]float64, n)
	for i := range d.Exit {
		d.Weight[i] = 1
		d.Exit[i] /= 400
	}
	if seed&1 > 0 {
		d.Groups, d.Group = 2, make([]int32, n)
		for i := range d.Group {
			d.Group[i] = int32(i % 2)
		}
	}
	return d, x[:2]
}

func mustModel(t *testing.T, d survival.Data, x []covariates.Column) *competing.SubdistributionFit {
	t.Helper()
	f, err := competing.Subdistribution(d, 1, x, competing.SubdistributionOptions{})
	if err != nil || f.Status != covariates.Converged {
		t.Fatal(err, f.Status, f.Reason)
	}
	return f
}

// slopes returns the derivatives of some numbers in the weight of each row, by differences.
func slopes(d survival.Data, numbers func() []float64) [][]float64 {
	out := make([][]float64, len(d.Weight))
	for i := range d.Weight {
		const h = 1e-4
		d.Weight[i] = 1 + h
		up := numbers()
		d.Weight[i] = 1 - h
		down := numbers()
		d.Weight[i] = 1
		out[i] = make([]float64, len(up))
		for j := range up {
			out[i][j] = (up[j] - down[j]) / (2 * h)
		}
	}
	return out
}

// The variance of a predicted incidence is the sum of squared derivatives of it in the weights of rows, the censoring
// distribution estimated anew each time; rows of a cluster are summed first.
func TestIncidenceOfTheModelByDifferences(t *testing.T) {
	for seed := range uint64(6) {
		d, x := weighable(seed, 80)
		if seed > 2 {
			for i := range d.Exit {
				d.Cluster = append(d.Cluster, int32(i/3))
			}
		}
		people, times := [][]float64{{0, 0}, {1, -1}}, []float64{1, 2, 3}
		points, err := mustModel(t, d, x).Incidence(people, times, 0.95, survival.Plain)
		if err != nil {
			t.Fatal(err)
		}
		each := slopes(d, func() (out []float64) {
			f := mustModel(t, d, x)
			for _, who := range people {
				for _, at := range times {
					p, err := f.Predict(who, at)
					if err != nil {
						t.Fatal(err)
					}
					out = append(out, p)
				}
			}
			return out
		})
		for k := range people {
			for at := range times {
				sums := map[int32]float64{}
				for i, s := range each {
					who := int32(i)
					if d.Cluster != nil {
						who = d.Cluster[i]
					}
					sums[who] += s[k*len(times)+at]
				}
				want := 0.0
				for _, s := range sums {
					want += s * s
				}
				p := points[k][at]
				if p.Limits == survival.Estimated {
					near(t, fmt.Sprint("seed ", seed, ", standard error of person ", k, " at ", times[at]), p.SE, math.Sqrt(want), 1e-4)
				}
			}
		}
	}
}

// A point says who was at risk; beyond the last exit there is no prediction, and what does not fit the model is refused.
func TestIncidenceOfTheModelStates(t *testing.T) {
	d, x := weighable(2, 80)
	f := mustModel(t, d, x)
	p, err := f.Incidence([][]float64{{0, 0}}, []float64{0.5, 2, 1e9}, 0.95, survival.LogLog)
	if err != nil {
		t.Fatal(err)
	}
	if q := p[0][1]; q.Status != survival.Estimated || !(q.Lower < q.Value && q.Value < q.Upper) || q.AtRisk == 0 {
		t.Errorf("%+v", q)
	}
	if q := p[0][2]; q.Status != survival.BeyondFollowUp || q.Value != 0 {
		t.Errorf("beyond follow-up: %+v", q)
	}
	if _, err := f.Incidence([][]float64{{0}}, []float64{1}, 0.95, survival.LogLog); err == nil {
		t.Error("one value for two columns is accepted")
	}
	if _, err := f.Incidence(nil, nil, 95, survival.LogLog); err == nil {
		t.Error("a level of 95 is accepted")
	}
}

// The variance of the test is the sum of squared derivatives in the weights of rows of the score along g, coefficients and
// weights of the model estimated anew each time.
func TestProportionalityOfTheModelByDifferences(t *testing.T) {
	for seed := range uint64(6) {
		d, x := weighable(seed, 80)
		f := mustModel(t, d, x)
		got, err := f.Proportionality()
		if err != nil {
			t.Fatal(err)
		}
		g := f.Growth()
		u, v := f.ScoreAlong(g), make([]float64, 4)
		for _, s := range slopes(d, func() []float64 { return mustModel(t, d, x).ScoreAlong(g) }) {
			for j := range 2 {
				for k := range 2 {
					v[j*2+k] += s[j] * s[k]
				}
			}
		}
		want := covariates.ChiSquareTest("all", u, v)
		near(t, fmt.Sprint("seed ", seed, ": global"), got.Global.ChiSquare, want.ChiSquare, 1e-4)
		near(t, fmt.Sprint("seed ", seed, ": first"), got.Terms[0].ChiSquare, u[0]*u[0]/v[0], 1e-4)
		near(t, fmt.Sprint("seed ", seed, ": second"), got.Terms[1].ChiSquare, u[1]*u[1]/v[3], 1e-4)
	}
}

// Where ratios do not change the test finds a change in about one of twenty data sets, and where the effect turns round it
// finds it nearly always.
func TestProportionalityOfTheModelKeepsItsLevel(t *testing.T) {
	const sets = 300
	found, turned := 0, 0
	for set := range uint64(sets) {
		r := random.Stream(set, "subdistribution level", 0)
		for _, turning := range []bool{false, true} {
			d, z := survival.Data{Causes: 2}, []float64{}
			for range 250 {
				group := float64(r.IntN(2))
				rate := math.Exp(0.5 * group)
				t := r.ExpFloat64() * 1000 / rate
				if turning && group == 1 && t > 300 {
					t = 300 + (t-300)*4
				}
				c := uint8(1)
				if other := r.ExpFloat64() * 2000; other < t {
					t, c = other, 2
				}
				if out := r.Float64() * 2500; out < t {
					t, c = out, 0
				}
				d.Exit, d.Cause, z = append(d.Exit, int32(t)), append(d.Cause, c), append(z, group)
			}
			f, err := competing.Subdistribution(d, 1, []covariates.Column{{Name: "group", Values: z}}, competing.SubdistributionOptions{})
			if err != nil {
				t.Fatal(err)
			}
			test, err := f.Proportionality()
			if err != nil {
				t.Fatal(err)
			}
			if test.Global.P < 0.05 {
				if turning {
					turned++
				} else {
					found++
				}
			}
		}
	}
	// 15 of 300 are expected, with a binomial standard deviation of 3.8; the first model is nearly one of proportional
	// subdistribution hazards, since the other events do not depend on the group.
	if found < 4 || found > 30 {
		t.Errorf("a change was found in %d of %d sets without one", found, sets)
	}
	if turned < 240 {
		t.Errorf("a change was found in %d of %d sets with one", turned, sets)
	}
}

// Residuals add up to 0, so that the scaled ones have the coefficients as their mean; times the g of the test, less its mean, they add up to its
// score; and without other events they are Schoenfeld's.
func TestResidualsOfTheModel(t *testing.T) {
	for seed := range uint64(4) {
		d, x := weighable(seed, 120)
		d.Weight = nil
		f := mustModel(t, d, x)
		r, err := f.Residuals()
		if err != nil || len(r.Row) != f.Events {
			t.Fatal(err, r)
		}
		mean := 0.0
		for _, g := range r.Along {
			mean += g / float64(len(r.Along))
		}
		score := make([]float64, 2)
		for j := range score {
			sum := 0.0
			for e, s := range r.Scaled[j] {
				sum += s / float64(len(r.Along))
				score[j] += (r.Along[e] - mean) * (s - f.Coefficient[j]) / float64(f.Events)
			}
			near(t, fmt.Sprint("seed ", seed, ": mean of the residuals of ", j), sum, f.Coefficient[j], 1e-8)
		}
		// The score along g, times V, is what the scaled residuals add up to.
		u := f.ScoreAlong(f.Growth())
		for j := range score {
			near(t, fmt.Sprint("seed ", seed, ": score of ", j), score[j], f.Model[2*j]*f.InColumns(u)[0]+f.Model[2*j+1]*f.InColumns(u)[1], 1e-7)
		}
	}
	d, x := weighable(2, 120)
	d.Weight = nil
	for i, c := range d.Cause {
		d.Cause[i] = c % 2
	}
	f := mustModel(t, d, x)
	r, err := f.Residuals()
	if err != nil {
		t.Fatal(err)
	}
	cox, err := hazards.Cox(hazards.Data{Exit: d.Exit, Cause: d.Cause}, 1, x, hazards.Options{Ties: hazards.Breslow})
	if err != nil {
		t.Fatal(err)
	}
	s, err := cox.Schoenfeld()
	if err != nil {
		t.Fatal(err)
	}
	w := []float64{1, -2}
	for e, want := range s.Combined(w) {
		near(t, "combined residual", r.Combined(w)[e], want, 1e-6)
	}
	near(t, "spread", f.ResidualSpread(w), cox.ResidualSpread(w), 1e-8)
}
