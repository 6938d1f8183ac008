package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// children writes the children of a file of the references as patients with one shoulder each, operated on at eight years less a year, and
// their distances at 8, 10, 12 and 14 years as scores. It returns the lines of the two tables.
func children(t *testing.T, file string) (procedures, scores string) {
	t.Helper()
	f, err := os.Open(filepath.Join(testdata, "references", "data", file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range records[0] {
		at[name] = i
	}
	var p, s strings.Builder
	p.WriteString("patient,side,day,procedure,occasion,sex,age\n")
	s.WriteString("patient,side,day,instrument,value\n")
	seen := map[string]bool{}
	for _, r := range records[1:] {
		child, sex := r[at["Subject"]], strings.ToLower(r[at["Sex"]])
		if !seen[child] {
			seen[child] = true
			fmt.Fprintf(&p, "%s,left,1000,reverse,primary,%s,70\n", child, sex)
		}
		age, err := strconv.Atoi(r[at["age"]])
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&s, "%s,left,%d,constant,%s\n", child, 1000+365*(age-7), r[at["distance"]])
	}
	return p.String(), s.String()
}

const childrenPlan = `plan: 1
study: open-data
title: Published open data
exports:
  procedures: {files: procedures.csv, dates: {day: day number}}
  revisions: {files: revisions.csv, dates: {day: day number}}
  scores: {files: scores.csv, dates: {day: day number}}
data_cut: 9000
disclosure: {mask_below: 1, reason: The data are published row by row.}
endpoints:
  revision: {}
visits:
  - {label: 8 years, at: 365, from: 300, to: 400, unit: days}
  - {label: 10 years, at: 1095, from: 1000, to: 1200, unit: days}
  - {label: 12 years, at: 1825, from: 1700, to: 1900, unit: days}
  - {label: 14 years, at: 2555, from: 2500, to: 2600, unit: days}
analyses:
`

func runChildren(t *testing.T, file, analyses string) map[string]row {
	t.Helper()
	dir := t.TempDir()
	procedures, scores := children(t, file)
	write(t, filepath.Join(dir, "procedures.csv"), procedures)
	write(t, filepath.Join(dir, "scores.csv"), scores)
	write(t, filepath.Join(dir, "revisions.csv"), "patient,side,day,reason\n")
	write(t, filepath.Join(dir, "plan.yaml"), childrenPlan+analyses)
	return deltoidRun(t, filepath.Join(dir, "plan.yaml"))
}

// Published open data through the whole program, against the mixed models of an independent maximisation beside nlme 3.1-162
// (testdata/references/expected/lmm_orthodont.json): distance by visit and sex with an unstructured covariance, whose means by visit
// and group, and differences, are sums of coefficients. The scores are complete, so that intervals are Student's with 25 degrees of freedom.
func TestRepeatedScoresAgainstReference(t *testing.T) {
	got := runChildren(t, "orthodont.csv", `  - {id: un, kind: repeated scores, endpoint: revision, instrument: constant, by: sex, order: [male, female], dropout: {worse_by: [2]}}
  - {id: cs, kind: repeated scores, endpoint: revision, instrument: constant, by: sex, order: [male, female], covariance: [compound symmetric], degrees_of_freedom: Satterthwaite}
`)
	var want struct {
		Results struct {
			Direct map[string]struct {
				Coef []float64
				VCov [][]float64
			}
		}
	}
	reference(t, "lmm_orthodont", &want)
	const student25 = 2.0595385527532977 // t of 25 degrees of freedom at 0.975, from tables to four places, here from R's qt
	for id, name := range map[string]string{"un": "un_reml", "cs": "cs_reml"} {
		r := want.Results.Direct[name]
		for v, visit := range []string{"8-years", "10-years", "12-years", "14-years"} {
			male, difference := make([]float64, 8), make([]float64, 8)
			male[0], difference[4] = 1, 1
			if v > 0 {
				male[v], difference[4+v] = 1, 1
			}
			for at, weights := range map[string][]float64{".mean.male": male, ".difference.female": difference} {
				estimate, variance := 0.0, 0.0
				for j, a := range weights {
					estimate += a * r.Coef[j]
					for k, b := range weights {
						variance += a * r.VCov[j][k] * b
					}
				}
				e := got[id+"."+visit+at]
				if math.Abs(e.number(t, "value")-estimate) > 1e-6*math.Max(1, math.Abs(estimate)) {
					t.Errorf("%s %s%s = %v, want %v", id, visit, at, e.number(t, "value"), estimate)
				}
				half := (e.number(t, "upper") - e.number(t, "lower")) / 2
				if id == "un" && math.Abs(half-student25*math.Sqrt(variance)) > 1e-5*half {
					t.Errorf("%s %s%s: half-width %v, want %v", id, visit, at, half, student25*math.Sqrt(variance))
				}
			}
			close6(t, "scores", got[id+"."+visit+".scores.male"].number(t, "value"), 16)
		}
	}
	close6(t, "missing", got["un.14-years.missing.all"].number(t, "value"), 0)
	close6(t, "nothing missing, nothing moved", got["un.14-years.worse-2.mean.male"].number(t, "value"), got["un.14-years.mean.male"].number(t, "value"))
}

// The same with dropout, where compound symmetry of all visits and groups has no closed form: the share of missing scores times the points is
// what a mean moves by.
func TestRepeatedScoresWithDropout(t *testing.T) {
	got := runChildren(t, "orthodont_dropout.csv", `  - {id: un, kind: repeated scores, endpoint: revision, instrument: constant, by: sex, order: [male, female], dropout: {worse_by: [2]}, covariance: [unstructured, autoregressive]}
`)
	for _, group := range []string{"male", "female"} {
		missing, due := got["un.14-years.missing."+group].number(t, "value"), got["un.14-years.due."+group].number(t, "value")
		mean, moved := got["un.14-years.mean."+group].number(t, "value"), got["un.14-years.worse-2.mean."+group].number(t, "value")
		if missing == 0 || math.Abs(mean-2*missing/due-moved) > 1e-9 {
			t.Errorf("%s: %v of %v missing move the mean from %v to %v", group, missing, due, mean, moved)
		}
	}
	if got["un.covariance-autoregressive.p"].number(t, "value") >= 0.05 {
		t.Error("the reference's log-likelihoods of the two covariances are 8 apart")
	}
}

// Scores that no model can answer for: no value anywhere, and words that say why.
func TestRepeatedScoresWithoutAnAnswer(t *testing.T) {
	const analysis = `  - {id: r, kind: repeated scores, endpoint: revision, instrument: constant, by: sex, dropout: {worse_by: [5]}}
`
	procedures, scores := children(t, "orthodont.csv")
	lines := strings.Split(strings.TrimSpace(scores), "\n")
	keep := func(change func(fields []string) bool) string {
		out := lines[0] + "\n"
		for _, line := range lines[1:] {
			if fields := strings.Split(line, ","); change(fields) {
				out += strings.Join(fields, ",") + "\n"
			}
		}
		return out
	}
	for name, c := range map[string]struct{ scores, says string }{
		"one visit": {keep(func(f []string) bool { return f[2] == "1365" }), "two visits of the model"},
		"nothing":   {keep(func([]string) bool { return false }), "too few scores"},
		"constant":  {keep(func(f []string) bool { f[4] = "70"; return true }), "do not vary"},
		"ceiling": {keep(func(f []string) bool {
			if f[2] == "3555" {
				f[4] = "100"
			}
			return true
		}), "come out as exact functions"},
		"one group": {keep(func(f []string) bool { return strings.HasPrefix(f[0], "M") || f[2] == "1365" }), "no score at a visit"},
	} {
		dir := t.TempDir()
		write(t, filepath.Join(dir, "procedures.csv"), procedures)
		write(t, filepath.Join(dir, "scores.csv"), c.scores)
		write(t, filepath.Join(dir, "revisions.csv"), "patient,side,day,reason\n")
		write(t, filepath.Join(dir, "plan.yaml"), childrenPlan+strings.Replace(analysis, "by: sex", "by: sex, covariance: [unstructured]", 1))
		out := filepath.Join(dir, "report")
		var stdout, stderr bytes.Buffer
		if code := execute(context.Background(), []string{"run", filepath.Join(dir, "plan.yaml"), "--out", out}, &stdout, &stderr); code != exitDone {
			t.Fatalf("%s: exit code %d\n%s%s", name, code, stdout.String(), stderr.String())
		}
		got := readEstimates(t, filepath.Join(out, "tables", "estimates.csv"))
		page, err := os.ReadFile(filepath.Join(out, "report.md"))
		if err != nil {
			t.Fatal(name, err)
		}
		said := string(page)
		for id, e := range got {
			if strings.HasPrefix(id, "r.") {
				said += e["note"]
				for _, part := range []string{"value", "lower", "upper"} {
					if strings.Contains(e[part], "NaN") || strings.Contains(e[part], "Inf") {
						t.Errorf("%s: %s of %s is %s", name, part, id, e[part])
					}
				}
			}
		}
		if !strings.Contains(said, c.says) {
			t.Errorf("%s: nothing says %q", name, c.says)
		}
		if e, ok := got["r.14-years.mean.female"]; ok && e["value"] != "" {
			t.Errorf("%s: a mean of %s", name, e["value"])
		}
	}
}

// A group for each child is more than one model takes.
func TestRepeatedScoresOfTooManyGroups(t *testing.T) {
	var procedures, scores strings.Builder
	procedures.WriteString("patient,side,day,procedure,occasion,sex,age,hospital\n")
	scores.WriteString("patient,side,day,instrument,value\n")
	for i := range 41 {
		fmt.Fprintf(&procedures, "p%d,left,1000,reverse,primary,male,70,h%d\n", i, i)
		for _, day := range []int{1365, 2095} {
			fmt.Fprintf(&scores, "p%d,left,%d,constant,%d\n", i, day, 40+i%7)
		}
	}
	dir := t.TempDir()
	write(t, filepath.Join(dir, "procedures.csv"), procedures.String())
	write(t, filepath.Join(dir, "scores.csv"), scores.String())
	write(t, filepath.Join(dir, "revisions.csv"), "patient,side,day,reason\n")
	write(t, filepath.Join(dir, "plan.yaml"), childrenPlan+"  - {id: r, kind: repeated scores, endpoint: revision, instrument: constant, by: hospital, visits: [8 years, 10 years]}\n")
	for id := range deltoidRun(t, filepath.Join(dir, "plan.yaml")) {
		if strings.HasPrefix(id, "r.") {
			t.Errorf("%s is estimated of 41 groups", id)
		}
	}
}
