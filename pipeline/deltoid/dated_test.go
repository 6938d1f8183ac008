package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// Five shoulders operated on day 0 and followed until day 1000. Whether a patient smokes became known before the operation
// (A, D), at 100 days (B, C) or at 400 days (E). A is revised on day 200, B on day 300, D on day 50.
const (
	datedRows = "patient,side,day,procedure,occasion,smokes,asked_on\n" +
		"A,left,0,reverse,primary,yes,-10\nB,left,0,reverse,primary,yes,100\nC,left,0,reverse,primary,no,100\n" +
		"D,left,0,reverse,primary,no,-5\nE,left,0,reverse,primary,yes,400\n"
	datedRevisions = "patient,side,day,reason\nA,left,200,wear\nB,left,300,wear\nD,left,50,wear\n"
	datedPlan      = `plan: 1
study: dated
title: Smokers
invented: true
exports:
  procedures:
    files: procedures.csv
    dates: {day: day number, asked_on: day number}
    extra:
      smokes: {type: text, known_on: asked_on}
      asked_on: {type: date}
  revisions: {files: revisions.csv, dates: {day: day number}}
data_cut: 1000
endpoints: {revision: {}}
disclosure: {mask_below: 1, reason: The data are invented.}
analyses:
`
)

// TestWhatBecameKnownLater: a value recorded after the operation is refused as a baseline, in groups, in a table of baseline
// characteristics and as a criterion. The message offers two ways out, and both lead to the numbers worked out by hand.
//
//	Landmark of 100 days: A and B smoke, C does not, E is not recorded by then, D has left. Of the smokers A is revised before
//	day 250: survival 1/2.
//	Split: on day 200 A and B are at risk among the smokers, so survival at 250 is 1/2. Among the others D alone is at risk on
//	day 50, since C joins them on day 100: survival 0.
func TestWhatBecameKnownLater(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "procedures.csv"), datedRows)
	write(t, filepath.Join(dir, "revisions.csv"), datedRevisions)
	const survival = "  - {id: s, kind: implant survival, endpoint: revision, by: smokes, times: [250], unit: days, variance: independent%s}\n"
	planned := func(analysis string) string {
		plan := filepath.Join(dir, "plan.yaml")
		write(t, plan, datedPlan+analysis)
		return plan
	}
	for name, analysis := range map[string]string{
		"groups":   strings.ReplaceAll(survival, "%s", ""),
		"baseline": "  - {kind: baseline characteristics, fields: [smokes]}\n",
		"within": "  - {id: s, kind: implant survival, endpoint: revision, times: [250], unit: days, " +
			"within: {keep: Smokers, where: {smokes: \"yes\"}}}\n",
	} {
		code, _, stderr := call("run", planned(analysis), "--out", filepath.Join(t.TempDir(), "r"))
		if code != exitPlan {
			t.Errorf("%s: exit code %d\n%s", name, code, stderr)
		}
		for _, words := range []string{"plan.yaml:17", "3 values were recorded after the operation", "landmark: …", "split: true"} {
			if !strings.Contains(stderr, words) {
				t.Errorf("%s: the message does not say %q:\n%s", name, words, stderr)
			}
		}
	}
	for choice, want := range map[string]map[string]float64{
		", landmark: 100": {"s.shoulders.yes": 2, "s.shoulders.no": 1, "s.shoulders.not-recorded-by-then": 1, "s.shoulders.all": 4,
			"s.free.yes.250d": 0.5, "s.free.no.250d": 1},
		", split: true": {"s.shoulders.yes": 3, "s.shoulders.no": 2, "s.shoulders.not-recorded-by-then": 3, "s.shoulders.all": 5,
			"s.free.yes.250d": 0.5, "s.free.no.250d": 0},
	} {
		got := readEstimates(t, filepath.Join(outputs(t, planned(strings.ReplaceAll(survival, "%s", choice))), "tables", "estimates.csv"))
		for id, x := range want {
			if got[id] == nil {
				t.Errorf("%s: no estimate %s", choice, id)
				continue
			}
			near(t, choice+" "+id, got[id].number(t, "value"), x)
		}
	}
}
