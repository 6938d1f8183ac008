package witness_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// set is one set of data with what is asked about it.
type set struct {
	survival.Data
	stratum []int32
	strata  int
	delayed bool
	times   []float64 // of the estimates, rising
	horizon float64   // of the restricted mean
	cuts    []float64 // of follow-up, for rates
}

// draw makes one set: from three rows to some hundreds, from a handful of days (so that nearly all
// is tied) to thousands, with one to four groups, some of them empty or without events.
func draw(r *rand.Rand) set {
	n := []int{3 + r.IntN(10), 20 + r.IntN(60), 100 + r.IntN(200)}[r.IntN(3)]
	days := []int{4, 25, 400, 4000}[r.IntN(4)]
	s := set{delayed: r.IntN(5) < 2, strata: 1 + r.IntN(3)}
	s.Groups, s.Causes = 1+r.IntN(4), 1+r.IntN(3)
	clusters, weighted := 1+r.IntN(n), r.IntN(3) == 0
	eventful := 0.2 + 0.7*r.Float64()
	first := int32(0)
	if s.delayed {
		first = 1 // the reference knows no one who enters late and leaves on day 0
	}
	for range n {
		exit := first + int32(float64(days)*r.Float64()*r.Float64())
		entry := int32(0)
		if s.delayed && r.IntN(2) == 0 {
			entry = int32(r.IntN(int(exit)))
		}
		cause := uint8(0)
		if r.Float64() < eventful {
			cause = uint8(1 + r.IntN(s.Causes))
		}
		s.Entry, s.Exit, s.Cause = append(s.Entry, entry), append(s.Exit, exit), append(s.Cause, cause)
		s.Group, s.stratum = append(s.Group, int32(r.IntN(s.Groups))), append(s.stratum, int32(r.IntN(s.strata)))
		s.Cluster = append(s.Cluster, int32(r.IntN(clusters)))
		if weighted {
			s.Weight = append(s.Weight, 0.25+float64(r.IntN(12))/4)
		}
	}
	last := float64(slices.Max(s.Exit))
	for range 4 {
		s.times = append(s.times, float64(int(last*r.Float64())))
	}
	slices.Sort(s.times)
	s.horizon = max(1, float64(int(last*(0.3+0.6*r.Float64()))))
	s.cuts = []float64{max(1, last/4), max(2, last/2)}
	return s
}

func (s *set) weight(row int) float64 {
	if s.Weight == nil {
		return 1
	}
	return s.Weight[row]
}

// heavyTies says that so many events share a time that the reference, which goes through every way
// of choosing them among all rows, would take long over the exact likelihood.
func (s *set) heavyTies() bool {
	const most = 50_000
	seen := map[[2]int32]int{}
	for i, t := range s.Exit {
		if s.Cause[i] == 1 {
			seen[[2]int32{t, s.stratum[i]}]++
		}
	}
	for _, d := range seen {
		ways := 1.0
		for i := range d {
			ways *= float64(len(s.Exit)-i) / float64(i+1)
		}
		if ways > most {
			return true
		}
	}
	return false
}

func flag(b bool) int {
	if b {
		return 1
	}
	return 0
}

// write puts the sets where the script of the reference reads them.
func write(t *testing.T, dir string, sets []set) {
	t.Helper()
	var rows, list bytes.Buffer
	fmt.Fprintln(&rows, "set,entry,exit,cause,group,stratum,cluster,weight")
	fmt.Fprintln(&list, "set,delayed,weighted,ties,causes,groups,tau,at1,at2,at3,at4,cut1,cut2")
	for i := range sets {
		s := &sets[i]
		for j := range s.Exit {
			fmt.Fprintf(&rows, "%d,%d,%d,%d,%d,%d,%d,%v\n", i, s.Entry[j], s.Exit[j], s.Cause[j], s.Group[j], s.stratum[j], s.Cluster[j], s.weight(j))
		}
		fmt.Fprintf(&list, "%d,%d,%d,%d,%d,%d,%v,%v,%v,%v,%v,%v,%v\n", i, flag(s.delayed), flag(s.Weight != nil), flag(s.heavyTies()), s.Causes,
			s.Groups, s.horizon, s.times[0], s.times[1], s.times[2], s.times[3], s.cuts[0], s.cuts[1])
	}
	for name, data := range map[string][]byte{"rows.csv": rows.Bytes(), "sets.csv": list.Bytes()} {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// drawAll makes the sets of a seed.
func drawAll(seed uint64, n int) []set {
	sets := make([]set, n)
	for i := range sets {
		sets[i] = draw(random.Stream(seed, "live witness", uint64(i)))
	}
	return sets
}

// only returns the rows of one group, as a group of its own.
func (s *set) only(group int32) survival.Data {
	d := survival.Data{Causes: s.Causes}
	for i := range s.Exit {
		if s.Group[i] == group {
			d.Entry, d.Exit, d.Cause = append(d.Entry, s.Entry[i]), append(d.Exit, s.Exit[i]), append(d.Cause, s.Cause[i])
			d.Cluster = append(d.Cluster, s.Cluster[i])
			if s.Weight != nil {
				d.Weight = append(d.Weight, s.Weight[i])
			}
		}
	}
	return d
}
