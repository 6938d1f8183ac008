package cohorts_test

import (
	"fmt"
	"maps"
	"runtime"
	"slices"
	"testing"

	"deltoid/cohorts"
	"deltoid/schemas"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// outcome is everything that linking, defining and following say, with rows named by the line they stand on.
type outcome struct {
	Shoulders, Revisions, Findings []string
	Ledgers                        []schemas.Ledger
	Flow                           *cohorts.Flow
	Episodes                       *cohorts.Episodes
	Problem                        string
}

func outcomeOf(tb testing.TB, s study, d cohorts.Definition, f cohorts.FollowUp, g cohorts.Grouping) outcome {
	tb.Helper()
	tables, found := s.tables(tb), &schemas.Findings{}
	r, err := cohorts.Link(tables, f, found)
	if err != nil {
		tb.Fatal(err)
	}
	o := outcome{Ledgers: r.Ledgers}
	for i, shoulder := range r.Shoulders {
		_, line := r.Table.Place(int(shoulder.Row))
		o.Shoulders = append(o.Shoulders, fmt.Sprint(line, shoulder.Patient, shoulder.Side, shoulder.Day, shoulder.Death, shoulder.LastContact))
		for _, v := range r.RevisionsOf(i) {
			source := tables["revisions"]
			if v.InProcedures {
				source = tables["procedures"]
			}
			_, line := source.Place(int(v.Row))
			o.Revisions = append(o.Revisions, fmt.Sprint(i, v.Shoulder, line, v.Day, v.Reason, v.InProcedures))
		}
	}
	for _, one := range found.All() {
		o.Findings = append(o.Findings, fmt.Sprint(one.Table, one.Line, one.Column, one.Rule.ID, one.Value, one.Detail))
	}
	c, flow, err := cohorts.Define(r, d, f)
	o.Flow = flow
	if err != nil {
		o.Problem = err.Error()
		return o
	}
	if o.Episodes, err = c.Episodes(infection, f, g); err != nil {
		tb.Fatal(err)
	}
	return o
}

// shuffled returns the study with the rows of every table in a drawn order.
func shuffledStudy(t *rapid.T, s study) study {
	out := study{}
	for _, name := range slices.Sorted(maps.Keys(s)) {
		order := make([]int, len(s[name].rows))
		for i := range order {
			order[i] = i
		}
		out[name] = s[name].permuted(rapid.Permutation(order).Draw(t, "order of "+name))
	}
	return out
}

// TestRowOrderDoesNotMatter shuffles the worked registry and random ones.
func TestRowOrderDoesNotMatter(t *testing.T) {
	paper := workedStudy(t)
	bySex := cohorts.Grouping{By: "sex"}
	want := outcomeOf(t, paper, workedDefinition, untilContact, bySex)
	rapid.Check(t, func(rt *rapid.T) {
		got := outcomeOf(t, shuffledStudy(rt, paper), workedDefinition, untilContact, bySex)
		if diff := gocmp.Diff(want, got); diff != "" {
			rt.Fatalf("worked registry (- as written, + shuffled):\n%s", diff)
		}
		s, f := randomStudy(rt), randomFollowUp(rt)
		reverse := cohorts.Definition{Criteria: []cohorts.Criterion{{Label: "Reverse",
			Where: []cohorts.Condition{{Field: "procedure", In: []string{"reverse"}}}}}}
		byOccasion := cohorts.Grouping{By: "procedure"}
		first := outcomeOf(t, s, reverse, f, byOccasion)
		second := outcomeOf(t, shuffledStudy(rt, s), reverse, f, byOccasion)
		if diff := gocmp.Diff(first, second); diff != "" {
			rt.Fatalf("random study (- as drawn, + shuffled):\n%s", diff)
		}
	})
}

// decisionsOf is everything that the decisions about a study say.
func decisionsOf(tb testing.TB, s study) []any {
	tb.Helper()
	r, _ := s.link(tb, untilCut)
	d := cohorts.Definition{Indication: cohorts.Settled, Minimum: cohorts.MinimumFollowUp{Days: 300, Words: "300 days"}, FirstShoulderOnly: true}
	first, flow := define(tb, r, d, untilCut)
	c, _ := define(tb, r, everyone, untilCut)
	audit, err := c.Audit()
	if err != nil {
		tb.Fatal(err)
	}
	pairs, err := c.Pairs(cohorts.Grouping{By: "procedure"})
	if err != nil {
		tb.Fatal(err)
	}
	complete, err := c.Completeness(exchanged, untilCut, cohorts.Grouping{By: "age", Bands: []float64{65}})
	if err != nil {
		tb.Fatal(err)
	}
	visits, err := c.Visits("constant", []cohorts.Window{{ID: "before", From: -180}, {ID: "later", Target: 365, From: 1, To: 900}}, anyRevision, untilCut)
	if err != nil {
		tb.Fatal(err)
	}
	return []any{first.Shoulders, flow, c.Settlement(), audit, pairs, complete, fmt.Sprint(visits),
		episodes(tb, c, exchanged, untilCut, cohorts.Grouping{By: "indication"})}
}

// TestRowOrderDoesNotMatterToDecisions shuffles the worked registry of decisions.
func TestRowOrderDoesNotMatterToDecisions(t *testing.T) {
	paper := decidedStudy(t)
	want := decisionsOf(t, paper)
	rapid.Check(t, func(rt *rapid.T) {
		if diff := gocmp.Diff(want, decisionsOf(t, shuffledStudy(rt, paper))); diff != "" {
			rt.Fatalf("(- as written, + shuffled):\n%s", diff)
		}
	})
}

// TestProcessorsDoNotMatter links a study of several parts with one processor and with several.
func TestProcessorsDoNotMatter(t *testing.T) {
	const n = 100_000
	link := func(processors int) *cohorts.Registry {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		r, err := cohorts.Link(shuffled(t, n), benchFollowUp, &schemas.Findings{})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	one, seven := link(1), link(7)
	if !slices.Equal(one.Shoulders, seven.Shoulders) || !slices.Equal(one.Revisions, seven.Revisions) ||
		!slices.Equal(one.Ledgers, seven.Ledgers) {
		t.Error("the registry depends on the number of processors")
	}
	for i, s := range one.Shoulders {
		for _, v := range one.RevisionsOf(i) {
			if int(v.Shoulder) != i || v.Day < s.Day {
				t.Fatalf("shoulder %d of day %d holds the revision %+v", i, s.Day, v)
			}
		}
	}
}

// TestFlowAddsUp walks random registries through random criteria.
func TestFlowAddsUp(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, f := randomStudy(rt), randomFollowUp(rt)
		r, _ := s.link(t, f)
		var d cohorts.Definition
		for range rapid.IntRange(0, 3).Draw(rt, "criteria") {
			from := float64(rapid.IntRange(0, 9).Draw(rt, "from"))
			d.Criteria = append(d.Criteria, cohorts.Criterion{Label: "Late", Where: []cohorts.Condition{{Field: "day", From: &from}}})
		}
		d.FirstShoulderOnly = rapid.Bool().Draw(rt, "first shoulder only")
		d.Minimum = cohorts.MinimumFollowUp{Days: rapid.Int32Range(0, 6).Draw(rt, "minimum"), Achieved: rapid.Bool().Draw(rt, "achieved")}
		c, flow, err := cohorts.Define(r, d, f)
		before, patients := flow.RowsRead, 0
		for _, step := range flow.Steps {
			if step.Kept+step.Left != before {
				rt.Fatalf("step %q: %d kept, %d left of %d", step.ID, step.Kept, step.Left, before)
			}
			if step.Unit == "shoulders" && step.ID != "primary" && step.KeptPatients+step.LeftPatients != patients {
				rt.Fatalf("step %q: %d patients kept, %d left of %d", step.ID, step.KeptPatients, step.LeftPatients, patients)
			}
			before, patients = step.Kept, step.KeptPatients
		}
		if err == nil && d.FirstShoulderOnly && len(c.Shoulders) != c.Patients() {
			rt.Fatalf("%d first shoulders of %d patients", len(c.Shoulders), c.Patients())
		}
		if err == nil && (len(c.Shoulders) != before || c.Patients() != patients) {
			rt.Fatalf("the cohort has %d shoulders of %d patients, its flow %d of %d", len(c.Shoulders), c.Patients(), before, patients)
		}
	})
}
