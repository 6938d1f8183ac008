package analyses_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"deltoid/pipeline/disclose"
	"deltoid/pipeline/report"
	"deltoid/schemas"
)

const weightedPlan = `plan: 1
study: weighted
title: Worked out on paper
invented: true
exports:
  shoulders:
    files: shoulders.csv
    extra: {implant: {type: code, title: Implant}, weight: {type: number, title: Case weight}}
endpoints:
  revision: {competing: [died]}
disclosure: {mask_below: 1, reason: The data are invented.}
analyses:
`

// Eight shoulders that do not exist, of seven patients.
const weightedShoulders = `patient,side,follow_up,outcome,reason,implant,weight
p1,left,200,revised,infection,A,2
p2,left,800,revised,instability,A,1
p3,left,1461,unrevised,,A,0.5
p4,left,1461,unrevised,,A,1.5
p5,left,500,died,,B,1
p5,right,961,unrevised,,B,3
p6,left,300,revised,infection,B,0
p7,left,1000,unrevised,,B,2
`

// Of A, of weight 5, two go on day 200, and of the rest of 3 one on day 800: survival 3/5 at a year, 2/5 at three. Of B only the one
// of weight 0 is revised, so that survival stays 1 while numbers at risk fall.
func TestWeightsOnPaper(t *testing.T) {
	doc, err := readyReport(t, weightedShoulders, weightedPlan+"  - {id: w, kind: implant survival, endpoint: revision, by: implant, times: [1, 2.5], weights: weight}\n")
	if err != nil {
		t.Fatal(err)
	}
	check(t, doc, map[string][3]float64{
		"w.weight-sum.a":          {5, 0, 0},
		"w.weight-effective.a":    {25 / (4 + 1 + 0.25 + 2.25), 0, 0},
		"w.weight-at-risk.a.1y":   {3, 0, 0},
		"w.weight-at-risk.b.2.5y": {5, 0, 0},
		"w.weight-at-risk.all.1y": {9, 0, 0},
		"w.at-risk.a.1y":          {3, 0, 0},
		"w.at-risk.b.1y":          {3, 0, 0},
	})
	for id, want := range map[string]float64{"w.free.a.1y": 3.0 / 5, "w.free.a.2.5y": 2.0 / 5, "w.incidence.a.1y": 2.0 / 5, "w.free.b.2.5y": 1} {
		e, there := find(doc, id)
		if !there || math.Abs(e.Value.X-want) > 1e-12 {
			t.Errorf("%s is %+v, want %v", id, e, want)
		}
		if !strings.Contains(e.Method, "robust variance for weights") || !strings.Contains(e.Method, "weighted by case weight") {
			t.Errorf("the method of %s is %q", id, e.Method)
		}
	}
	if _, err := disclose.Clear(doc, disclose.Policy{MaskBelow: 3}); err != nil {
		t.Errorf("the totals do not add up: %v", err)
	}
}

// Weight 2 for every shoulder moves no estimate, no limit and no p-value.
func TestOneWeightForAllChangesNothing(t *testing.T) {
	table := func(weight string) string {
		var b strings.Builder
		b.WriteString("patient,side,follow_up,outcome,reason,implant,weight\n")
		for i := range 60 {
			outcome := []string{"unrevised", "revised", "died"}[i*i%7%3]
			fmt.Fprintf(&b, "p%d,%s,%d,%s,,%s,%s\n", i*2/3, []string{"left", "right", "left"}[i%3], 100+37*i, outcome, []string{"A", "B"}[i%2], weight)
		}
		return b.String()
	}
	text := weightedPlan + `  - {id: s, kind: implant survival, endpoint: revision, by: implant, times: [2], weights: weight, hazard: 1, shares: [0.2]}
  - {id: c, kind: comparison of groups, endpoint: revision, by: implant, times: [2], weights: weight, horizon: 2}
  - {id: r, kind: reasons for revision, endpoint: revision, times: [2], weights: weight}
`
	one, err := readyReport(t, table("1"), text)
	if err != nil {
		t.Fatal(err)
	}
	two, err := readyReport(t, table("2"), text)
	if err != nil {
		t.Fatal(err)
	}
	compared := 0
	for i, e := range two.Estimates {
		if strings.Contains(e.ID, "weight-") {
			continue
		}
		for _, x := range [][2]report.Optional{{e.Value, one.Estimates[i].Value}, {e.Lower, one.Estimates[i].Lower}, {e.Upper, one.Estimates[i].Upper}} {
			if x[0].Known != x[1].Known || math.Abs(x[0].X-x[1].X) > 1e-9*(1+math.Abs(x[1].X)) {
				t.Errorf("%s: %+v, with weights of 1 %+v", e.ID, e, one.Estimates[i])
			}
			if x[0].Known {
				compared++
			}
		}
	}
	if compared < 60 {
		t.Errorf("%d numbers compared", compared)
	}
	for _, id := range []string{"c.test.log-rank.p", "c.test.gray.p", "c.mean-ratio.b", "c.difference.b.2y.p", "s.hazard.a.2y"} {
		if e, _ := find(two, id); !e.Value.Known {
			t.Errorf("%s is %+v", id, e)
		}
	}
}

