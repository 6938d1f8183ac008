package survival

import (
	"math"
	"runtime"
	"testing"

	"deltoid/stats/random"
)

// resampleData is two groups with ties, events on day 0, and other causes.
func resampleData(seed uint64, n, days int) Data {
	r := random.Stream(seed, "bootstrap data", 0)
	d := Data{Groups: 2, Causes: 2}
	for range n {
		d.Exit = append(d.Exit, int32(r.IntN(days+1)))
		d.Cause = append(d.Cause, uint8(r.IntN(3)))
		d.Group = append(d.Group, int32(r.IntN(2)))
	}
	return d
}

// A twin that writes the drawn rows out, counts them and reads the curve at the time. It draws the
// same rows, one random number for each, from the rule in the comment of redrawn.
func TestReplicatesAgainstRowsDrawnOneByOne(t *testing.T) {
	for seed := range uint64(400) {
		d := resampleData(seed, 10+int(seed%50), 1+int(seed%13))
		counts, err := Count(d)
		if err != nil {
			t.Fatal(err)
		}
		at := float64(seed%7) + 0.5
		got := resample(counts.urn(0, 1, at), counts.urn(1, 1, at), Resampling{Replicates: 3, Seed: seed})
		for i := range got {
			stream := random.Stream(seed, "bootstrap", uint64(i))
			want := slowRedrawn(t, counts, 0, at, stream.Uint64) - slowRedrawn(t, counts, 1, at, stream.Uint64)
			if math.Abs(got[i]-want) > 1e-13 {
				t.Fatalf("seed %d, replicate %d: %v, want %v", seed, i, got[i], want)
			}
		}
	}
}

func slowRedrawn(t *testing.T, c *Counts, group int, at float64, bits func() uint64) float64 {
	table := c.LifeTable(group)
	type leaver struct {
		day   int32
		cause uint8
	}
	var rows []leaver // in the order of the urn: by time, events of the cause first
	for row, day := range table.Time {
		for _, cause := range []uint8{1, 0, 2} {
			for range table.Left[row*3+int(cause)] {
				rows = append(rows, leaver{int32(day), cause})
			}
		}
	}
	d := Data{Causes: 2}
	var word uint64
	for half := false; len(d.Exit) < len(rows); half = !half {
		if half {
			word >>= 32
		} else {
			word = bits()
		}
		n := uint64(len(rows))
		product := (word & math.MaxUint32) * n
		if product&math.MaxUint32 < (1<<32-n)%n {
			continue
		}
		x := rows[product>>32]
		d.Exit, d.Cause = append(d.Exit, x.day), append(d.Cause, x.cause)
	}
	if len(d.Exit) == 0 {
		return 1
	}
	counts, err := Count(d)
	if err != nil {
		t.Fatal(err)
	}
	s := 1.0
	curve := counts.ProductLimit(0, 1)
	for i, time := range curve.Time {
		if time <= at {
			s = curve.Survival[i]
		}
	}
	return s
}

// In a large sample the bootstrap's standard error is Greenwood's (Efron 1981), here within three
// per cent at 4,000 replicates, and the percentiles are where the plain interval has its limits.
func TestBootstrapMeetsGreenwood(t *testing.T) {
	counts, err := Count(resampleData(7, 3000, 1000))
	if err != nil {
		t.Fatal(err)
	}
	got, err := counts.BootstrapDifference(0, 1, 1, 600, Resampling{Replicates: 4000, Seed: 11, Level: 0.95})
	if err != nil || got.Status != Estimated {
		t.Fatal(got, err)
	}
	a, b := counts.ProductLimit(0, 1).At(600), counts.ProductLimit(1, 1).At(600)
	want, err := a.Minus(b, 0)
	if err != nil {
		t.Fatal(err)
	}
	if got.Value != want.Value || math.Abs(got.SE/want.SE-1) > 0.03 || math.Abs(got.Lower-want.Lower) > 0.1*want.SE || math.Abs(got.Upper-want.Upper) > 0.1*want.SE {
		t.Errorf("bootstrap %+v, Greenwood %+v", got, want)
	}
}

func TestBootstrapIsTheSameOnAnyNumberOfProcessors(t *testing.T) {
	counts, err := Count(resampleData(3, 500, 90))
	if err != nil {
		t.Fatal(err)
	}
	how := Resampling{Replicates: 99, Seed: 5, Level: 0.9}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one, err := counts.BootstrapDifference(0, 1, 0, 30, how)
	if err != nil {
		t.Fatal(err)
	}
	runtime.GOMAXPROCS(7)
	if seven, err := counts.BootstrapDifference(0, 1, 0, 30, how); err != nil || seven != one {
		t.Errorf("%+v with one processor, %+v with seven, %v", one, seven, err)
	}
}

func TestBootstrapRefusesWhatItCannotDo(t *testing.T) {
	plain, err := Count(resampleData(3, 60, 20))
	if err != nil {
		t.Fatal(err)
	}
	late, err := Count(Data{Entry: []int32{0, 2}, Exit: []int32{5, 6}, Cause: []uint8{1, 1}, Group: []int32{0, 1}, Groups: 2})
	if err != nil {
		t.Fatal(err)
	}
	weighted, err := Count(Data{Exit: []int32{5, 6}, Cause: []uint8{1, 1}, Group: []int32{0, 1}, Weight: []float64{1, 2}, Groups: 2})
	if err != nil {
		t.Fatal(err)
	}
	good := Resampling{Replicates: 99, Level: 0.95}
	for name, try := range map[string]func() (Resampled, error){
		"late entries":        func() (Resampled, error) { return late.BootstrapDifference(0, 1, 1, 3, good) },
		"weights":             func() (Resampled, error) { return weighted.BootstrapDifference(0, 1, 1, 3, good) },
		"too few replicates":  func() (Resampled, error) { return plain.BootstrapDifference(0, 1, 1, 3, Resampling{20, 1, 0.95}) },
		"a level in per cent": func() (Resampled, error) { return plain.BootstrapDifference(0, 1, 1, 3, Resampling{99, 1, 95}) },
		"an unknown cause":    func() (Resampled, error) { return plain.BootstrapDifference(0, 1, 3, 3, good) },
	} {
		if got, err := try(); err == nil {
			t.Errorf("%s: %+v", name, got)
		}
	}
	if got, err := plain.BootstrapDifference(0, 1, 1, 1000, good); err != nil || got.Status != BeyondFollowUp || got.SE != 0 {
		t.Errorf("beyond follow-up: %+v, %v", got, err)
	}
}

// BenchmarkBootstrap is 1,000 replicates of a difference between two groups of 10,000 in all, with
// whole days over five years.
func BenchmarkBootstrap(b *testing.B) {
	counts, err := Count(resampleData(1, 10_000, 3650))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := counts.BootstrapDifference(0, 1, 1, 5*365.25, Resampling{Replicates: 1000, Level: 0.95}); err != nil {
			b.Fatal(err)
		}
	}
}
