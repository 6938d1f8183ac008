package cohorts_test

import (
	"errors"
	"fmt"
	"path/filepath"
	"testing"

	"deltoid/cohorts"
	"deltoid/schemas"

	"github.com/google/go-cmp/cmp"
)

// decisions is the worked registry of decisions: its README says by hand what every test here holds the program to.
const decisions = "../testdata/worked/decisions"

func decidedStudy(tb testing.TB) study {
	s := study{}
	for _, name := range []string{"procedures", "revisions", "deaths", "scores", "contacts"} {
		s[name] = readExport(tb, filepath.Join(decisions, name+".csv"))
	}
	return s
}

func decided(t *testing.T) *cohorts.Cohort {
	t.Helper()
	r, _ := decidedStudy(t).link(t, untilCut)
	c, _ := define(t, r, everyone, untilCut)
	return c
}

func agreeDecided(t *testing.T, heading string, got [][]string) {
	t.Helper()
	if diff := cmp.Diff(paperOf(t, decisions, heading), got); diff != "" {
		t.Errorf("%s (- paper, + program):\n%s", heading, diff)
	}
}

func TestDecidedFindings(t *testing.T) {
	r, found := decidedStudy(t).link(t, untilCut)
	var rows [][]string
	for _, f := range found.All() {
		rows = append(rows, []string{f.Table, number(f.Line), f.Rule.ID})
	}
	agreeDecided(t, "Findings", rows)
	for _, l := range r.Ledgers {
		if l.Used != l.Read {
			t.Errorf("%s: %+v; the paper says that every row is used", l.Table, l)
		}
	}
}

func TestDecidedEpisodes(t *testing.T) {
	c := decided(t)
	any := episodes(t, c, anyRevision, untilCut, cohorts.Grouping{})
	exchange := episodes(t, c, exchanged, untilCut, cohorts.Grouping{})
	inf := episodes(t, c, infection, untilCut, cohorts.Grouping{})
	var rows [][]string
	for i := range any.Exit {
		patient, side, day := describe(c, i)
		row := []string{patient, side, day, c.Registry.Shoulders[c.Shoulders[i]].History.Code()}
		for _, eps := range []*cohorts.Episodes{any, exchange, inf} {
			row = append(row, number(int(eps.Exit[i])), ending(eps, i))
		}
		rows = append(rows, row)
	}
	agreeDecided(t, "Episodes", rows)
	if exchange.UnknownChange != 1 || any.UnknownChange != 0 || inf.UnknownReason != 1 {
		t.Errorf("unknown change %d and %d, unknown reason %d; the paper says 1, 0, 1", exchange.UnknownChange,
			any.UnknownChange, inf.UnknownReason)
	}
}

