package hazards_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
)

// slowUno goes through every pair: weighted by 1/G² just before the first event of the two, up to a time.
func slowUno(d hazards.Data, predictor []float64, tau float64) float64 {
	stay := func(t int32) float64 {
		out := 1.0
		for s := range t {
			censored, at := 0.0, 0.0
			for i := range d.Exit {
				w := 1.0
				if d.Weight != nil {
					w = d.Weight[i]
				}
				if d.Exit[i] == s && d.Cause[i] == 0 {
					censored += w
				}
				if d.Exit[i] > s || d.Exit[i] == s && d.Cause[i] == 0 {
					at += w
				}
			}
			if censored > 0 {
				out *= 1 - censored/at
			}
		}
		return out
	}
	up, all := 0.0, 0.0
	for i := range d.Exit {
		if d.Cause[i] != 1 || float64(d.Exit[i]) > tau {
			continue
		}
		g := stay(d.Exit[i])
		for k := range d.Exit {
			if k == i || d.Exit[k] < d.Exit[i] || d.Exit[k] == d.Exit[i] && d.Cause[k] == 1 {
				continue
			}
			w := 1 / (g * g)
			if d.Weight != nil {
				w *= d.Weight[i] * d.Weight[k]
			}
			all += w
			switch {
			case predictor[i] > predictor[k]:
				up += w
			case predictor[i] == predictor[k]:
				up += w / 2
			}
		}
	}
	return up / all
}

func TestConcordanceWeightedByCensoringAgainstPairs(t *testing.T) {
	for seed := range uint64(8) {
		d, x := plainRows(20+seed, 60)
		for i := range d.Exit {
			d.Exit[i] /= 8 // ties
		}
		if seed&1 > 0 {
			d.Weight = make([]float64, 60)
			for i := range d.Weight {
				d.Weight[i] = 0.5 + float64(i%3)
			}
		}
		predictor := make([]float64, 60)
		for i := range predictor {
			predictor[i] = math.Round(2 * x[0].Values[i])
		}
		for _, tau := range []float64{0, 12} {
			got, err := hazards.ConcordUpTo(d, 1, predictor, tau)
			if err != nil || got.Status != covariates.Converged {
				t.Fatal(err, got)
			}
			end := tau
			if end == 0 {
				end = math.Inf(1)
			}
			near(t, fmt.Sprint("seed ", seed, ", up to ", tau), got.C, slowUno(d, predictor, end), 1e-12)
			if !(got.SE > 0 && got.SE < 0.5) {
				t.Errorf("standard error %v", got.SE)
			}
		}
	}
}

// Of late entries there is no such concordance, and without events no pairs.
func TestConcordanceThatIsNotThere(t *testing.T) {
	d, x := plainRows(31, 40)
	late := d
	late.Entry = make([]int32, 40)
	late.Entry[0] = max(0, d.Exit[0]-1)
	if c, err := hazards.ConcordUpTo(late, 1, x[0].Values, 0); err != nil || c.Status != covariates.Unsupported {
		t.Errorf("late entries: %v %+v", err, c)
	}
	d.Cause = make([]uint8, 40)
	if c, err := hazards.ConcordUpTo(d, 1, x[0].Values, 0); err != nil || c.Status != covariates.NoEvents {
		t.Errorf("no events: %v %+v", err, c)
	}
	if _, err := hazards.ConcordUpTo(d, 1, x[0].Values, math.NaN()); err == nil {
		t.Error("a time that is no number is accepted")
	}
}

// A penalised fit has no robust score test; without clusters each row is its own.
func TestRobustScore(t *testing.T) {
	d, x := plainRows(32, 150)
	f := mustCox(t, d, x, hazards.Options{})
	alone, err := f.RobustScore()
	if err != nil || alone.Status != covariates.Converged || alone.DF != 2 {
		t.Fatal(err, alone)
	}
	twice := hazards.Data{Exit: append(append([]int32(nil), d.Exit...), d.Exit...), Cause: append(append([]uint8(nil), d.Cause...), d.Cause...)}
	for i := range 300 {
		twice.Cluster = append(twice.Cluster, int32(i%150))
	}
	columns := make([]covariates.Column, 2)
	for j := range columns {
		columns[j] = covariates.Column{Name: x[j].Name, Values: append(append([]float64(nil), x[j].Values...), x[j].Values...)}
	}
	doubled, err := mustCox(t, twice, columns, hazards.Options{Ties: hazards.Breslow}).RobustScore()
	if err != nil {
		t.Fatal(err)
	}
	single, err := mustCox(t, d, x, hazards.Options{Ties: hazards.Breslow}).RobustScore()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "every row twice, clustered", doubled.ChiSquare, single.ChiSquare, 1e-9)
	if p, err := mustCox(t, d, x, hazards.Options{Penalised: true}).RobustScore(); err != nil || p.Status != covariates.Unsupported || !strings.Contains(p.Reason, "Wald") {
		t.Errorf("penalised: %v %+v", err, p)
	}
}
