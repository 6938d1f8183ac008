package cohorts_test

import (
	"errors"
	"testing"

	"deltoid/cohorts"
	"deltoid/schemas"

	gocmp "github.com/google/go-cmp/cmp"
)

// small is a registry of six shoulders with a value missing in every column, an additional text and an additional
// whole number.
func small(t *testing.T) *cohorts.Registry {
	t.Helper()
	r, _ := studyOf(newExport("procedures", "patient,side,day,procedure,occasion,indication,age,surgeon,ward,n_level",
		"A,left,10,reverse,primary,fracture,70,S2,north,2",
		"B,left,20,reverse,primary,fracture,80.5,S1,south,10",
		"C,left,30,reverse,primary,tumour,60,S2,north,2",
		"D,left,40,hemi,primary,,,,,",
		"E,left,50,anatomic,primary,cuff_tear_arthropathy,75,S10,north,-1",
		"E,right,60,reverse,primary,fracture,,S1,south,10")).link(t, smallCut)
	return r
}

var smallCut = cohorts.FollowUp{DataCut: 100}

func at(x float64) *float64 { return &x }

// keptBy defines a cohort by one criterion and returns its last step: kept, left, unknown.
func keptBy(t *testing.T, where ...cohorts.Condition) [3]int {
	t.Helper()
	_, flow, err := cohorts.Define(small(t), cohorts.Definition{Criteria: []cohorts.Criterion{{Label: "These", Where: where}}}, smallCut)
	var p *schemas.Problem
	if err != nil && (!errors.As(err, &p) || p.Kind != schemas.CohortProblem) {
		t.Fatal(err)
	}
	s := flow.Steps[len(flow.Steps)-1]
	return [3]int{s.Kept, s.Left, s.LeftUnknown}
}

