package cohorts_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"deltoid/cohorts"
	"deltoid/schemas"

	gocmp "github.com/google/go-cmp/cmp"
)

var noCut = cohorts.FollowUp{DataCut: schemas.NoDay}

// TestSameDayOrder holds linking to the order that its comment states: index procedure, revision, death.
func TestSameDayOrder(t *testing.T) {
	s := studyOf(
		newExport("procedures", "patient,side,day,procedure,occasion",
			"A,left,10,reverse,revision", "A,left,10,reverse,primary", // the revision follows the index procedure
			"B,left,10,reverse,primary", "B,left,20,reverse,primary"), // the revision of day 20 comes after both
		newExport("revisions", "patient,side,day,reason", "B,left,15,infection", "B,left,20,wear"),
		newExport("deaths", "patient,day", "A,10", "B,20"),
	)
	r, found := s.link(t, noCut)
	if got := found.All(); len(got) != 0 {
		t.Fatalf("findings on legal days: %v", got)
	}
	type course struct{ Day, Death, Revised int32 }
	var got []course
	for i, shoulder := range r.Shoulders {
		for _, v := range r.RevisionsOf(i) {
			got = append(got, course{shoulder.Day, shoulder.Death, v.Day})
		}
	}
	want := []course{{10, 10, 10}, {10, 20, 15}, {20, 20, 20}}
	if diff := gocmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// TestSecondPrimaryNeedsAnEarlierRevision: a revision on the very day of the second primary does not lie between.
func TestSecondPrimaryNeedsAnEarlierRevision(t *testing.T) {
	s := studyOf(
		newExport("procedures", "patient,side,day,procedure,occasion", "A,left,10,anatomic,primary", "A,left,20,reverse,primary"),
		newExport("revisions", "patient,side,day,reason", "A,left,20,wear"),
	)
	r, found := s.link(t, noCut)
	if len(r.Shoulders) != 1 || len(r.RevisionsOf(0)) != 1 {
		t.Fatalf("%d shoulders, revisions %v", len(r.Shoulders), r.Revisions)
	}
	if got := found.All(); len(got) != 1 || got[0].Rule != cohorts.RuleSecondPrimary || got[0].Line != 3 ||
		got[0].Detail != "the index procedure is on day 10 (procedures.csv:2)" {
		t.Errorf("findings %+v", got)
	}
}

// TestRowsSetAsideBeforeAreNotLookedAt: such a row is no index procedure, and no second finding is made about it.
func TestRowsSetAsideBeforeAreNotLookedAt(t *testing.T) {
	s := studyOf(
		newExport("procedures", "patient,side,day,procedure,occasion", "A,left,10,reverse,primary", "A,left,20,reverse,primary", "B,,20,reverse,primary"),
		newExport("deaths", "patient,day", "A,5", "A,30"),
	)
	tables, found := s.tables(t), &schemas.Findings{}
	tables["procedures"].SetAside(0)
	tables["procedures"].SetAside(2)
	tables["deaths"].SetAside(0)
	r, err := cohorts.Link(tables, noCut, found)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Shoulders) != 1 || r.Shoulders[0].Day != 20 || r.Shoulders[0].Death != 30 || len(found.All()) != 0 {
		t.Errorf("shoulders %+v, findings %v", r.Shoulders, found.All())
	}
	want := []schemas.Ledger{{Table: "procedures", Read: 3, Used: 1, SetAside: 2}, {Table: "deaths", Read: 2, Used: 1, SetAside: 1}}
	if diff := gocmp.Diff(want, r.Ledgers); diff != "" {
		t.Error(diff)
	}
}

// TestRowsThatCannotBePlaced leave by the rules that reading them would have found broken.
func TestRowsThatCannotBePlaced(t *testing.T) {
	s := studyOf(newExport("procedures", "patient,side,day,procedure,occasion",
		",left,10,reverse,primary", "A,middle,10,reverse,primary", "A,left,10,reverse,", "A,left,10,reverse,third",
		"A,left,2000000,reverse,primary"))
	r, found := s.link(t, noCut)
	var got []string
	for _, f := range found.All() {
		got = append(got, f.Field+" "+f.Rule.ID)
	}
	want := []string{"patient missing-required", "side unknown-code", "occasion missing-required", "occasion unknown-code", "day out-of-range"}
	if diff := gocmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if len(r.Shoulders) != 0 || r.Ledgers[0].SetAside != 5 {
		t.Errorf("shoulders %v, ledger %+v", r.Shoulders, r.Ledgers[0])
	}
}

