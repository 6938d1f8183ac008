package main

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"deltoid/pipeline/demo"
)

// clinic is an invented clinic whose patients have a score before the operation and two years after it.
type clinic struct {
	procedures, scores, revisions, deaths strings.Builder
	n                                     int
}

// days of the operation, of the scores, and of a revision between the two.
const (
	operated = "2015-06-01"
	before   = "2015-05-20"
	atTwo    = "2017-06-01"
	between  = "2016-06-01"
)

// add adds a patient with one shoulder; a score or an answer that is NaN is missing.
func (c *clinic) add(sex, instrument string, from, to, answer float64) string {
	c.n++
	patient := fmt.Sprintf("p%04d", c.n)
	fmt.Fprintf(&c.procedures, "%s,left,%s,reverse,primary,70,%s\n", patient, operated, sex)
	for _, s := range []struct {
		day, instrument string
		value           float64
	}{{before, instrument, from}, {atTwo, instrument, to}, {atTwo, "rating", answer}} {
		if !math.IsNaN(s.value) {
			fmt.Fprintf(&c.scores, "%s,left,%s,%s,%v\n", patient, s.day, s.instrument, s.value)
		}
	}
	return patient
}

// write puts the clinic with a plan into a folder and returns the path of the plan.
func (c *clinic) write(t *testing.T, exports, analyses string) string {
	t.Helper()
	dir := t.TempDir()
	write(t, filepath.Join(dir, "procedures.csv"), "patient,side,day,procedure,occasion,age,sex\n"+c.procedures.String())
	write(t, filepath.Join(dir, "scores.csv"), "patient,side,day,instrument,value\n"+c.scores.String())
	write(t, filepath.Join(dir, "revisions.csv"), "patient,side,day,reason\n"+c.revisions.String())
	write(t, filepath.Join(dir, "deaths.csv"), "patient,day\n"+c.deaths.String())
	plan := filepath.Join(dir, "plan.yaml")
	write(t, plan, `plan: 1
study: recovery
title: Recovery in an invented clinic
invented: true
exports:
  procedures: {files: procedures.csv}
  revisions: {files: revisions.csv}
  deaths: {files: deaths.csv}
  scores: {files: scores.csv`+exports+`}
data_cut: 2020-12-31
endpoints: {revision: {competing: [died]}}
visits:
  - {label: Before, at: 0, from: -180, to: 0, unit: days}
  - {label: 2 years, at: 24, from: 18, to: 36}
analyses:
`+analyses+"disclosure: {mask_below: 1, reason: Nobody here exists.}\n")
	return plan
}

