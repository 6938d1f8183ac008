package main

import (
	"bytes"
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"
)

// Published melanoma follow-up drawn again: as many patients see as many events and deaths as there were (57 and 14 of 205);
// four times as many see four times as many; and the smallest detectable effect is close to Schoenfeld's formula for those
// events, (1.960 + 0.842) / √(events/4) on the log scale (Biometrika 68 (1981) 316–319).
func TestNextStudyAgainstTheCohort(t *testing.T) {
	got := modelled{file: "melanoma.csv", plan: melanomaTable + `analyses:
  - {id: own, kind: next study, endpoint: melanoma, power: 0.8, replicates: 400}
  - {id: larger, kind: next study, endpoint: alone, power: 0.8, patients: [410, 820], hazard_ratio: 0.7, replicates: 400, seed: 2}
  - {id: longer, kind: next study, endpoint: alone, power: 0.8, patients: [820], hazard_ratio: 0.7, further: 1, replicates: 400, seed: 2}
`}.run(t)
	value := func(id string) float64 { t.Helper(); return got[id].number(t, "value") }
	within := func(id string, want, by float64) {
		t.Helper()
		if x := value(id); math.Abs(x-want) > by {
			t.Errorf("%s is %v, want %v within %v", id, x, want, by)
		}
	}
	// Three standard errors of a mean of 400 binomial counts.
	within("own.events-expected.as-cohort", 57, 3*math.Sqrt(57.0/400))
	within("own.deaths-expected.as-cohort", 14, 3*math.Sqrt(14.0/400))
	near(t, "deaths of the cohort", value("own.left.died"), 14)
	near(t, "watched to the end", value("own.left.watched"), 134)
	schoenfeld := math.Exp(-(1.959963985 + 0.841621234) / math.Sqrt(57.0/4))
	within("own.detectable-lower.as-cohort", schoenfeld, 0.06)
	within("own.detectable-higher.as-cohort", 1/schoenfeld, 0.25)
	// With a ratio of 0.7 the second half sees nearly 0.7 times as many; the dead of the cohort count as censored by the endpoint alone.
	if e := value("larger.events-expected.820") / value("larger.events-expected.410"); math.Abs(e-2) > 0.06 {
		t.Errorf("twice the patients see %v times the events", e)
	}
	if e := value("larger.events-expected.410"); e < 2*57*0.84 || e > 2*57*0.92 {
		t.Errorf("%v events of 410 patients, half of them with a ratio of 0.7", e)
	}
	if value("larger.power.820") <= value("larger.power.410") || value("longer.events-expected.820") <= value("larger.events-expected.820") {
		t.Errorf("power %v and %v, events %v and %v", value("larger.power.410"), value("larger.power.820"), value("larger.events-expected.820"), value("longer.events-expected.820"))
	}
	want := 1.959963985 - math.Abs(math.Log(0.7))*math.Sqrt(value("larger.events-expected.820")/4)
	within("larger.power.820", 0.5*math.Erfc(want/math.Sqrt2), 0.07)
	// Schoenfeld's size for a power of 0.8: events/(share seen), with 0.88 times as many events when half have a ratio of 0.7.
	needed := got["larger.patients-needed"]
	events := 4 * math.Pow((1.959963985+0.841621234)/math.Log(0.7), 2)
	within("larger.patients-needed", events/(57.0/205*0.88), 130)
	if needed.number(t, "lower") >= needed.number(t, "value") || needed.number(t, "upper") <= needed.number(t, "value") {
		t.Errorf("patients needed: %v", needed)
	}
	// A year more brings a few events more: hardly fewer patients, and certainly not more than chance explains.
	if x := value("longer.patients-needed"); x > needed.number(t, "upper") {
		t.Errorf("longer follow-up needs %v patients, more than %v", x, needed)
	}
	if e := got["larger.power-error.820"]; e.number(t, "value") > 0.026 {
		t.Errorf("Monte-Carlo error %v", e)
	}
}

// Counts that are hidden hide what is drawn from them; a cohort without events says so.
func TestNextStudyOfHiddenCounts(t *testing.T) {
	got := deltoidRun(t, filepath.Join(testdata, "plans", "next-study.yaml"))
	for id, e := range got {
		if strings.Contains(id, "expected") || strings.Contains(id, "detectable") || strings.Contains(id, "needed") || strings.Contains(id, "power.") && strings.HasPrefix(id, "larger.power") {
			if e["status"] != "masked" || e["value"] != "" {
				t.Errorf("%s: %v", id, e)
			}
		}
	}
	none := modelled{file: "melanoma.csv", plan: strings.Replace(melanomaTable, `"1": revised`, `"1": unrevised`, 1) + `analyses:
  - {id: none, kind: next study, endpoint: alone, power: 0.8, hazard_ratio: 0.5, replicates: 100}
`}.run(t)
	for _, id := range []string{"none.power.as-cohort", "none.detectable-lower.as-cohort", "none.detectable-higher.as-cohort", "none.patients-needed"} {
		if e := none[id]; e["status"] != "no events" || e["note"] == "" {
			t.Errorf("%s without events: %v", id, e)
		}
	}
}

// Follow-up that begins late has no answer, and the message says what to do.
func TestNextStudyRefusesLateEntries(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "rows.csv"), "patient,entry_day,follow_up,outcome\na,30,400,revised\nb,,500,unrevised\n")
	write(t, filepath.Join(dir, "plan.yaml"), "plan: 1\nstudy: late\ntitle: Late entries\nexports:\n  shoulders: {files: rows.csv}\nendpoints: {revision: {}}\nanalyses:\n"+
		"  - {kind: next study, endpoint: revision, power: 0.8}\n")
	var stdout, stderr bytes.Buffer
	code := execute(context.Background(), []string{"run", filepath.Join(dir, "plan.yaml"), "--out", filepath.Join(dir, "report")}, &stdout, &stderr)
	if code != exitPlan || !strings.Contains(stderr.String(), "late") {
		t.Errorf("exit code %d: %s", code, stderr.String())
	}
}
