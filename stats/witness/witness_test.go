package witness_test

import (
	cryptorand "crypto/rand"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
)

const (
	scripts = "../../testdata/references/scripts"
	setsN   = 250
)

// unrun is printed where the reference library was not asked for.
const unrun = "not run: the live comparison of curves, intervals, quantiles, restricted means, log-rank and Gray's tests, " +
	"incidences, clustered variances and rates with the reference library on freshly drawn data; set DELTOID_R=Rscript to run it. " +
	"The stored results in testdata/references were compared by the tests of each package."

func TestMain(m *testing.M) {
	if os.Getenv("DELTOID_R") == "" {
		fmt.Println(unrun)
	}
	os.Exit(m.Run())
}

// freshSeed is DELTOID_SEED, or a new one.
func freshSeed(t *testing.T) uint64 {
	t.Helper()
	if text := os.Getenv("DELTOID_SEED"); text != "" {
		seed, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			t.Fatalf("DELTOID_SEED is %q, want a whole number", text)
		}
		return seed
	}
	var b [8]byte
	if _, err := cryptorand.Read(b[:]); err != nil {
		t.Fatal(err)
	}
	return binary.LittleEndian.Uint64(b[:])
}

func TestBesideTheReferenceLibrary(t *testing.T) {
	program := os.Getenv("DELTOID_R")
	if program == "" {
		t.Log(unrun)
		return
	}
	seed := freshSeed(t)
	t.Logf("seed %d: DELTOID_SEED=%d draws the same %d sets again", seed, seed, setsN)
	sets := drawAll(seed, setsN)
	c := comparison{T: t, seed: seed, seen: map[string]int{}, worst: map[string]float64{}}
	for i, theirs := range askReference(t, program, sets) {
		c.set(i, &sets[i], &theirs)
	}
	c.summary()
}

// askReference has the sets analysed and reads the results.
func askReference(t *testing.T, program string, sets []set) []known {
	t.Helper()
	dir := t.TempDir()
	write(t, dir, sets)
	run := exec.Command(program, "live.R", dir)
	run.Dir = scripts
	if out, err := run.CombinedOutput(); err != nil {
		t.Fatalf("%s live.R: %v\n%s", program, err, out)
	}
	b, err := os.ReadFile(filepath.Join(dir, "live.json"))
	if err != nil {
		t.Fatal(err)
	}
	var read struct {
		Software map[string]any
		Sets     []known
	}
	if err := json.Unmarshal(b, &read); err != nil {
		t.Fatal(err)
	}
	if len(read.Sets) != len(sets) {
		t.Fatalf("%d sets came back, want %d", len(read.Sets), len(sets))
	}
	t.Logf("reference: %v", read.Software)
	return read.Sets
}

// known is what the reference says about a set. A number that it does not give is NaN.
type known struct {
	Groups []*struct {
		Curve *struct {
			Plain, Log, Loglog, Logit, Arcsine       knownCurve
			Quantile, Quantile_lower, Quantile_upper numbers
			Mean                                     numbers
			Hazard, Hazard_se                        numbers
		}
		Robust    *struct{ Survival, SE numbers }
		Incidence *struct {
			Jackknife []struct{ Incidence, SE numbers }
			Aalen     []*struct{ Incidence, Variance numbers }
		}
		Rates *struct {
			Events                       int64
			Exposure                     float64
			Exact, Midp                  numbers
			Stretch_time, Stretch_events numbers
		}
	}
	Tests *struct {
		Logrank, Early, Gray, Gray_early, Logrank_exact, Clustered *float64
	}
	Joint   *struct{ Survival, Incidence numbers }
	Effects *struct{ Rate, Ratio *float64 }
	Ratio   *struct {
		Ratio            any
		Limits           numbers
		P_lower, P_upper float64
	}
}

type knownCurve struct{ Survival, SE, Lower, Upper numbers }

// numbers is a column in which null is NaN and "Infinity" is that.
type numbers []float64

func (n *numbers) UnmarshalJSON(b []byte) error {
	var list []any
	if err := json.Unmarshal(b, &list); err != nil {
		return err
	}
	for _, x := range list {
		switch x := x.(type) {
		case float64:
			*n = append(*n, x)
		case string:
			*n = append(*n, math.Inf(1))
		default:
			*n = append(*n, math.NaN())
		}
	}
	return nil
}