func TestConditions(t *testing.T) {
	tests := []struct {
		name  string
		where []cohorts.Condition
		want  [3]int // kept, left, of these unknown
	}{
		{"codes", []cohorts.Condition{{Field: "indication", In: []string{"fracture", "tumour"}}}, [3]int{4, 2, 1}},
		{"a code that no row has", []cohorts.Condition{{Field: "indication", In: []string{"instability"}}}, [3]int{0, 6, 1}},
		{"texts", []cohorts.Condition{{Field: "ward", In: []string{"north"}}}, [3]int{3, 3, 1}},
		{"whole numbers by value", []cohorts.Condition{{Field: "n_level", In: []string{"2", "-1"}}}, [3]int{3, 3, 1}},
		{"whole numbers by bounds", []cohorts.Condition{{Field: "n_level", From: at(2)}}, [3]int{4, 2, 1}},
		{"numbers, both bounds inclusive", []cohorts.Condition{{Field: "age", From: at(70), To: at(80.5)}}, [3]int{3, 3, 2}},
		{"days", []cohorts.Condition{{Field: "day", From: at(20), To: at(50)}}, [3]int{4, 2, 0}},
		{"every part must hold", []cohorts.Condition{{Field: "procedure", In: []string{"reverse"}}, {Field: "age", From: at(65)}}, [3]int{2, 4, 1}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			if diff := gocmp.Diff(test.want, keptBy(t, test.where...)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// TestUnknownIsNotFailed: D lacks an age, but leaves because it is no reverse replacement; E's right shoulder leaves
// only because its age is missing.
func TestUnknownIsNotFailed(t *testing.T) {
	where := []cohorts.Condition{{Field: "procedure", In: []string{"reverse"}}, {Field: "age", From: at(0)}}
	if got := keptBy(t, where...); got != [3]int{3, 3, 1} {
		t.Errorf("kept, left, unknown: %v", got)
	}
}

func TestConditionProblems(t *testing.T) {
	tests := []struct {
		name  string
		where cohorts.Condition
		parts []string
	}{
		{"no such field", cohorts.Condition{Field: "indicaton", In: []string{"fracture"}}, []string{"plan.yaml:7", `"indicaton"`, `write "indication"`}},
		{"a column that was not exported", cohorts.Condition{Field: "bmi", From: at(30)}, []string{`"bmi"`, "export the column"}},
		{"no such code", cohorts.Condition{Field: "indication", In: []string{"fractur"}}, []string{`"fractur"`, `write "fracture"`}},
		{"bounds on codes", cohorts.Condition{Field: "indication", From: at(1)}, []string{"bounds", "a list of values"}},
		{"values on a number", cohorts.Condition{Field: "age", In: []string{"70"}}, []string{"lists values", "bounds"}},
		{"a word among whole numbers", cohorts.Condition{Field: "n_level", In: []string{"two"}}, []string{`"two"`, "whole numbers"}},
		{"both", cohorts.Condition{Field: "age", In: []string{"70"}, From: at(1)}, []string{"both"}},
		{"neither", cohorts.Condition{Field: "age"}, []string{"neither"}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			d := cohorts.Definition{Criteria: []cohorts.Criterion{{Label: "These", Place: "plan.yaml:7", Where: []cohorts.Condition{test.where}}}}
			_, _, err := cohorts.Define(small(t), d, smallCut)
			problemOf(t, err, schemas.PlanProblem, test.parts...)
		})
	}
}

// TestEveryConditionProblemAtOnce: nobody has to mend a plan one word at a time.
func TestEveryConditionProblemAtOnce(t *testing.T) {
	d := cohorts.Definition{Criteria: []cohorts.Criterion{
		{Label: "One", Where: []cohorts.Condition{{Field: "wrong", In: []string{"x"}}, {Field: "age"}}},
		{Label: "Two", Where: []cohorts.Condition{{Field: "procedure", In: []string{"x"}}}}}}
	_, _, err := cohorts.Define(small(t), d, smallCut)
	var all schemas.Problems
	if !errors.As(err, &all) || len(all) != 3 {
		t.Errorf("problems: %v", err)
	}
}

func TestEmptyCohort(t *testing.T) {
	d := cohorts.Definition{Name: "old", Criteria: []cohorts.Criterion{
		{Label: "Fracture", Where: []cohorts.Condition{{Field: "indication", In: []string{"fracture"}}}},
		{Label: "Over ninety", Place: "plan.yaml:9", Where: []cohorts.Condition{{Field: "age", From: at(90)}}},
		{Label: "Reverse", Where: []cohorts.Condition{{Field: "procedure", In: []string{"reverse"}}}}}}
	c, flow, err := cohorts.Define(small(t), d, smallCut)
	problemOf(t, err, schemas.CohortProblem, "plan.yaml:9", `"old"`, `"Over ninety"`, "left out all 3 that remained, ", "1 of them because a value is missing")
	if c != nil || flow == nil || flow.Steps[len(flow.Steps)-1].ID != "criterion-2" {
		t.Errorf("cohort %v, flow %+v", c, flow)
	}
}

func TestEmptyExport(t *testing.T) {
	r, _ := studyOf(newExport("procedures", "patient,side,day,procedure,occasion")).link(t, smallCut)
	_, flow, err := cohorts.Define(r, everyone, smallCut)
	problemOf(t, err, schemas.CohortProblem, `"everyone"`, "no rows")
	if flow == nil || flow.RowsRead != 0 {
		t.Errorf("flow %+v", flow)
	}
}

// TestNobodyBeforeTheCut: the step named is the one at which the last shoulders left.
func TestNobodyBeforeTheCut(t *testing.T) {
	_, _, err := cohorts.Define(small(t), everyone, cohorts.FollowUp{DataCut: 5})
	problemOf(t, err, schemas.CohortProblem, "Operated on by the data cut", "left out all 6 that remained")
}

func TestDataCutProblems(t *testing.T) {
	r, err := cohorts.FromReady(newExport("shoulders", "patient,follow_up,outcome", "A,10,died").table(t), &schemas.Findings{})
	if err != nil {
		t.Fatal(err)
	}
	_, _, err = cohorts.Define(r, everyone, smallCut)
	problemOf(t, err, schemas.PlanProblem, "ready table", "data cut")
	_, _, err = cohorts.Define(small(t), everyone, cohorts.FollowUp{DataCut: 1 << 30})
	problemOf(t, err, schemas.PlanProblem, "1073741824")
}

func TestLeavingWords(t *testing.T) {
	d := cohorts.Definition{Criteria: []cohorts.Criterion{
		{Label: "Reverse replacement", Where: []cohorts.Condition{{Field: "day", From: at(0)}}},
		{Label: "ASA class known", Where: []cohorts.Condition{{Field: "day", From: at(0)}}},
		{Label: "", Where: []cohorts.Condition{{Field: "day", From: at(0)}}}}}
	_, flow := define(t, small(t), d, smallCut)
	var got []string
	for _, s := range flow.Steps[len(flow.Steps)-3:] {
		got = append(got, s.Leaving)
	}
	if diff := gocmp.Diff([]string{"Not reverse replacement", "Not ASA class known", "Not "}, got); diff != "" {
		t.Error(diff)
	}
}
