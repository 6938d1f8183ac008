package witness_test

import (
	"encoding/csv"
	"io"
	"os"
	"strconv"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/survival"
)

// columns is the file that testdata/references/bench/generate.R makes.
type columns struct {
	days, hospital, indication []int32
	cause                      []uint8 // 1 to 5 reasons for revision, 6 death
}

func readColumns(b *testing.B, path string) columns {
	b.Helper()
	f, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.ReuseRecord = true
	var c columns
	for line := 0; ; line++ {
		row, err := r.Read()
		if err == io.EOF {
			return c
		}
		if err != nil {
			b.Fatal(err)
		}
		if line == 0 {
			continue
		}
		var x [5]int
		for i := range x {
			if x[i], err = strconv.Atoi(row[i]); err != nil {
				b.Fatal(err)
			}
		}
		c.hospital, c.indication = append(c.hospital, int32(x[1]-1)), append(c.indication, int32(x[2]))
		c.days, c.cause = append(c.days, int32(x[3])), append(c.cause, uint8(x[4]))
	}
}

// causes returns the causes with revision as 1 and death as 2, or as 0 where death censors.
func (c columns) causes(death uint8) []uint8 {
	out := make([]uint8, len(c.cause))
	for i, x := range c.cause {
		switch {
		case x == 6:
			out[i] = death
		case x > 0:
			out[i] = 1
		}
	}
	return out
}

func count(b *testing.B, d survival.Data) *survival.Counts {
	b.Helper()
	c, err := survival.Count(d)
	if err != nil {
		b.Fatal(err)
	}
	return c
}

// BenchmarkBeside does what times.R has the reference library do, on the file that DELTOID_BENCH names. The rows are
// counted anew in every round.
func BenchmarkBeside(b *testing.B) {
	path := os.Getenv("DELTOID_BENCH")
	if path == "" {
		b.Log("not run: DELTOID_BENCH names no file; testdata/references/bench/run makes one, and times the reference library on it too")
		return
	}
	c := readColumns(b, path)
	revised, either := c.causes(0), c.causes(2)
	byIndication := survival.Data{Exit: c.days, Cause: revised, Group: c.indication, Groups: 3}
	b.Run("product-limit", func(b *testing.B) {
		for b.Loop() {
			counts := count(b, byIndication)
			for g := range 3 {
				counts.ProductLimit(g, 1)
			}
		}
	})
	b.Run("log-rank", func(b *testing.B) {
		for b.Loop() {
			if _, err := survival.LogRank(1, survival.Equal, count(b, byIndication)); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("incidence", func(b *testing.B) {
		for b.Loop() {
			all := competing.All(count(b, survival.Data{Exit: c.days, Cause: c.cause, Causes: 6}), 0)
			for cause := 1; cause <= 6; cause++ {
				all.Cause(cause)
			}
		}
	})
	b.Run("gray", func(b *testing.B) {
		for b.Loop() {
			counts := count(b, survival.Data{Exit: c.days, Cause: either, Group: c.indication, Groups: 3, Causes: 2})
			for g := range 3 {
				all := competing.All(counts, g)
				all.Cause(1)
				all.Cause(2)
			}
			for cause := 1; cause <= 2; cause++ {
				if _, err := competing.Gray(cause, 0, counts); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
	b.Run("hospitals", func(b *testing.B) {
		for b.Loop() {
			counts := count(b, survival.Data{Exit: c.days, Cause: revised, Group: c.hospital, Groups: 400})
			for g := range 400 {
				counts.ProductLimit(g, 1)
			}
			if _, err := survival.LogRank(1, survival.Equal, counts); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("bootstrap", func(b *testing.B) {
		n := min(len(c.days), 10_000)
		for b.Loop() {
			counts := count(b, survival.Data{Exit: c.days[:n], Cause: revised[:n], Group: c.indication[:n], Groups: 3})
			how := survival.Resampling{Replicates: 1000, Seed: 1, Level: 0.95}
			if _, err := counts.BootstrapDifference(0, 1, 1, 5*365.25, how); err != nil {
				b.Fatal(err)
			}
		}
	})
}
