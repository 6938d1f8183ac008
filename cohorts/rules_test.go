package cohorts_test

import (
	"encoding/json"
	"errors"
	"os"
	"slices"
	"testing"

	"deltoid/cohorts"
	"deltoid/schemas"
)

// rule is a rule of the data files as any reader of JSON sees it.
type rule struct {
	ID       string
	When     map[string]any
	Settles  string
	Expects  []string
	Sentence string
	Source   string
}

// TestRuleTablesUseTheSchema: a slip in a data file would make a rule that never applies.
func TestRuleTablesUseTheSchema(t *testing.T) {
	s, err := schemas.Shipped("procedures")
	if err != nil {
		t.Fatal(err)
	}
	field := func(name string) *schemas.Field {
		for _, f := range cohorts.Derived() {
			if f.Name == name {
				return &f
			}
		}
		return s.Field(name)
	}
	has := func(f *schemas.Field, code string) bool {
		return f != nil && slices.ContainsFunc(f.Codes, func(c schemas.CodeValue) bool { return c.Value == code })
	}
	seen := map[string]bool{}
	for _, r := range slices.Concat(rulesOf(t, "indication/rules.json", "rules"), rulesOf(t, "audit/expectations.json", "expectations"),
		rulesOf(t, "audit/expectations.json", "flags")) {
		if seen[r.ID] || r.Sentence == "" || r.Source == "" || len(r.When) == 0 {
			t.Errorf("the rule %q stands twice, or lacks a sentence, a source or a condition", r.ID)
		}
		seen[r.ID] = true
		if r.Settles != "" && !has(field("indication"), r.Settles) {
			t.Errorf("%s settles %q, which is no indication", r.ID, r.Settles)
		}
		for _, p := range r.Expects {
			if !has(field("procedure"), p) {
				t.Errorf("%s expects %q, which is no procedure", r.ID, p)
			}
		}
		for name, test := range r.When {
			f := field(name)
			codes, listed := test.([]any)
			switch {
			case f == nil:
				t.Errorf("%s looks at %q, which is no field", r.ID, name)
			case listed != (f.Type == schemas.Code):
				t.Errorf("%s tests %q as another type than it has", r.ID, name)
			}
			for _, code := range codes {
				if text, ok := code.(string); ok && !has(f, text) {
					t.Errorf("%s asks for %q of %q, which is no code of it", r.ID, text, name)
				}
			}
		}
	}
	if len(seen) < 15 {
		t.Errorf("%d rules", len(seen))
	}
}

func rulesOf(t *testing.T, path, key string) []rule {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var file map[string]json.RawMessage
	var rules []rule
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(file[key], &rules); err != nil {
		t.Fatal(err)
	}
	return rules
}

// TestThresholdsOfTheDistance: below 6 mm the head has ridden up by either threshold in use, from 7 mm on it is centred by
// either, and between the two nothing is settled. A grade comes before a distance.
func TestThresholdsOfTheDistance(t *testing.T) {
	for _, one := range []struct{ grade, distance, settled, by string }{
		{"", "5.9", "cuff_tear_arthropathy", "distance-below-both-thresholds"},
		{"", "6", "other", cohorts.NoRule},
		{"", "6.9", "other", cohorts.NoRule},
		{"", "7", "oa_deficient_cuff", "centred-by-distance"},
		{"1", "3", "oa_deficient_cuff", "centred-by-grade"},
		{"3", "9", "cuff_tear_arthropathy", "ridden-up-then-arthritis"},
		{"4a", "9", "cuff_tear_arthropathy", "ridden-up-with-arthritis"},
	} {
		s := studyOf(newExport("procedures",
			"patient,side,day,procedure,occasion,indication,cuff,arthritis_grade,superior_migration,acromiohumeral_distance",
			"A,left,0,reverse,primary,other,massive_tear,severe,"+one.grade+","+one.distance))
		r, _ := s.link(t, untilCut)
		settled, by := r.Column(cohorts.SettledIndication, "").String(0), r.Column(cohorts.SettledBy, "").String(0)
		if settled != one.settled || by != one.by {
			t.Errorf("grade %q, %s mm: %s by %s, want %s by %s", one.grade, one.distance, settled, by, one.settled, one.by)
		}
	}
}

// TestReadyTablesDecideLess: without findings, sides or a data cut there is nothing to settle, audit, pair or complete.
func TestReadyTablesDecideLess(t *testing.T) {
	r, err := cohorts.FromReady(newExport("shoulders", "patient,follow_up,outcome", "A,100,revised", "A,900,unrevised", "B,50,died").table(t), &schemas.Findings{})
	if err != nil {
		t.Fatal(err)
	}
	f := cohorts.FollowUp{DataCut: schemas.NoDay}
	c, _ := define(t, r, cohorts.Definition{Indication: cohorts.Settled}, f)
	audit, err := c.Audit()
	if c.Settlement() != nil || audit != nil || err != nil {
		t.Errorf("settlement %v, audit %v, %v", c.Settlement(), audit, err)
	}
	complete, err := c.Completeness(anyRevision, f, cohorts.Grouping{})
	visits, err2 := c.Visits("constant", nil, anyRevision, f)
	if complete != nil || visits != nil || err != nil || err2 != nil {
		t.Errorf("completeness %v, visits %v, %v, %v", complete, visits, err, err2)
	}
	// A has two shoulders whose sides nobody recorded: that is not a patient with one side in.
	if pairs, err := c.Pairs(cohorts.Grouping{}); err != nil || len(pairs.Pairs) != 0 || pairs.OneSided != 0 || pairs.Unsided != 2 || pairs.Several != 1 {
		t.Errorf("pairs %+v, %v", pairs, err)
	}
	minimum := cohorts.MinimumFollowUp{Days: 365, Words: "1 year"}
	var p *schemas.Problem
	if _, _, err := cohorts.Define(r, cohorts.Definition{Minimum: minimum}, f); !errors.As(err, &p) {
		t.Errorf("a possible minimum: %v", err)
	}
	minimum.Achieved = true
	long, _ := define(t, r, cohorts.Definition{Minimum: minimum}, f)
	if len(long.Shoulders) != 2 { // the one revised before, and the one followed for 900 days
		t.Errorf("%d shoulders, want 2", len(long.Shoulders))
	}
	exchange := episodes(t, c, exchanged, f, cohorts.Grouping{})
	if exchange.UnknownChange != 1 {
		t.Errorf("%d revisions of which nothing is known, want 1", exchange.UnknownChange)
	}
}

// TestNobodyIsFollowedLongEnough names the step and its place in the plan.
func TestNobodyIsFollowedLongEnough(t *testing.T) {
	r, _ := decidedStudy(t).link(t, untilCut)
	d := cohorts.Definition{Minimum: cohorts.MinimumFollowUp{Days: 4000, Words: "11 years", Place: "plan.yaml:9"}}
	_, flow, err := cohorts.Define(r, d, untilCut)
	var p *schemas.Problem
	if !errors.As(err, &p) || p.Kind != schemas.CohortProblem || p.Where != "plan.yaml:9" {
		t.Fatalf("%v", err)
	}
	if last := flow.Steps[len(flow.Steps)-1]; last.ID != "minimum-follow-up" || last.Left != 21 {
		t.Errorf("the flow ends with %+v", last)
	}
}