// problemOf returns the problem in an error, or fails.
func problemOf(t *testing.T, err error, kind schemas.Kind, parts ...string) {
	t.Helper()
	var p *schemas.Problem
	if !errors.As(err, &p) {
		t.Fatalf("error %v is no problem", err)
	}
	if p.Kind != kind {
		t.Errorf("kind %d, want %d", p.Kind, kind)
	}
	for _, part := range parts {
		if !strings.Contains(p.Error(), part) {
			t.Errorf("%q does not say %q", p.Error(), part)
		}
	}
}

func TestLinkProblems(t *testing.T) {
	procedures := newExport("procedures", "patient,side,day,procedure,occasion", "A,left,10,reverse,primary")
	dates := newExport("deaths", "patient,day", "A,20").table(t)
	dates.Offsets = false
	one := procedures.table(t)
	tests := []struct {
		name   string
		tables map[string]*schemas.Table
		kind   schemas.Kind
		parts  []string
	}{
		{"no procedures", map[string]*schemas.Table{"deaths": dates}, schemas.PlanProblem, []string{"no table of procedures"}},
		{"ready beside linked", map[string]*schemas.Table{"procedures": one,
			"shoulders": newExport("shoulders", "patient,follow_up,outcome").table(t)}, schemas.PlanProblem, []string{"ready table"}},
		{"dates beside offsets", map[string]*schemas.Table{"procedures": one, "deaths": dates}, schemas.PlanProblem,
			[]string{`"deaths"`, "offsets"}},
		{"no occasion", map[string]*schemas.Table{"procedures": newExport("procedures", "patient,side,day").table(t)},
			schemas.ExportProblem, []string{"procedures.csv", `"occasion"`}},
		{"no side", map[string]*schemas.Table{"procedures": one, "scores": newExport("scores", "patient,day").table(t)},
			schemas.ExportProblem, []string{"scores.csv", `"side"`}},
		{"no day", map[string]*schemas.Table{"procedures": one, "contacts": newExport("contacts", "patient").table(t)},
			schemas.ExportProblem, []string{"contacts.csv", `"day"`}},
		{"no patient", map[string]*schemas.Table{"procedures": one, "contacts": newExport("contacts", "day").table(t)},
			schemas.ExportProblem, []string{"contacts.csv", `"patient"`}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			_, err := cohorts.Link(test.tables, noCut, &schemas.Findings{})
			problemOf(t, err, test.kind, test.parts...)
		})
	}
}

func TestReadyProblems(t *testing.T) {
	_, err := cohorts.FromReady(newExport("shoulders", "patient,outcome").table(t), &schemas.Findings{})
	problemOf(t, err, schemas.ExportProblem, "shoulders.csv", `"follow_up"`)
	_, err = cohorts.FromReady(newExport("shoulders", "patient,follow_up").table(t), &schemas.Findings{})
	problemOf(t, err, schemas.ExportProblem, "shoulders.csv", `"outcome"`)
}

// TestDatesInDetails writes days as dates where the study has dates.
func TestDatesInDetails(t *testing.T) {
	table := newExport("procedures", "patient,side,day,procedure,occasion", "A,left,31,reverse,primary", "A,left,60,reverse,primary").table(t)
	table.Offsets = false
	found := &schemas.Findings{}
	if _, err := cohorts.Link(map[string]*schemas.Table{"procedures": table}, noCut, found); err != nil {
		t.Fatal(err)
	}
	// Day 31 after 1970-01-01 is the first of February.
	if got := found.All(); len(got) != 1 || got[0].Detail != "the index procedure is on 1970-02-01 (procedures.csv:2)" {
		t.Errorf("findings %+v", got)
	}
}

