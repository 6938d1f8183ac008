package main

import (
	"math"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// A simulated study against what is known: the size that Lachin and Foulkes' formula gives (Biometrics 1986;42:507; 430 patients for
// hazards 0.2 and 0.1, loss 0.1, recruitment 0.5 of 2 years, one-sided 2.5%, 90%), and the commonly printed limits of the O'Brien-Fleming-like
// spending function for five looks (4.8769, 3.3569, 2.6803, 2.2898, 2.0310; from memory).
func TestSimulatedStudyAgainstPublished(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "plan.yaml")
	const followed = "first: 0.18126924692201815, at: 1, hazard_ratio: 0.5, loss: 0.09516258196404048, deaths: 0, recruitment: 0.5, follow_up: 1.5, sides: 1, significance: 0.025"
	write(t, file, "power: 1\nstudy: published\ntitle: Published studies\nsimulated:\n"+
		"  - {id: power, "+followed+", patients: 430, replicates: 1000}\n"+
		"  - {id: size, "+followed+", power: 0.9, replicates: 200}\n"+
		"  - {id: looks, first: 0.2, at: 1, hazard_ratio: 1, loss: 0, deaths: 0, recruitment: 1, follow_up: 4, patients: 400, replicates: 300,\n"+
		"     looks: {events: [40, 80, 120, 160, 200], limits: \"spending like O'Brien-Fleming\"}}\n")
	out, _, printed := powered(t, file)
	got := readEstimates(t, filepath.Join(out, "tables", "estimates.csv"))
	value := func(id, column string) float64 { t.Helper(); return got[id].number(t, column) }
	if p := value("power.power-simulated", "value"); math.Abs(p-0.90) > 3*0.3/math.Sqrt(1000) {
		t.Errorf("power %v of 430 patients, published 0.90", p)
	}
	if e := value("power.events", "value"); math.Abs(e-90.1) > 1 {
		t.Errorf("%v events of 430 patients, published 91 (rounded up)", e)
	}
	if low, high := value("size.patients", "lower"), value("size.patients", "upper"); low > 430 || high < 430 {
		t.Errorf("size between %v and %v, published 430", low, high)
	}
	for k, want := range []float64{4.8769, 3.3569, 2.6803, 2.2898, 2.0310} {
		if z := value("looks.look-"+string(rune('1'+k))+".limit", "value"); math.Abs(z-want) > 0.0002 {
			t.Errorf("limit of look %d is %v, printed %v", k+1, z, want)
		}
	}
	if x := value("looks.power-simulated", "value"); math.Abs(x-0.05) > 3*math.Sqrt(0.05*0.95/300)+0.005 {
		t.Errorf("%v find an effect where the hazard ratio is 1", x)
	}
	if !strings.Contains(printed, "430 patients has a power of") {
		t.Errorf("printed %q", printed)
	}
}

// The examples of every key: all have an answer, the same on one processor and on several, and nothing in it is not a number.
func TestSimulatedStudiesSameBytes(t *testing.T) {
	plan := filepath.Join(testdata, "power", "simulated.yaml")
	out, first, _ := powered(t, plan)
	for id, e := range readEstimates(t, filepath.Join(out, "tables", "estimates.csv")) {
		for _, column := range []string{"value", "lower", "upper"} {
			if s := strings.ToLower(e[column]); strings.Contains(s, "nan") || strings.Contains(s, "inf") {
				t.Errorf("%s: %s is %q", id, column, e[column])
			}
		}
		if e["status"] == "masked" || e["value"] == "" && e["note"] == "" {
			t.Errorf("%s: %v", id, e)
		}
	}
	before := runtime.GOMAXPROCS(3)
	defer runtime.GOMAXPROCS(before)
	_, again, _ := powered(t, plan)
	for name, data := range first {
		if string(again[name]) != string(data) {
			t.Errorf("%s differs between runs", name)
		}
	}
}

// A study of three patients has an answer: its figure shows each number of patients once, though several shares of it are the same.
func TestSimulatedStudyOfThreePatients(t *testing.T) {
	file := filepath.Join(t.TempDir(), "few.yaml")
	write(t, file, "power: 1\nstudy: few\ntitle: Few\nsimulated:\n"+
		"  - {id: few, first: 0.3, at: 5, hazard_ratio: 0.5, patients: 3, recruitment: 1, follow_up: 5, deaths: 0, loss: 0, replicates: 100}\n")
	if code, _, stderr := call("power", file, "--out", filepath.Join(t.TempDir(), "report")); code != exitDone {
		t.Errorf("exit %d: %s", code, stderr)
	}
}

// A hazard ratio of 1 is no effect, and no sentence says that one is found.
func TestSimulatedStudyOfNoEffect(t *testing.T) {
	file := filepath.Join(t.TempDir(), "none.yaml")
	write(t, file, "power: 1\nstudy: none\ntitle: None\nsimulated:\n"+
		"  - {id: none, first: 0.3, at: 5, hazard_ratio: 1, patients: 60, recruitment: 1, follow_up: 5, deaths: 0, loss: 0, replicates: 100}\n")
	_, stdout, _ := call("power", file, "--out", filepath.Join(t.TempDir(), "report"))
	if !strings.Contains(stdout, "find a difference between the first group and the second group where there is none (a hazard ratio of 1)") {
		t.Errorf("printed:\n%s", stdout)
	}
}