func TestAWeightThatIsNoneStopsTheRun(t *testing.T) {
	for _, weight := range []string{"", "-1"} {
		table := strings.Replace(weightedShoulders, ",B,3\n", ",B,"+weight+"\n", 1)
		_, err := readyReport(t, table, weightedPlan+"  - {id: w, kind: implant survival, endpoint: revision, times: [1], weights: weight}\n")
		var p *schemas.Problem
		if !errors.As(err, &p) || p.Kind != schemas.PlanProblem || !strings.Contains(p.What, "of 8 shoulders") || p.Remedy == "" || p.Where == "" {
			t.Errorf("weight %q: %v", weight, err)
		}
	}
}

// A thousand shoulders of 1,000 days with an event on every tenth day, the hazard being about 1/10,000 a day, 3.65 per 100 years. On
// day 500 the sum is Σ K d/n / b over the event days within a year of it, by hand.
func TestSmoothedHazardInTheReport(t *testing.T) {
	var b strings.Builder
	b.WriteString("patient,side,follow_up,outcome,reason,implant,weight\n")
	for i := range 1000 {
		if i < 99 {
			fmt.Fprintf(&b, "p%d,left,%d,revised,,A,1\n", i, 10+10*i)
		} else {
			fmt.Fprintf(&b, "p%d,left,1000,unrevised,,A,1\n", i)
		}
	}
	doc, err := readyReport(t, b.String(), weightedPlan+"  - {id: h, kind: implant survival, endpoint: revision, unit: days, times: [500, 950], hazard: 300}\n"+
		"  - {id: wide, kind: implant survival, endpoint: revision, unit: days, times: [500], hazard: 501}\n")
	if err != nil {
		t.Fatal(err)
	}
	want, variance := 0.0, 0.0
	for i := range 99 {
		day, atRisk := float64(10+10*i), float64(1000-i)
		if z := (500 - day) / 300; math.Abs(z) <= 1 {
			k := 0.75 * (1 - z*z) / 300
			want += k / atRisk
			variance += k * k / atRisk / atRisk
		}
	}
	spread := math.Exp(1.959963984540054 * math.Sqrt(variance) / want)
	check(t, doc, map[string][3]float64{"h.hazard.all.500d": {36525 * want, 36525 * want / spread, 36525 * want * spread}})
	if e, _ := find(doc, "h.hazard.all.500d"); e.N.X != 951 || e.Events.X != 61 || e.Unit != "per 100 prosthesis-years" {
		t.Errorf("%+v", e)
	}
	if e, _ := find(doc, "wide.hazard.all.500d"); e.Status != report.BeyondFollowUp || e.Value.Known || e.Note == "" {
		t.Errorf("a window wider than follow-up: %+v", e)
	}
	for _, s := range doc.Sections {
		for _, f := range s.Figures {
			if f.ID == "h-hazard" && (len(f.Curves) != 1 || len(f.Curves[0].Steps) != 81 || !f.Curves[0].Sloping) {
				t.Errorf("the figure is %+v", f)
			}
		}
	}
}

// p5 has both shoulders in; the first of them died. Without the second, all rests on seven shoulders.
func TestRatesAndReasonsOfFirstShoulders(t *testing.T) {
	doc, err := readyReport(t, weightedShoulders, weightedPlan+`  - {id: rates, kind: revision rates, endpoint: revision, by: implant, reference: B, sensitivity: [first shoulder only]}
  - {id: by-reason, kind: revision rates, endpoint: revision, by: reason, sensitivity: [first shoulder only]}
  - {id: why, kind: reasons for revision, endpoint: revision, times: [1], sensitivity: [first shoulder only]}
`)
	if err != nil {
		t.Fatal(err)
	}
	all, first := 6683/365.25, 5722/365.25
	check(t, doc, map[string][3]float64{
		"rates.years.all":                         {all, 0, 0},
		"rates.first-shoulder-only.years.all":     {first, 0, 0},
		"by-reason.first-shoulder-only.years.all": {first, 0, 0},
	})
	for id, want := range map[string]float64{"rates.first-shoulder-only.rate.all": 300 / first, "by-reason.first-shoulder-only.rate.reason-infection": 200 / first,
		"why.reason.infection.all.1y": 2.0 / 8, "why.first-shoulder-only.reason.infection.all.1y": 2.0 / 7, "why.events-beyond-first.infection.all.1y": 0} {
		if e, there := find(doc, id); !there || math.Abs(e.Value.X-want) > 1e-9 {
			t.Errorf("%s is %+v, want %v", id, e, want)
		}
	}
	sheets := 0
	for _, s := range doc.Sections {
		for _, sheet := range s.Sheets {
			if strings.HasSuffix(sheet.ID, "-sensitivity") {
				sheets++
			}
		}
	}
	if sheets != 3 {
		t.Errorf("%d tables of sensitivity, want 3", sheets)
	}
	if _, err := disclose.Clear(doc, disclose.Policy{MaskBelow: 5}); err != nil {
		t.Errorf("the totals do not add up: %v", err)
	}
}