// TestDecidedRevisions: what ended the courses of the shoulders with more than one record of it.
func TestDecidedRevisions(t *testing.T) {
	c := decided(t)
	var got []string
	for _, v := range c.Registry.Revisions {
		s := c.Registry.Shoulders[v.Shoulder]
		got = append(got, fmt.Sprint(c.Registry.Table.Column("patient").Text(int(s.Row)), " ", v.Day, " ", v.Reason, " change ", v.Change,
			" second ", v.SecondStage, " converts ", v.Conversion, " only procedures ", v.InProcedures))
	}
	want := []string{
		"D01 1100  change 2 second false converts true only procedures true",
		"D02 900 other change 2 second false converts true only procedures false",
		"D03 800 stiffness_or_pain change 1 second false converts false only procedures false",
		"D03 1500 infection change 2 second false converts false only procedures false",
		"D04 900 infection change 2 second false converts false only procedures false",
		"D04 1000 infection change 2 second true converts false only procedures false",
		"D05 1200 instability change 2 second false converts false only procedures false",
		"D06 1000 wear change 0 second false converts false only procedures false",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestDecidedIndications(t *testing.T) {
	c := decided(t)
	settled, by := c.Registry.Column(cohorts.SettledIndication, cohorts.Recorded), c.Registry.Column(cohorts.SettledBy, cohorts.Recorded)
	var rows [][]string
	for i, position := range c.Shoulders {
		patient, side, day := describe(c, i)
		row := int(c.Registry.Shoulders[position].Row)
		rows = append(rows, []string{patient, side, day, c.Registry.Table.Column("indication").String(row), settled.String(row), by.String(row)})
	}
	agreeDecided(t, "Indications", rows)
	s := c.Settlement()
	rows = nil
	for i, code := range s.Codes {
		row := []string{code}
		for _, n := range s.Counts[i] {
			row = append(row, number(n))
		}
		rows = append(rows, row)
	}
	agreeDecided(t, "Recorded against settled", rows)
	changed := 0
	for _, rule := range s.By {
		changed += rule.Changed
	}
	if s.Changed != 5 || changed != 5 {
		t.Errorf("%d changed, %d by rule; the paper says 5", s.Changed, changed)
	}
}

// TestEveryRuleDecides: the worked registry uses every rule of the table, and every rule has a sentence and a source.
func TestEveryRuleDecides(t *testing.T) {
	rules, err := cohorts.IndicationRules()
	if err != nil || len(rules) < 10 {
		t.Fatalf("%d rules, %v", len(rules), err)
	}
	for i, used := range decided(t).Settlement().By {
		if used.N == 0 {
			t.Errorf("no shoulder of the worked registry is decided by %q", used.ID)
		}
		if i < len(rules) && (rules[i].Sentence == "" || rules[i].Source == "") {
			t.Errorf("the rule %q lacks its sentence or its source", rules[i].ID)
		}
	}
}

func TestDecidedAudit(t *testing.T) {
	a, err := decided(t).Audit()
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"reverse", "anatomic", "hemi", "plate"}, a.Procedures); diff != "" || a.NotCovered != 14 {
		t.Errorf("procedures %v, not covered %d; the paper says 14", a.Procedures, a.NotCovered)
	}
	var rows [][]string
	for _, e := range append(a.Expectations, a.Flags...) {
		row := []string{e.ID, number(e.N), number(e.Agree)}
		for _, n := range e.Done {
			row = append(row, number(n))
		}
		rows = append(rows, row)
	}
	agreeDecided(t, "Procedure against findings", rows)
}

func TestDecidedPairs(t *testing.T) {
	c := decided(t)
	p, err := c.Pairs(cohorts.Grouping{By: "procedure"})
	if err != nil {
		t.Fatal(err)
	}
	short := map[string]string{"Reverse total shoulder replacement": "reverse", "Anatomic total shoulder replacement": "anatomic",
		"Hemiarthroplasty": "hemi", "Plate fixation": "plate"}
	var rows [][]string
	for _, pair := range p.Pairs {
		patient, _, _ := describe(c, int(pair.First))
		rows = append(rows, []string{patient, short[p.Groups[pair.FirstGroup]], short[p.Groups[pair.SecondGroup]]})
	}
	agreeDecided(t, "Pairs by procedure", rows)
	if p.Alike != 1 || p.OneSided != 13 {
		t.Errorf("alike %d, one-sided %d; the paper says 1, 13", p.Alike, p.OneSided)
	}
}

func TestDecidedFlow(t *testing.T) {
	r, _ := decidedStudy(t).link(t, untilCut)
	d := everyone
	d.Minimum = cohorts.MinimumFollowUp{Days: 730, Words: "2 years"}
	d.FirstShoulderOnly = true
	_, flow := define(t, r, d, untilCut)
	agreeDecided(t, "Flow with choices", flowRows(flow))
	d.FirstShoulderOnly, d.Minimum.Achieved = false, true
	c, flow := define(t, r, d, untilCut)
	agreeDecided(t, "Flow with achieved follow-up", flowRows(flow))
	varied, _, err := c.Vary(untilCut, cohorts.FirstShoulders)
	if err != nil || len(varied.Shoulders) != 14 || varied.Patients() != 14 {
		t.Errorf("the variant has %d shoulders of %d patients (%v); the paper says 14 of 14", len(varied.Shoulders), varied.Patients(), err)
	}
}

