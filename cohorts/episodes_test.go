package cohorts_test

import (
	"testing"

	"deltoid/cohorts"
	"deltoid/schemas"

	gocmp "github.com/google/go-cmp/cmp"
)

// grouped returns the label of every shoulder of the small registry.
func grouped(t *testing.T, g cohorts.Grouping) (labels []string, eps *cohorts.Episodes) {
	t.Helper()
	c, _ := define(t, small(t), everyone, smallCut)
	eps = episodes(t, c, anyRevision, smallCut, g)
	for _, group := range eps.Group {
		labels = append(labels, eps.Groups[group])
	}
	return labels, eps
}

func TestGroups(t *testing.T) {
	tests := []struct {
		name   string
		g      cohorts.Grouping
		groups []string
		labels []string // of the shoulders A, B, C, D, E left, E right
		empty  []string
	}{
		{"one of all", cohorts.Grouping{}, []string{"All"}, []string{"All", "All", "All", "All", "All", "All"}, nil},
		{"codes in schema order", cohorts.Grouping{By: "indication"},
			[]string{"Cuff-tear arthropathy", "Proximal humerus fracture", "Tumour", "Not recorded"},
			[]string{"Proximal humerus fracture", "Proximal humerus fracture", "Tumour", "Not recorded", "Cuff-tear arthropathy",
				"Proximal humerus fracture"}, nil},
		{"order and labels of the plan", cohorts.Grouping{By: "indication", Order: []string{"tumour", "instability"},
			Labels: map[string]string{"fracture": "Broken", "inflammatory": "Inflamed"}},
			[]string{"Tumour", "Cuff-tear arthropathy", "Broken", "Not recorded"},
			[]string{"Broken", "Broken", "Tumour", "Not recorded", "Cuff-tear arthropathy", "Broken"},
			[]string{"Instability or locked dislocation", "Inflamed"}},
		{"codes under one label", cohorts.Grouping{By: "procedure", Labels: map[string]string{"hemi": "Not reverse", "anatomic": "Not reverse"}},
			[]string{"Reverse total shoulder replacement", "Not reverse"},
			[]string{"Reverse total shoulder replacement", "Reverse total shoulder replacement", "Reverse total shoulder replacement",
				"Not reverse", "Not reverse", "Reverse total shoulder replacement"}, nil},
		{"texts rising", cohorts.Grouping{By: "surgeon", Order: []string{"S3"}}, []string{"S1", "S10", "S2", "Not recorded"},
			[]string{"S2", "S1", "S2", "Not recorded", "S10", "S1"}, []string{"S3"}},
		{"whole numbers rising", cohorts.Grouping{By: "n_level"}, []string{"-1", "2", "10", "Not recorded"},
			[]string{"2", "10", "2", "Not recorded", "-1", "10"}, nil},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			labels, eps := grouped(t, test.g)
			if diff := gocmp.Diff(test.groups, eps.Groups); diff != "" {
				t.Errorf("groups:\n%s", diff)
			}
			if diff := gocmp.Diff(test.labels, labels); diff != "" {
				t.Errorf("shoulders:\n%s", diff)
			}
			if diff := gocmp.Diff(test.empty, eps.Empty); diff != "" {
				t.Errorf("empty:\n%s", diff)
			}
		})
	}
}

func TestGroupProblems(t *testing.T) {
	c, _ := define(t, small(t), everyone, smallCut)
	tests := []struct {
		name  string
		g     cohorts.Grouping
		parts []string
	}{
		{"no such field", cohorts.Grouping{By: "surgon", Place: "plan.yaml:30"}, []string{"plan.yaml:30", `write "surgeon"`}},
		{"a measured field", cohorts.Grouping{By: "age", Place: "plan.yaml:30"}, []string{"plan.yaml:30", `"age"`, "codes, texts or whole numbers"}},
		{"no such code", cohorts.Grouping{By: "indication", Order: []string{"fractures"}}, []string{`"fractures"`, `write "fracture"`}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			_, err := c.Episodes(anyRevision, smallCut, test.g)
			problemOf(t, err, schemas.PlanProblem, test.parts...)
		})
	}
}

