package analyses

import (
	"testing"

	"deltoid/cohorts"
	"deltoid/pipeline/disclose"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// A rule changed 403 shoulders to B; 400 of them were C before. Whoever subtracts may not be told that the other 3 were A.
func TestChangesOfRulesDoNotGiveTheCrossTableAway(t *testing.T) {
	about := &portrait{book: newBook(&report.Document{}), plan: &plan.Plan{Disclosure: plan.Disclosure{MaskBelow: 5}},
		cohort: &cohorts.Cohort{Name: "all"}, n: []int{2453}, asked: plan.Analysis{ID: "indication", Level: 0.95}}
	s := &indication{portrait: about, settlement: &cohorts.Settlement{
		Codes: []string{"a", "b", "c"}, Labels: []string{"A", "B", "C"}, Counts: [][]int{{900, 3, 70}, {80, 50, 90}, {60, 400, 800}}, Changed: 703,
		By: []cohorts.RuleCount{{ID: "to-a", Settles: "a", N: 1040, Changed: 140}, {ID: "to-b", Settles: "b", N: 453, Changed: 403},
			{ID: "to-c", Settles: "c", N: 960, Changed: 160}}}}
	s.count()
	s.ruleSheet()
	cleared, err := disclose.Clear(*s.doc, disclose.Policy{MaskBelow: 5})
	if err != nil {
		t.Fatal(err)
	}
	byID := map[string]report.Estimate{}
	for _, e := range cleared.Document().Estimates {
		byID[e.ID] = e
	}
	if e := byID["indication.recorded-a.settled-b"]; e.Status != report.Masked {
		t.Fatalf("the small count itself is shown: %+v", e)
	}
	if changed, before := byID["indication.rule.to-b.changed"], byID["indication.recorded-c.settled-b"]; changed.Status != report.Masked && before.Status != report.Masked {
		t.Errorf("%v − %v = %v gives the masked count away", changed.Value.X, before.Value.X, changed.Value.X-before.Value.X)
	}
}
