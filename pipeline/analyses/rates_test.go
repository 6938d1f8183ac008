package analyses_test

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"deltoid/cohorts"
	"deltoid/pipeline/analyses"
	"deltoid/pipeline/disclose"
	"deltoid/pipeline/ingest"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/dist"
)

// Six shoulders that do not exist. Implant A: 200 + 800 + 1461 + 1461 = 3922 days with two revisions; implant B: 500 + 961 =
// 1461 days, which are four years, without any.
const sixShoulders = `patient,side,follow_up,outcome,reason,implant
p1,left,200,revised,infection,A
p2,left,800,revised,instability,A
p3,left,1461,unrevised,,A
p4,left,1461,unrevised,,A
p5,left,500,died,,B
p5,right,961,unrevised,,B
`

const ratesPlan = `plan: 1
study: rates
title: Worked out on paper
invented: true
exports:
  shoulders:
    files: shoulders.csv
    extra: {implant: {type: code, title: Implant}}
endpoints:
  revision: {competing: [died]}
disclosure: {mask_below: 1, reason: The data are invented.}
analyses:
`

// readyReport runs analyses of a plan on a ready table.
func readyReport(t testing.TB, table, text string) (report.Document, error) {
	t.Helper()
	dir := t.TempDir()
	for name, data := range map[string]string{"shoulders.csv": table, "plan.yaml": text} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	p, err := plan.Read(filepath.Join(dir, "plan.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	schema, err := schemas.Shipped("shoulders")
	if err != nil {
		t.Fatal(err)
	}
	x := analyses.Exports{Findings: &schemas.Findings{}}
	read, err := ingest.Read(context.Background(), schema, p.Sources[0], x.Findings, nil)
	if err != nil {
		t.Fatal(err)
	}
	schemas.Check(read, x.Findings)
	registry, err := cohorts.FromReady(read, x.Findings)
	if err != nil {
		t.Fatal(err)
	}
	c, flow, err := cohorts.Define(registry, p.Cohort, p.FollowUp)
	if err != nil {
		t.Fatal(err)
	}
	return analyses.Assemble(p, x, c, flow, "test")
}

// Worked out on paper from the rows above; the limits of two events are 0.2422093 and 7.2246877 and the upper one of none is
// 3.6888795 (Garwood's, as printed in many tables). The ratio of none to two has the upper limit (1−q)/q · E_A/E_B with q² =
// 0.025, and its p-value, twice the smaller tail, is cut off at 1.
func TestRatesWorkedOutOnPaper(t *testing.T) {
	doc, err := readyReport(t, sixShoulders, ratesPlan+"  - {id: rates, kind: revision rates, endpoint: revision, by: implant, reference: A, times: [1, 2], variance: independent}\n")
	if err != nil {
		t.Fatal(err)
	}
	a, b, all := 3922/365.25, 4.0, 5383/365.25
	q := math.Sqrt(0.025)
	check(t, doc, map[string][3]float64{
		"rates.years.a":                   {a, 0, 0},
		"rates.rate.a":                    {200 / a, 24.22093 / a, 722.46877 / a},
		"rates.rate.b":                    {0, 0, 368.88795 / b},
		"rates.rate.all":                  {200 / all, 24.22093 / all, 722.46877 / all},
		"rates.ratio.b":                   {0, 0, (1 - q) / q * a / b},
		"rates.ratio.b.p":                 {1, 0, 0},
		"rates.difference.b":              {-200 / a, -200/a - math.Hypot(0, 722.46877/a-200/a), -200/a + math.Hypot(368.88795/b, 200/a-24.22093/a)},
		"rates.stretch.years.all.0-to-1":  {2026.25 / 365.25, 0, 0},
		"rates.stretch.years.all.1-to-2":  {1595.75 / 365.25, 0, 0},
		"rates.stretch.years.all.after-2": {1761 / 365.25, 0, 0},
		"rates.stretch.events.all.0-to-1": {1, 0, 0},
		"rates.stretch.events.all.1-to-2": {0, 0, 0},
		"rates.stretch.part.all.after-2":  {0.5, 0, 0},
		"rates.stretch.0-to-1.all":        {6, 0, 0},
		"rates.stretch.1-to-2.all":        {5, 0, 0},
		"rates.stretch.after-2.all":       {4, 0, 0},
	})
	if _, there := find(doc, "rates.ratio.a"); there {
		t.Error("the reference is compared with itself")
	}
	if _, err := disclose.Clear(doc, disclose.Policy{MaskBelow: 5}); err != nil {
		t.Errorf("the totals do not add up: %v", err)
	}
}

// Patient p5 has both shoulders in. All: residuals under one rate of 2 in 5,383 days are 1 − 400/5383, 1 − 1600/5383, twice −2922/5383,
// −1000/5383 and −1922/5383, the last two of one patient. Implant B is that patient, without an event: its shoulders are taken to be
// wholly alike.
func TestRatesClusteredByPatientOnPaper(t *testing.T) {
	doc, err := readyReport(t, sixShoulders, ratesPlan+"  - {id: rates, kind: revision rates, endpoint: revision, by: implant, reference: A, times: [1, 2]}\n")
	if err != nil {
		t.Fatal(err)
	}
	square := func(x float64) float64 { return x * x / 5383 / 5383 }
	apart := square(4983) + square(3783) + 2*square(2922)
	effect := (apart + square(2922)) / (apart + square(1000) + square(1922))
	alike := 1461.0 * 1461 / (500*500 + 961*961)
	a, b, all := 3922/365.25, 4.0, 5383/365.25
	lower, upper := dist.RealPoissonLimits(2/effect, 0.95)
	noneLower, noneUpper := dist.RealBinomialLimits(0, 2/alike, 0.95)
	check(t, doc, map[string][3]float64{
		"rates.rate.a":   {200 / a, 24.22093 / a, 722.46877 / a},
		"rates.rate.b":   {0, 0, 368.88795 * alike / b},
		"rates.rate.all": {200 / all, 100 * lower * effect / all, 100 * upper * effect / all},
		"rates.ratio.b":  {0, noneLower, noneUpper / (1 - noneUpper) * a / b},
	})
	if e, _ := find(doc, "rates.rate.all"); !strings.Contains(e.Method, "design effect") {
		t.Errorf("the method is %q", e.Method)
	}
}

func TestRatesByReasonShareTheProsthesisYears(t *testing.T) {
	doc, err := readyReport(t, sixShoulders, ratesPlan+"  - {id: rates, kind: revision rates, endpoint: revision, by: reason, interval: mid-P, per: 1}\n")
	if err != nil {
		t.Fatal(err)
	}
	all := 5383 / 365.25
	for _, id := range []string{"rates.rate.reason-infection", "rates.rate.reason-instability"} {
		if e, _ := find(doc, id); math.Abs(e.Value.X-1/all) > 1e-12 || !strings.Contains(e.Method, "mid-P") || e.Unit != "per 1 prosthesis-years" {
			t.Errorf("%s is %+v", id, e)
		}
	}
	if e, _ := find(doc, "rates.rate.all"); math.Abs(e.Value.X-2/all) > 1e-12 {
		t.Errorf("all reasons: %+v", e)
	}
}

// Whoever knows a ratio and one of its rates knows the other, so a masked rate takes its ratios with it.
func TestMaskedRatesTakeTheirRatiosWithThem(t *testing.T) {
	var rows strings.Builder
	rows.WriteString("patient,side,follow_up,outcome,reason,implant\n")
	id := 0
	for implant, revised := range map[string]int{"A": 3, "B": 20, "C": 30} {
		for i := range 100 {
			id++
			outcome := "unrevised"
			if i < revised {
				outcome = "revised"
			}
			rows.WriteString("p" + strings.Repeat("1", id%7) + implant + string(rune('a'+i%26)) + strings.Repeat("z", i/26) + ",left," + "700," + outcome + ",," + implant + "\n")
		}
	}
	doc, err := readyReport(t, rows.String(), ratesPlan+"  - {id: rates, kind: revision rates, endpoint: revision, by: implant}\n")
	if err != nil {
		t.Fatal(err)
	}
	c, err := disclose.Clear(doc, disclose.Policy{MaskBelow: 5})
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{"rates.rate.a", "rates.ratio.a", "rates.ratio.a.p", "rates.difference.a", "rates.one-rate.p"} {
		if e, there := find(c.Document(), id); !there || e.Status != report.Masked {
			t.Errorf("%s is %+v", id, e)
		}
	}
	if e, _ := find(c.Document(), "rates.years.a"); !e.Value.Known {
		t.Error("the prosthesis-years of a hundred shoulders are masked")
	}
}

func TestUnknownReferenceIsAProblemOfThePlan(t *testing.T) {
	_, err := readyReport(t, sixShoulders, ratesPlan+"  - {id: rates, kind: revision rates, endpoint: revision, by: implant, reference: C}\n")
	var p *schemas.Problem
	if !errors.As(err, &p) || p.Kind != schemas.PlanProblem || !strings.Contains(p.Allowed, "A, B") || p.Where == "" {
		t.Errorf("error is %v", err)
	}
}

func find(doc report.Document, id string) (report.Estimate, bool) {
	for _, e := range doc.Estimates {
		if e.ID == id {
			return e, true
		}
	}
	return report.Estimate{}, false
}

// check compares value, lower and upper limit; limits of 0, 0 stand for none.
func check(t *testing.T, doc report.Document, want map[string][3]float64) {
	t.Helper()
	for id, x := range want {
		e, there := find(doc, id)
		if !there {
			t.Errorf("there is no estimate %q", id)
			continue
		}
		got := [3]float64{e.Value.X, e.Lower.X, e.Upper.X}
		for i := range got {
			if !e.Value.Known || math.Abs(got[i]-x[i]) > 1e-5*max(1, math.Abs(x[i])) {
				t.Errorf("%s is %v, want %v (%s)", id, got, x, e.Status)
				break
			}
		}
	}
}