// TestVaryNarrowed: a variant of a narrowed cohort is the narrowed variant of the cohort. Of the patients with both sides in
// (D01, D02, D07, D08, D09) D01 and D02 have a reverse replacement after the first shoulder, D07 has one on the second side,
// D08 has one on the first, D09 on both. With the first shoulder only, the reverse replacements are then those of D08 and D09
// (left and right side; the right one came first), and of the patients with one side in.
func TestVaryNarrowed(t *testing.T) {
	r, _ := decidedStudy(t).link(t, untilCut)
	reverse := cohorts.Criterion{Label: "Reverse", Where: []cohorts.Condition{{Field: "procedure", In: []string{"reverse"}}}}
	c, _ := define(t, r, everyone, untilCut)
	narrow, _, err := c.Keep(reverse)
	if err != nil {
		t.Fatal(err)
	}
	varied, flow, err := narrow.Vary(untilCut, cohorts.FirstShoulders)
	if err != nil {
		t.Fatal(err)
	}
	first := everyone
	first.FirstShoulderOnly = true
	written, _ := define(t, r, first, untilCut)
	want, _, err := written.Keep(reverse)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want.Shoulders, varied.Shoulders); diff != "" {
		t.Errorf("as the plan would have it (-), and as varied (+):\n%s", diff)
	}
	patients := map[string]int{}
	for i := range varied.Shoulders {
		patient, _, _ := describe(varied, i)
		patients[patient]++
	}
	for patient, n := range map[string]int{"D01": 0, "D02": 0, "D07": 0, "D08": 1, "D09": 1} {
		if patients[patient] != n {
			t.Errorf("%s is in %d times, want %d", patient, patients[patient], n)
		}
	}
	if last := flow.Steps[len(flow.Steps)-1]; last.ID != "within-1" || last.Kept != len(varied.Shoulders) {
		t.Errorf("the flow ends with %+v", last)
	}
	nobody := cohorts.Criterion{Label: "Nobody", Place: "plan.yaml:7", Where: []cohorts.Condition{{Field: "procedure", In: []string{"anatomic"}}}}
	none, _, err := narrow.Keep(nobody)
	if err != nil {
		t.Fatal(err)
	}
	var p *schemas.Problem
	if _, _, err := none.Vary(untilCut, cohorts.FirstShoulders); !errors.As(err, &p) || p.Where != "plan.yaml:7" {
		t.Errorf("nobody within the analysis: %v", err)
	}
}

// TestDecidedBasis: the field "indication" means what the definition says, and the others are always there.
func TestDecidedBasis(t *testing.T) {
	r, _ := decidedStudy(t).link(t, untilCut)
	count := func(field string, b cohorts.Basis) int {
		d := cohorts.Definition{Indication: b, Criteria: []cohorts.Criterion{{Label: "Fracture",
			Where: []cohorts.Condition{{Field: field, In: []string{"fracture"}}}}}}
		c, _ := define(t, r, d, untilCut)
		return len(c.Shoulders)
	}
	got := []int{count("indication", ""), count("indication", cohorts.Recorded), count("indication", cohorts.Settled),
		count("settled_indication", cohorts.Recorded), count("recorded_indication", cohorts.Settled)}
	if diff := cmp.Diff([]int{7, 7, 6, 6, 7}, got); diff != "" {
		t.Errorf("shoulders with a fracture (- paper's table, + program):\n%s", diff)
	}
}

func TestDecidedBands(t *testing.T) {
	c := decided(t)
	eps := episodes(t, c, anyRevision, untilCut, cohorts.Grouping{By: "age", Bands: []float64{65, 75}})
	counts := make([]int, len(eps.Groups))
	for _, g := range eps.Group {
		counts[g]++
	}
	var rows [][]string
	for i, label := range eps.Groups {
		rows = append(rows, []string{label, number(counts[i])})
	}
	agreeDecided(t, "Bands of age", rows)
}

