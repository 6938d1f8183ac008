package witness_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/random"
)

// modelSet is one set of data with three covariates: measured, of two values, and measured in few steps.
type modelSet struct {
	hazards.Data
	x       [3][]float64
	yes     []float64
	count   []float64
	weight  []float64
	delayed bool
	strata  int
	at      float64 // time of predictions
}

// drawModels makes one set: from some tens of rows to some hundreds, on a handful of days (so that nearly all is tied) to thousands.
func drawModels(r *rand.Rand) modelSet {
	n := 40 + r.IntN([]int{40, 260}[r.IntN(2)])
	days := []int{6, 40, 3000}[r.IntN(3)]
	s := modelSet{delayed: r.IntN(3) == 0, strata: 1 + r.IntN(2)*r.IntN(3)}
	s.strata = max(1, s.strata)
	clusters := n/2 + r.IntN(n/2)
	effects := [3]float64{r.NormFloat64() * 0.5, r.NormFloat64() * 0.6, r.NormFloat64() * 0.4}
	for range n {
		x := [3]float64{math.Round(100*r.NormFloat64()) / 100, float64(r.IntN(2)), float64(r.IntN(5)) - 2}
		eta := 0.0
		for j := range x {
			s.x[j] = append(s.x[j], x[j])
			eta += effects[j] * x[j]
		}
		exit := 1 + int32(math.Min(float64(days), float64(days)*r.ExpFloat64()*math.Exp(-eta)))
		entry := int32(0)
		if s.delayed && r.IntN(2) == 0 {
			entry = int32(r.IntN(int(exit)))
		}
		cause := uint8([]int{0, 1, 1, 2}[r.IntN(4)])
		s.Exit, s.Cause = append(s.Exit, exit), append(s.Cause, cause)
		if s.delayed {
			s.Entry = append(s.Entry, entry)
		}
		s.Stratum = append(s.Stratum, int32(r.IntN(s.strata)))
		s.Cluster = append(s.Cluster, int32(r.IntN(clusters)))
		s.weight = append(s.weight, 0.25+float64(r.IntN(12))/4)
		s.Offset = append(s.Offset, math.Round(100*r.NormFloat64()*0.3)/100)
		yes := 0.0
		if r.Float64() < 1/(1+math.Exp(-eta)) {
			yes = 1
		}
		s.yes = append(s.yes, yes)
		s.count = append(s.count, math.Floor(r.ExpFloat64()*math.Exp(0.5*eta)+0.3))
	}
	if s.strata == 1 {
		s.Stratum = nil
	}
	s.at = float64(1 + r.IntN(days))
	return s
}

func (s *modelSet) columns() []covariates.Column {
	out := make([]covariates.Column, len(s.x))
	for j := range out {
		out[j] = covariates.Column{Name: fmt.Sprint("x", j+1), Values: s.x[j]}
	}
	return out
}

// heavy says that so many events share a time that the exact likelihood of the reference would take long.
func (s *modelSet) heavy() bool {
	seen := map[[2]int32]int{}
	for i, t := range s.Exit {
		if s.Cause[i] == 1 {
			g := int32(0)
			if s.Stratum != nil {
				g = s.Stratum[i]
			}
			seen[[2]int32{t, g}]++
		}
	}
	for _, d := range seen {
		ways := 1.0 // with late entries the reference goes through every choice of the tied events
		for i := range d {
			ways *= float64(len(s.Exit)-i) / float64(i+1)
		}
		if d > 12 || s.delayed && ways > 20_000 {
			return true
		}
	}
	return false
}

func drawAllModels(seed uint64, n int) []modelSet {
	sets := make([]modelSet, n)
	for i := range sets {
		sets[i] = drawModels(random.Stream(seed, "live models", uint64(i)))
	}
	return sets
}

// writeModels puts the sets where the script of the reference reads them.
func writeModels(t *testing.T, dir string, sets []modelSet) {
	t.Helper()
	var rows, list bytes.Buffer
	fmt.Fprintln(&rows, "set,entry,exit,cause,stratum,cluster,weight,off,x1,x2,x3,yes,count")
	fmt.Fprintln(&list, "set,delayed,strata,heavy,at")
	for i := range sets {
		s := &sets[i]
		for k := range s.Exit {
			entry, stratum := int32(0), int32(0)
			if s.Entry != nil {
				entry = s.Entry[k]
			}
			if s.Stratum != nil {
				stratum = s.Stratum[k]
			}
			fmt.Fprintf(&rows, "%d,%d,%d,%d,%d,%d,%v,%v,%v,%v,%v,%v,%v\n", i, entry, s.Exit[k], s.Cause[k], stratum, s.Cluster[k], s.weight[k], s.Offset[k],
				s.x[0][k], s.x[1][k], s.x[2][k], s.yes[k], s.count[k])
		}
		fmt.Fprintf(&list, "%d,%d,%d,%d,%v\n", i, flag(s.delayed), s.strata, flag(s.heavy()), s.at)
	}
	for name, data := range map[string][]byte{"models.csv": rows.Bytes(), "models_sets.csv": list.Bytes()} {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}
