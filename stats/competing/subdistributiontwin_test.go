package competing_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// subdistributionTwin is the model as it is defined: every subject, every time, its weight.
func subdistributionTwin(d survival.Data, x [][]float64, beta []float64, ties competing.CensoringTies) (value float64, u []float64) {
	n, p := len(d.Exit), len(beta)
	u = make([]float64, p)
	w := func(i int) float64 {
		if d.Weight == nil {
			return 1
		}
		return d.Weight[i]
	}
	group := func(i int) int32 {
		if d.Group == nil {
			return 0
		}
		return d.Group[i]
	}
	eta := make([]float64, n)
	for i := range eta {
		for j := range beta {
			eta[i] += beta[j] * x[j][i]
		}
	}
	stay := func(g, t int32) float64 { // just before t
		out := 1.0
		for s := range t {
			censored, at, left := 0.0, 0.0, 0.0
			for i := range n {
				if group(i) != g {
					continue
				}
				if d.Exit[i] >= t {
					left++
				}
				if d.Exit[i] == s && d.Cause[i] == 0 {
					censored += w(i)
				}
				if d.Exit[i] > s || d.Exit[i] == s && (d.Cause[i] == 0 || ties == competing.AtOnce) {
					at += w(i)
				}
			}
			if censored > 0 {
				out *= 1 - censored/at
			}
			if s == t-1 && left == 0 {
				return 0
			}
		}
		return out
	}
	for t := range slices.Max(d.Exit) + 1 {
		mass, s0, s1 := 0.0, 0.0, make([]float64, p)
		for i := range n {
			if d.Exit[i] == t && d.Cause[i] == 1 {
				mass += w(i)
				value += w(i) * eta[i]
				for j := range p {
					u[j] += w(i) * x[j][i]
				}
			}
			r := w(i) * math.Exp(eta[i])
			if d.Exit[i] < t {
				if d.Cause[i] < 2 {
					continue
				}
				r *= stay(group(i), t) / stay(group(i), d.Exit[i])
			}
			s0 += r
			for j := range p {
				s1[j] += r * x[j][i]
			}
		}
		if mass > 0 {
			value -= mass * math.Log(s0)
			for j := range p {
				u[j] -= mass * s1[j] / s0
			}
		}
	}
	return value, u
}

func TestSubdistributionAgainstTheTwin(t *testing.T) {
	fitted := 0
	for seed := range uint64(400) {
		r := random.Stream(seed, "subdistribution twin", 0)
		n := 15 + r.IntN(25)
		d := survival.Data{Exit: make([]int32, n), Cause: make([]uint8, n), Causes: 2}
		x := [][]float64{make([]float64, n), make([]float64, n)}
		for i := range n {
			d.Exit[i], d.Cause[i] = r.Int32N(9), uint8(r.IntN(3))
			x[0][i], x[1][i] = r.NormFloat64(), float64(r.IntN(2))
		}
		if seed&1 > 0 {
			d.Groups, d.Group = 2, make([]int32, n)
			for i := range n {
				d.Group[i] = r.Int32N(2)
			}
		}
		if seed&2 > 0 {
			d.Weight = make([]float64, n)
			for i := range n {
				d.Weight[i] = 0.5 + r.Float64()
			}
		}
		ties := competing.CensoringTies(seed / 4 % 2)
		f, err := competing.Subdistribution(d, 1, []covariates.Column{{Name: "a", Values: x[0]}, {Name: "b", Values: x[1]}}, competing.SubdistributionOptions{Ties: ties})
		if err != nil {
			t.Fatal(seed, err)
		}
		if f.Status != covariates.Converged {
			continue
		}
		fitted++
		value, u := subdistributionTwin(d, x, f.Coefficient, ties)
		near(t, fmt.Sprint("seed ", seed, ": log-likelihood"), f.LogLikelihood, value, 1e-10)
		for j := range u {
			if se := math.Sqrt(f.Model[j*3]); math.Abs(u[j]*se) > 1e-7 {
				t.Fatalf("seed %d: slope %v at the estimate", seed, u)
			}
		}
	}
	if fitted < 250 {
		t.Errorf("only %d of 400 sets have estimates", fitted)
	}
}