func TestDecidedCompleteness(t *testing.T) {
	c := decided(t)
	whole, err := c.Completeness(anyRevision, untilCut, cohorts.Grouping{})
	if err != nil {
		t.Fatal(err)
	}
	observed, possible, lost := int64(7_500), int64(7_500), 0 // the nine shoulders that the paper does not list
	for _, cells := range paperOf(t, decisions, "Completeness of follow-up") {
		var o, p int64
		if _, err := fmt.Sscan(cells[3]+" "+cells[4], &o, &p); err != nil {
			t.Fatal(err)
		}
		observed, possible = observed+o, possible+p
		if o < p {
			lost++
		}
	}
	got := []int64{whole.Observed[0], whole.Possible[0], int64(whole.Lost[0]), int64(whole.N[0])}
	if diff := cmp.Diff([]int64{observed, possible, int64(lost), 21}, got); diff != "" {
		t.Errorf("observed, possible, lost, shoulders (- paper, + program):\n%s", diff)
	}
}

func TestDecidedVisits(t *testing.T) {
	c := decided(t)
	windows := []cohorts.Window{{ID: "before", Target: 0, From: -180, To: 0}, {ID: "12", Target: 365, From: 274, To: 457},
		{ID: "24", Target: 730, From: 640, To: 820}}
	v, err := c.Visits("constant", windows, anyRevision, untilCut)
	if err != nil {
		t.Fatal(err)
	}
	words := []string{"", "not assessed", "not due", "dead", "revised"}
	var rows [][]string
	for i := range c.Shoulders {
		patient, side, day := describe(c, i)
		row := []string{patient, side, day}
		for k := range windows {
			if v.State[k][i] == cohorts.Assessed {
				row = append(row, fmt.Sprint(v.Value[k][i]))
			} else {
				row = append(row, words[v.State[k][i]])
			}
		}
		rows = append(rows, row)
	}
	agreeDecided(t, "Visits", rows)
	if v.Outside != 1 || v.NotClosest != 3 {
		t.Errorf("outside %d, not closest %d; the paper says 1, 3", v.Outside, v.NotClosest)
	}
	if diff := cmp.Diff([]string{"constant", "oxford"}, c.Registry.Instruments()); diff != "" {
		t.Error(diff)
	}
	if n := v.Counts(1); n != [5]int{6, 12, 1, 1, 1} {
		t.Errorf("states at 12 months %v; the paper's table has 6 assessed, 12 not assessed, 1 not due, 1 dead, 1 revised", n)
	}
}

// TestReversedExchangesParts: who was censored has the event, and who had an event is censored.
func TestReversedExchangesParts(t *testing.T) {
	eps := episodes(t, decided(t), anyRevision, untilCut, cohorts.Grouping{})
	back := eps.Reversed()
	for i := range eps.Cause {
		if (eps.Cause[i] == 0) != (back.Cause[i] == 1) || back.Cause[i] > 1 || back.Exit[i] != eps.Exit[i] {
			t.Errorf("shoulder %d: cause %d became %d", i, eps.Cause[i], back.Cause[i])
		}
	}
	if diff := cmp.Diff([]cohorts.Cause{cohorts.EndOfObservation}, back.Causes); diff != "" {
		t.Error(diff)
	}
}

// TestHistoryIsAField: conversions can be left out, and kept.
func TestHistoryIsAField(t *testing.T) {
	r, _ := decidedStudy(t).link(t, untilCut)
	d := cohorts.Definition{Criteria: []cohorts.Criterion{{Label: "Conversion", Where: []cohorts.Condition{{Field: "history", In: []string{"conversion"}}}}}}
	c, _ := define(t, r, d, untilCut)
	if len(c.Shoulders) != 2 {
		t.Errorf("%d conversions; the paper says 2", len(c.Shoulders))
	}
	_, _, err := cohorts.Define(r, cohorts.Definition{Criteria: []cohorts.Criterion{{Where: []cohorts.Condition{{Field: "history", In: []string{"conversions"}}}}}}, untilCut)
	var problems schemas.Problems
	if !errors.As(err, &problems) || problems[0].Remedy != `write "conversion" if that is what you mean` {
		t.Errorf("a code that does not exist: %v", err)
	}
}