func TestEndpointProblems(t *testing.T) {
	c, _ := define(t, small(t), everyone, smallCut)
	for _, e := range []cohorts.Endpoint{
		{ID: "x", Competing: []cohorts.Cause{"dead"}},
		{ID: "x", Event: cohorts.Died, Competing: []cohorts.Cause{cohorts.Died}},
		{ID: "x", Competing: []cohorts.Cause{cohorts.Died, cohorts.Died}},
	} {
		_, err := c.Episodes(e, smallCut, cohorts.Grouping{})
		problemOf(t, err, schemas.PlanProblem, `"x"`, "revised, other_revision, died, other_event")
	}
}

// TestOtherFollowUpThanDefined: a shoulder operated on after the data cut cannot have an episode.
func TestOtherFollowUpThanDefined(t *testing.T) {
	c, _ := define(t, small(t), everyone, smallCut)
	if _, err := c.Episodes(anyRevision, cohorts.FollowUp{DataCut: 30}, cohorts.Grouping{}); err == nil {
		t.Error("no error")
	}
}

// TestDeathAsEndpoint: a revision does not end the wait for death, unless it is named as competing.
func TestDeathAsEndpoint(t *testing.T) {
	r, _ := studyOf(
		newExport("procedures", "patient,side,day,procedure,occasion", "A,left,10,reverse,primary"),
		newExport("revisions", "patient,side,day,reason", "A,left,30,infection"),
		newExport("deaths", "patient,day", "A,50"),
	).link(t, smallCut)
	c, _ := define(t, r, everyone, smallCut)
	alone := episodes(t, c, cohorts.Endpoint{Event: cohorts.Died}, smallCut, cohorts.Grouping{})
	if alone.Exit[0] != 40 || alone.Cause[0] != 1 {
		t.Errorf("exit %d, cause %d", alone.Exit[0], alone.Cause[0])
	}
	named := episodes(t, c, cohorts.Endpoint{Event: cohorts.Died, Competing: []cohorts.Cause{cohorts.Revised}}, smallCut, cohorts.Grouping{})
	if named.Exit[0] != 20 || named.Cause[0] != 2 {
		t.Errorf("with revision competing: exit %d, cause %d", named.Exit[0], named.Cause[0])
	}
}

// TestFirstNamedCompetingCauseCounts: of two competing events on one day the one named first is the cause.
func TestFirstNamedCompetingCauseCounts(t *testing.T) {
	r, _ := studyOf(
		newExport("procedures", "patient,side,day,procedure,occasion", "A,left,10,reverse,primary"),
		newExport("revisions", "patient,side,day,reason", "A,left,50,wear"),
		newExport("deaths", "patient,day", "A,50"),
	).link(t, smallCut)
	c, _ := define(t, r, everyone, smallCut)
	for _, order := range [][]cohorts.Cause{{cohorts.OtherRevision, cohorts.Died}, {cohorts.Died, cohorts.OtherRevision}} {
		e := cohorts.Endpoint{Reasons: []string{"infection"}, Competing: order}
		eps := episodes(t, c, e, smallCut, cohorts.Grouping{})
		if eps.Cause[0] != 2 || eps.Causes[1] != order[0] || eps.Simultaneous != 0 {
			t.Errorf("order %v: cause %d of %v, simultaneous %d", order, eps.Cause[0], eps.Causes, eps.Simultaneous)
		}
	}
}

// TestNoEventsNoCensoring: causes come from the endpoint, never from which of them occur (a cause without events keeps
// its code).
func TestCausesDoNotDependOnTheData(t *testing.T) {
	for _, outcome := range []string{"unrevised", "revised", "died", "other_event"} {
		r, err := cohorts.FromReady(newExport("shoulders", "patient,follow_up,outcome", "A,10,"+outcome).table(t), &schemas.Findings{})
		if err != nil {
			t.Fatal(err)
		}
		c, _ := define(t, r, everyone, noCut)
		eps := episodes(t, c, anyRevision, noCut, cohorts.Grouping{})
		want := map[string]uint8{"unrevised": 0, "revised": 1, "died": 2, "other_event": 3}[outcome]
		if eps.Cause[0] != want || eps.Exit[0] != 10 || len(eps.Causes) != 3 {
			t.Errorf("%s: cause %d, exit %d, causes %v", outcome, eps.Cause[0], eps.Exit[0], eps.Causes)
		}
	}
}
