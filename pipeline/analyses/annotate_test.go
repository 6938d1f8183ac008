package analyses

import (
	"strings"
	"testing"

	"deltoid/cohorts"
	"deltoid/pipeline/report"
	"deltoid/stats/survival"
)

// pairOfGroups is two groups of three and two shoulders with two events and one, and the figure of their curves.
func pairOfGroups(t *testing.T) (*followed, report.Figure) {
	t.Helper()
	counts, err := survival.Count(survival.Data{Exit: []int32{1, 2, 3, 2, 4}, Cause: []uint8{1, 1, 0, 1, 0}, Group: []int32{0, 0, 0, 1, 1}, Groups: 2})
	if err != nil {
		t.Fatal(err)
	}
	s := &followed{episodes: &cohorts.Episodes{Groups: []string{"left", "right"}}, counts: counts, groups: []group{
		{label: "left", counts: counts.Select(0), n: 3}, {label: "right", counts: counts.Select(1), n: 2}, {label: "All", counts: counts.Pooled(), n: 5}}}
	return s, report.Figure{ID: "pair", Curves: []report.Curve{{Group: "left"}, {Group: "right"}}}
}

// A test is written below the figure of the very shoulders, events and groups that it used, and below no other.
func TestFigureRefusesAnotherResult(t *testing.T) {
	right := tested{name: "log-rank test", groups: []string{"left", "right"}, n: []int64{3, 2}, events: []int64{2, 1}, id: "p"}
	s, f := pairOfGroups(t)
	if err := s.annotate(&f, right); err != nil || len(f.Notes) != 1 {
		t.Fatalf("the figure's own test is refused: %v", err)
	}
	for name, change := range map[string]func(*tested){
		"another number of shoulders": func(r *tested) { r.n = []int64{3, 3} },
		"another number of events":    func(r *tested) { r.events = []int64{1, 2} },
		"other groups":                func(r *tested) { r.groups = []string{"left", "middle"} },
		"groups the other way round":  func(r *tested) { r.groups = []string{"right", "left"} },
		"one group more": func(r *tested) {
			r.groups, r.n, r.events = []string{"left", "right", "both"}, []int64{3, 2, 5}, []int64{2, 1, 3}
		},
		"the pooled counts": func(r *tested) { r.n, r.events = []int64{5}, []int64{3} },
	} {
		wrong := right
		change(&wrong)
		s, f := pairOfGroups(t)
		if err := s.annotate(&f, wrong); err == nil || !strings.Contains(err.Error(), "pair") || len(f.Notes) != 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
}