func close1(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

// Newcombe, Stat. Med. 17 (1998) 873–890, method 10: 56 of 70 against 48 of 80 differ by 0.2000 (0.0524 to 0.3339). Wilson's interval
// of the shares is that of method 3 in the same author's paper on single proportions, here as an equation that its limits
// must solve.
func TestSharesOfRespondersAgainstPublishedIntervals(t *testing.T) {
	c := &clinic{}
	for i := range 150 {
		sex, improves := "female", i < 56
		if i >= 70 {
			sex, improves = "male", i-70 < 48
		}
		to := 40.0 // 10 points better
		if improves {
			to = 50
		}
		c.add(sex, "constant", 30, to, math.NaN())
	}
	for range 6 { // known before, and not after: no part of the complete cases
		c.add("female", "constant", 30, math.NaN(), math.NaN())
	}
	c.add("male", "constant", math.NaN(), 90, math.NaN()) // no score before: nothing can be said of change
	rows := deltoidRun(t, c.write(t, "", `  - kind: recovery
    id: r
    endpoint: revision
    instrument: constant
    by: sex
    order: [male, female]
    thresholds: [{points: 20, reason: the example}, {points: 10, reason: the example}]
`))
	d := rows["r.2-years.difference.female"]
	close1(t, "difference", d.number(t, "value"), 0.2, 1e-12)
	close1(t, "lower limit", d.number(t, "lower"), 0.0524, 5e-5)
	close1(t, "upper limit", d.number(t, "upper"), 0.3339, 5e-5)
	share := rows["r.2-years.threshold-1.share.female"]
	close1(t, "share", share.number(t, "value"), 0.8, 1e-12)
	for _, limit := range []float64{share.number(t, "lower"), share.number(t, "upper")} { // Wilson: |p − π| = z √(π(1−π)/n)
		close1(t, "distance of a limit", math.Abs(0.8-limit), 1.959963984540054*math.Sqrt(limit*(1-limit)/70), 1e-9)
	}
	for id, want := range map[string]float64{"counted.female": 76, "scored.female": 70, "missing.female": 6, "no-before.male": 1, "counted.all": 156,
		"threshold-1.reached.all": 104, "threshold-2.reached.all": 150, "threshold-1.least.female": 56.0 / 76, "threshold-1.most.female": 62.0 / 76, "change.male": 10*32.0/80 + 20*48.0/80} {
		close1(t, id, rows["r.2-years."+id].number(t, "value"), want, 1e-12)
	}
}

// A revised shoulder is no missing one: it counts as the plan says, and so does one whose patient died. Worked out by hand.
func TestRevisedAndDeadCountAsThePlanSays(t *testing.T) {
	c := &clinic{}
	for i := range 40 {
		c.add("female", "constant", 30, 40+float64(i%2)*20, math.NaN()) // every second one improves by 30
	}
	for range 6 {
		fmt.Fprintf(&c.revisions, "%s,left,%s,infection\n", c.add("female", "constant", 30, math.NaN(), math.NaN()), between)
	}
	for range 4 {
		fmt.Fprintf(&c.deaths, "%s,%s\n", c.add("female", "constant", 30, math.NaN(), math.NaN()), between)
	}
	for _, tt := range []struct {
		revised, died                   string
		counted, ruled, missing         float64
		share, weighted, least, highest float64
	}{
		{"not improved", "left out", 46, 6, 0, 0.5, 20.0 / 46, 20.0 / 46, 20.0 / 46},
		{"left out", "left out", 40, 0, 0, 0.5, 0.5, 0.5, 0.5},
		{"missing", "left out", 46, 0, 6, 0.5, 0.5, 20.0 / 46, 26.0 / 46},
		{"not improved", "not improved", 50, 10, 0, 0.5, 0.4, 0.4, 0.4},
		{"not improved", "missing", 50, 6, 4, 0.5, (20 * 44.0 / 40) / 50, 0.4, 24.0 / 50},
	} {
		rows := deltoidRun(t, c.write(t, "", `  - kind: recovery
    id: r
    endpoint: revision
    instrument: constant
    thresholds: [{points: 20, reason: the example}]
    revised: `+tt.revised+"\n    died: "+tt.died+"\n"))
		for id, want := range map[string]float64{"counted.all": tt.counted, "ruled.all": tt.ruled, "missing.all": tt.missing, "threshold-1.share.all": tt.share,
			"threshold-1.weighted.all": tt.weighted, "threshold-1.least.all": tt.least, "threshold-1.most.all": tt.highest} {
			close1(t, tt.revised+", "+tt.died+": "+id, rows["r.2-years."+id].number(t, "value"), want, 1e-6)
		}
	}
}

// readForty returns the forty rows of the data that the thresholds of every method were worked out for with R 4.2.2: MASS,
// stats and pROC; see testdata/README.md. The pairs of scores are kept as they are.
func readForty(t *testing.T) (rows [][4]float64) {
	t.Helper()
	f, err := os.Open(filepath.Join(testdata, "published", "data", "mcid40_synthetic.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range records[1:] {
		var row [4]float64
		for i, at := range []int{1, 2, 4} {
			if row[i], err = strconv.ParseFloat(r[at], 64); err != nil {
				t.Fatal(err)
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// The thresholds of forty patients: 16.6, 10.9, 12.3, 11.0 and 8.5 points by method, and the cut point 11.5.
func TestThresholdsOfFortyPatients(t *testing.T) {
	c := &clinic{}
	for _, row := range readForty(t) {
		c.add("female", "ases", row[0], row[1], row[2])
	}
	rows := deltoidRun(t, c.write(t, "", `  - kind: thresholds
    id: t
    endpoint: revision
    instrument: ases
    anchor: {instrument: rating, unchanged: 0, minimal: 1, reliability: 0.7}
    reliability: 0.9
    replicates: 100
`))
	for id, want := range map[string]float64{"mean-change-of-the-minimally-improved": 16.57142857, "difference-of-mean-changes": 10.9047619,
		"predictive-modelling": 12.314665158, "predictive-modelling-adjusted-for-the-proportion-improved": 10.983638570,
		"predictive-modelling-adjusted-for-reliability": 8.516539591, "cut-point-by-youden-s-index": 11.5, "half-a-standard-deviation": 3.48988924,
		"standard-error-of-measurement": 2.20719976, "smallest-detectable-change-95": 6.11793317, "smallest-detectable-change-90": 5.13433137,
		"effect-size": 2.46426159, "standardised-response-mean": 1.32636117, "cut-point-by-youden-s-index.sensitivity": .923076923,
		"checks.by-rank": .912072003, "checks.area": .961538462} {
		if got, ok := rows["t.minimal."+id]; !ok {
			t.Errorf("no estimate %s", id)
		} else {
			close1(t, id, got.number(t, "value"), want, 1e-6)
		}
	}
}

// The invented registry has true thresholds. The method that is adjusted for the reliability of the answers finds them
// within what chance and its own approximation allow: three standard errors and a point. The plain method does not, since more than half improve.
func TestTrueThresholdsOfTheInventedRegistry(t *testing.T) {
	plan, err := demo.Write(t.TempDir(), demo.Options{Shoulders: 20_000, Seed: 5}, nil)
	if err != nil {
		t.Fatal(err)
	}
	rows, truth := deltoidRun(t, plan), demo.TrueThreshold()
	for of, want := range map[string]float64{"minimal": truth.Minimal, "substantial": truth.Substantial, "acceptable": truth.Acceptable} {
		got := rows["what-matters."+of+".predictive-modelling-adjusted-for-reliability"]
		se := (got.number(t, "upper") - got.number(t, "lower")) / (2 * 1.96)
		close1(t, of+" threshold", got.number(t, "value"), want, 3*se+1)
		if plain := rows["what-matters."+of+".predictive-modelling"]; !(plain.number(t, "value") > got.number(t, "value")+1) {
			t.Errorf("the plain method finds %v for the %s threshold, the adjusted one %v: there should be a bias to adjust for", plain.number(t, "value"), of, got.number(t, "value"))
		}
	}
	share := rows["recovery.2-years.threshold-1.share.all"]
	if goal := rows["recovery.threshold-1"]; goal.number(t, "value") != rows["what-matters.minimal.predictive-modelling-adjusted-for-reliability"].number(t, "value") || !(share.number(t, "lower") < share.number(t, "value") && share.number(t, "value") < share.number(t, "upper")) {
		t.Errorf("the derived threshold is %+v, the share %+v", goal, share)
	}
}

// reported runs a plan and returns the text of the report with its estimates.
func reported(t *testing.T, plan string) (string, map[string]row) {
	t.Helper()
	out := filepath.Join(t.TempDir(), "report")
	if code, stdout, stderr := call("run", plan, "--out", out); code != exitDone {
		t.Fatalf("exit code %d\n%s%s", code, stdout, stderr)
	}
	text, err := os.ReadFile(filepath.Join(out, "report.md"))
	if err != nil {
		t.Fatal(err)
	}
	return string(text), readEstimates(t, filepath.Join(out, "tables", "estimates.csv"))
}

// What cannot be answered says so: never a number that looks fine.
func TestScoresThatCannotAnswer(t *testing.T) {
	const questions = `  - kind: thresholds
    id: t
    endpoint: revision
    instrument: oxford
    anchor: {instrument: rating, unchanged: 0, minimal: 1}
    replicates: 100
  - kind: recovery
    id: r
    endpoint: revision
    instrument: oxford
    by: sex
    thresholds: [{derived: t, method: predictive}, {points: 6, reason: the example}]
`
	forty := func(change func(i int, row *[4]float64)) *clinic {
		c := &clinic{}
		for i, row := range readForty(t) {
			row[0], row[1] = 12+row[0]*0.3, 12+row[1]*0.3 // on a scale of 0 to 48, and on one of 12 to 60
			change(i, &row)
			c.add([]string{"female", "male"}[i%2], "oxford", math.Round(row[0]), math.Round(row[1]), row[2])
		}
		return c
	}
	tests := map[string]struct {
		clinic  *clinic
		exports string
		says    []string
		none    string // estimate that has no value
	}{
		"no answer at the visit": {forty(func(_ int, r *[4]float64) { r[2] = math.NaN() }), "",
			[]string{"no shoulder has the scores and an answer at 2 years; ask about a visit at which the question was put", "the analysis of thresholds does not give it"}, "t.minimal.predictive-modelling"},
		"all answers the same": {forty(func(_ int, r *[4]float64) { r[2] = 1 }), "",
			[]string{"all answers are the same, and what does not vary says nothing"}, "t.minimal.mean-change-of-the-minimally-improved"},
		"the scale the wrong way round": {forty(func(_ int, r *[4]float64) { r[0], r[1] = 60-r[0], 60-r[1] }), "",
			[]string{"the answers run against the score", "Read with care: in the mean the Oxford Shoulder Score is worse", "0-48, 12-60: see whether the plan declares the right one under scales"}, "t.minimal.cut-point-by-youden-s-index"},
		"one visit only": {forty(func(_ int, r *[4]float64) { r[0] = math.NaN() }), "",
			[]string{"no shoulder has a score both before the operation and at this visit; see whether the export has this score at these visits, or ask about the state in place of the change"}, "r.2-years.threshold-2.share.all"},
		"a group of one": {forty(func(i int, r *[4]float64) {
			if i%2 == 1 && i > 1 {
				r[0] = math.NaN()
			}
		}), "", []string{"not identifiable"}, "r.2-years.sd.male"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			text, rows := reported(t, tt.clinic.write(t, tt.exports, questions))
			for _, words := range tt.says {
				if !strings.Contains(text, words) {
					t.Errorf("the report does not say %q", words)
				}
			}
			if e, ok := rows[tt.none]; !ok || e["value"] != "" || e["status"] == "estimated" || e["note"] == "" {
				t.Errorf("%s is %+v", tt.none, e)
			}
		})
	}
}

// On the scale of 12 to 60 that the plan declares, or that the version of a value names, the same patients give the same answer
// as on ours.
func TestTheDeclaredScaleChangesNoAnswer(t *testing.T) {
	run := func(turned bool, exports, version string) map[string]row {
		c := &clinic{}
		for _, row := range readForty(t) {
			from, to := math.Round(12+row[0]*0.3), math.Round(12+row[1]*0.3)
			if turned {
				from, to = 60-from, 60-to
			}
			c.add("female", "oxford", from, to, row[2])
		}
		plan := c.write(t, exports, "  - {kind: recovery, id: r, endpoint: revision, instrument: oxford, thresholds: [{published: liu-2023-oxford-difference}, {points: 6, reason: the example}]}\n")
		if version != "" {
			edit(t, filepath.Join(filepath.Dir(plan), "scores.csv"), func(text string) string {
				return strings.Replace(strings.ReplaceAll(text, "\n", ","+version+"\n"), "value,"+version, "value,version", 1)
			})
		}
		return deltoidRun(t, plan)
	}
	ours := run(false, "", "")
	for name, theirs := range map[string]map[string]row{"declared": run(true, ", scales: {oxford: 12-60}", ""), "version": run(true, "", "12-60"),
		"version against the plan": run(false, ", scales: {oxford: 12-60}", "0-48")} {
		if len(ours) == 0 || len(ours) != len(theirs) {
			t.Fatalf("%s: %d and %d estimates", name, len(ours), len(theirs))
		}
		for id, want := range ours {
			if got := theirs[id]["value"]; got != want["value"] {
				t.Errorf("%s: %s: %s on the scale of 12 to 60, %s on ours", name, id, got, want["value"])
			}
		}
	}
}

// Areas, their intervals by DeLong and their comparison: pROC 1.18.0 on aSAH, 41 patients with a poor outcome among 113. Two of
// its markers stand in for scores; an area is that of ranks, so that a factor changes nothing.
func TestDiscriminationAgainstPublishedAreas(t *testing.T) {
	f, err := os.Open(filepath.Join(testdata, "references", "data", "asah.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := func(r []string, name string) string {
		for i, header := range records[0] {
			if header == name {
				return r[i]
			}
		}
		t.Fatalf("no column %s", name)
		return ""
	}
	c := &clinic{}
	for _, r := range records[1:] {
		marker, err := strconv.ParseFloat(column(r, "s100b"), 64)
		if err != nil {
			t.Fatal(err)
		}
		grade, err := strconv.ParseFloat(column(r, "wfns"), 64)
		if err != nil {
			t.Fatal(err)
		}
		sex := map[string]string{"1": "female", "0": "male"}[column(r, "outcome")] // what is to be found
		patient := c.add(sex, "ases", math.NaN(), math.Round(marker*4000)/100, math.NaN())
		fmt.Fprintf(&c.scores, "%s,left,%s,constant,%v\n", patient, atTwo, 20*grade)
	}
	rows := deltoidRun(t, c.write(t, "", "  - {kind: discrimination, id: d, endpoint: revision, instruments: [constant, ases], visits: [2 years], positive: {keep: Poor outcome, where: {sex: female}}}\n"))
	for id, want := range map[string][3]float64{"first.area": {.8236788618, .7485348878, .8988228358}, "second.area": {.7313685637, .6301182118, .8326189156},
		"difference": {.8236788618 - .7313685637, .01040617696, .17421441925}} {
		close1(t, id, rows["d."+id].number(t, "value"), want[0], 1e-9)
		close1(t, id+", lower", rows["d."+id].number(t, "lower"), want[1], 1e-9)
		close1(t, id+", upper", rows["d."+id].number(t, "upper"), want[2], 1e-9)
	}
	close1(t, "p", rows["d.p"].number(t, "value"), .02717578223, 1e-9)
	close1(t, "sensitivity of s100b", rows["d.second.sensitivity"].number(t, "value"), 26.0/41, 1e-12)
	close1(t, "specificity of s100b", rows["d.second.specificity"].number(t, "value"), 58.0/72, 1e-12)
}

// The table 20, 5, 10, 15 of the usual example of kappa: 0.4000 with a standard error of 0.12699606. Limits of agreement by their formula.
func TestAgreementOfTwoMeasurements(t *testing.T) {
	c := &clinic{}
	var differences []float64
	for _, cell := range []struct {
		n        int
		from, to float64
	}{{20, 60, 60}, {5, 60, 40}, {10, 40, 60}, {15, 40, 40}} {
		for range cell.n {
			c.add("female", "ases", cell.from, cell.to, math.NaN())
			differences = append(differences, cell.from-cell.to)
		}
	}
	rows := deltoidRun(t, c.write(t, "", "  - {kind: agreement, id: a, endpoint: revision, instrument: ases, visits: [Before, 2 years], cuts: [50]}\n"))
	kappa := rows["a.kappa"]
	close1(t, "kappa", kappa.number(t, "value"), 0.4, 1e-12)
	close1(t, "upper limit of kappa", kappa.number(t, "upper"), 0.4+1.959963984540054*0.12699606, 1e-8)
	bias, squares := 0.0, 0.0
	for _, d := range differences {
		bias += d / 50
	}
	for _, d := range differences {
		squares += (d - bias) * (d - bias)
	}
	sd := math.Sqrt(squares / 49)
	for id, want := range map[string]float64{"both": 50, "bias": bias, "lower-limit": bias - 1.959963984540054*sd, "upper-limit": bias + 1.959963984540054*sd, "sem": sd / math.Sqrt2} {
		close1(t, id, rows["a."+id].number(t, "value"), want, 1e-9)
	}
}

// Twelve patients of twenty differ in who reached the threshold, ten for the reverse replacement: McNemar's exact p is 2 (1 + 12 + 66)/4096.
func TestTwoProceduresInOnePatient(t *testing.T) {
	c := &clinic{}
	for i := range 20 {
		reverse, anatomic := 40.0, 40.0 // 10 points better
		if i < 10 || i >= 12 && i < 16 {
			reverse = 60
		}
		if i >= 10 && i < 16 {
			anatomic = 60
		}
		patient := c.add("female", "ases", 30, reverse, math.NaN())
		fmt.Fprintf(&c.procedures, "%s,right,%s,anatomic,primary,70,female\n", patient, operated)
		fmt.Fprintf(&c.scores, "%s,right,%s,ases,30\n%s,right,%s,ases,%v\n", patient, before, patient, atTwo, anatomic)
	}
	text, rows := reported(t, c.write(t, "", "  - {kind: within patient, id: w, endpoint: revision, instrument: ases, by: procedure, order: [reverse, anatomic], thresholds: [{points: 20, reason: the example}]}\n"))
	for id, want := range map[string]float64{"pairs": 20, "both": 20, "mean-first": 10 + 20*14.0/20, "mean-second": 10 + 20*6.0/20, "difference": 8, "share-difference": 0.4,
		"mcnemar": 2 * (1 + 12 + 66) / 4096.0} {
		close1(t, id, rows["w."+id].number(t, "value"), want, 1e-12)
	}
	for _, words := range []string{"In 20 patients with reverse total shoulder replacement on one side and anatomic total shoulder replacement on the other", "falls out of their difference"} {
		if !strings.Contains(strings.ToLower(text), strings.ToLower(words)) {
			t.Errorf("the report does not say %q", words)
		}
	}
}

// A share of pairs gives its count away: three of twenty are masked with it, and the mean difference of twenty is not.
func TestSharesOfFewPairsAreMasked(t *testing.T) {
	c := &clinic{}
	for i := range 20 {
		patient := c.add("female", "ases", 30, map[bool]float64{true: 60, false: 40}[i < 3], math.NaN())
		fmt.Fprintf(&c.procedures, "%s,right,%s,anatomic,primary,70,female\n", patient, operated)
		fmt.Fprintf(&c.scores, "%s,right,%s,ases,30\n%s,right,%s,ases,%v\n", patient, before, patient, atTwo, 55+float64(i))
	}
	plan := c.write(t, "", "  - {kind: within patient, id: w, endpoint: revision, instrument: ases, by: procedure, order: [reverse, anatomic], thresholds: [{points: 20, reason: the example}]}\n")
	edit(t, plan, func(text string) string { return strings.Replace(text, "mask_below: 1", "mask_below: 5", 1) })
	rows := deltoidRun(t, plan)
	if e := rows["w.share-first"]; e["status"] != "masked" || e["value"] != "" {
		t.Errorf("three of twenty pairs are shown: %+v", e)
	}
	if e := rows["w.difference"]; e["status"] != "estimated" {
		t.Errorf("the mean difference of twenty pairs is hidden: %+v", e)
	}
}