// TestReadyWithoutPatients takes every row for a patient, named by the place of the row and not by its turn.
func TestReadyWithoutPatients(t *testing.T) {
	e := newExport("shoulders", "follow_up,outcome", "30,died", "10,died", "20,revised")
	for _, order := range [][]int{{0, 1, 2}, {2, 0, 1}} {
		r, err := cohorts.FromReady(e.permuted(order).table(t), &schemas.Findings{})
		if err != nil {
			t.Fatal(err)
		}
		var lines []int
		for _, s := range r.Shoulders {
			_, line := r.Table.Place(int(s.Row))
			lines = append(lines, line)
		}
		if diff := gocmp.Diff([]int{2, 3, 4}, lines); diff != "" || !r.Anonymous || r.Patients != 3 {
			t.Errorf("anonymous %v, patients %d, lines:\n%s", r.Anonymous, r.Patients, diff)
		}
	}
}

// TestReadyRowsThatCannotBeUsed leave by the rules that reading them would have found broken.
func TestReadyRowsThatCannotBeUsed(t *testing.T) {
	found := &schemas.Findings{}
	r, err := cohorts.FromReady(newExport("shoulders", "patient,entry_day,follow_up,outcome",
		",,10,died", "A,,,died", "A,,10,", "A,,10,lost", "A,,-1,died", "A,,2000000,died", "A,-1,10,died", "A,20,10,died").table(t), found)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, f := range found.All() {
		got = append(got, f.Field+" "+f.Rule.ID)
	}
	want := []string{"patient missing-required", "follow_up missing-required", "outcome missing-required", "outcome unknown-code",
		"follow_up out-of-range", "follow_up out-of-range", "entry_day out-of-range", "follow_up follow-up-order"}
	if diff := gocmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if len(r.Shoulders) != 0 || r.Ledgers[0].SetAside != 8 {
		t.Errorf("shoulders %v, ledger %+v", r.Shoulders, r.Ledgers[0])
	}
}

// TestRulesAreWhole: every rule has an id of its own, a full sentence and a remedy.
func TestRulesAreWhole(t *testing.T) {
	seen := map[string]bool{}
	for _, rule := range append(cohorts.Rules(), schemas.Rules()...) {
		if seen[rule.ID] {
			t.Errorf("two rules have the id %q", rule.ID)
		}
		seen[rule.ID] = true
		if !strings.HasSuffix(rule.Sentence, ".") || !strings.HasSuffix(rule.Remedy, ".") {
			t.Errorf("rule %q: %q, %q", rule.ID, rule.Sentence, rule.Remedy)
		}
	}
}

// TestLoweredRules: a row that breaks a rule between tables which the plan lowers stays in use, with a warning, and the
// ledger closes. A score that may be from before the operation breaks none. Of two deaths the earlier counts in either case.
func TestLoweredRules(t *testing.T) {
	s := studyOf(
		newExport("procedures", "patient,side,day,procedure,occasion", "A,left,10,reverse,primary"),
		newExport("complications", "patient,side,day,complication", "A,left,5,infection"),
		newExport("scores", "patient,side,day,instrument,value", "A,left,5,change,4", "A,left,5,pain,4", "A,left,20,change,5"),
		newExport("deaths", "patient,day", "A,90", "A,80"),
	)
	lowered := []string{"complication-before-primary", "score-before-primary", "second-death"}
	for _, warn := range [][]string{nil, lowered} {
		tables, found := s.tables(t), &schemas.Findings{}
		for _, table := range tables {
			table.Follow(&schemas.Source{Warn: warn})
		}
		r, err := cohorts.Link(tables, noCut, found)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, f := range found.All() {
			got = append(got, f.Rule.ID)
			if (f.Rule.Severity == schemas.Warns) != (warn != nil) {
				t.Errorf("%s has the severity %d", f.Rule.ID, f.Rule.Severity)
			}
		}
		if diff := gocmp.Diff(lowered, slices.Sorted(slices.Values(got))); diff != "" {
			t.Error(diff)
		}
		aside := 0
		for _, ledger := range r.Ledgers {
			aside += ledger.SetAside
		}
		if want := len(lowered); (warn != nil && aside != 0) || (warn == nil && aside != want) || r.Shoulders[0].Death != 80 {
			t.Errorf("lowered %v: %d rows set aside, death on day %d", warn != nil, aside, r.Shoulders[0].Death)
		}
	}
}
