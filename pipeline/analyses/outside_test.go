package analyses_test

import (
	"fmt"
	"strings"
	"testing"

	"deltoid/pipeline/report"
)

// 60 women of whom 12 were revised, 40 men of whom 2 were: the whole less the women would give the two men away.
func TestPartOfTheCohortDoesNotGiveTheRestAway(t *testing.T) {
	var table strings.Builder
	table.WriteString("patient,side,follow_up,outcome,reason,implant,sex\n")
	for i := range 100 {
		sex, outcome := "female", "unrevised,"
		if i >= 60 {
			sex = "male"
		}
		if i < 12 || i >= 98 {
			outcome = "revised,infection"
		}
		fmt.Fprintf(&table, "p%d,left,%d,%s,%s,%s\n", i, 100+i, outcome, []string{"A", "B"}[i%2], sex)
	}
	for _, by := range []string{"", ", by: implant"} {
		doc, err := readyReport(t, table.String(), ratesPlan+"  - {id: all, kind: implant survival, endpoint: revision, times: [0.1]"+by+"}\n"+
			"  - {id: women, kind: implant survival, endpoint: revision, times: [0.1], within: {keep: Women, where: {sex: female}}"+by+"}\n")
		if err != nil {
			t.Fatal(err)
		}
		got := clearedAt(t, doc, 5)
		for _, what := range []string{"ended-revised.all", "shoulders.all"} {
			all, women := got["all."+what], got["women."+what]
			if all.ID == "" || women.ID == "" {
				t.Fatalf("no estimates of %s", what)
			}
			small := what != "shoulders.all"
			if small && all.Status != report.Masked && women.Status != report.Masked {
				t.Errorf("%v revised less %v women gives the men away", all.Value.X, women.Value.X)
			}
			if by == "" && !small && (all.Status == report.Masked || women.Status == report.Masked) {
				t.Errorf("%s is masked though no difference of it is small", what)
			}
		}
	}
}

// Of 100, 70 are over 60 years old and of these 67 over 65, one of the three between revised: two parts of the cohort, one in
// the other, would give the three away, also where each is followed to another endpoint.
func TestAPartInAnotherDoesNotGiveTheRestAway(t *testing.T) {
	var table strings.Builder
	table.WriteString("patient,follow_up,outcome,reason,implant,years\n")
	for i := range 100 {
		outcome := "unrevised,"
		if i < 12 || i == 69 {
			outcome = "revised,infection"
		}
		years := 70
		switch {
		case i >= 70:
			years = 50
		case i >= 67:
			years = 62
		}
		fmt.Fprintf(&table, "p%d,%d,%s,A,%d\n", i, 100+i, outcome, years)
	}
	text := strings.Replace(ratesPlan, "implant: {type: code, title: Implant}", "implant: {type: code}, years: {type: number}", 1)
	text = strings.Replace(text, "revision: {competing: [died]}", "revision: {competing: [died]}\n  death: {event: died}", 1)
	for _, endpoint := range []string{"revision", "death"} {
		doc, err := readyReport(t, table.String(), text+
			"  - {id: older, kind: implant survival, endpoint: revision, times: [0.1], within: {keep: Over 60, where: {years: {from: 60}}}}\n"+
			"  - {id: oldest, kind: implant survival, endpoint: "+endpoint+", times: [0.1], within: {keep: Over 65, where: {years: {from: 65}}}}\n")
		if err != nil {
			t.Fatal(err)
		}
		got := clearedAt(t, doc, 5)
		older, oldest := got["older.shoulders.all"], got["oldest.shoulders.all"]
		if older.ID == "" || oldest.ID == "" || older.Status != report.Masked && oldest.Status != report.Masked {
			t.Errorf("%s: %v less %v gives three away", endpoint, older.Value.X, oldest.Value.X)
		}
	}
}

// 100 first shoulders of which 12 were revised and 40 second ones of which 2 were: all less the first would give the two away.
func TestFirstShouldersDoNotGiveTheSecondAway(t *testing.T) {
	var table strings.Builder
	table.WriteString("patient,side,entry_day,follow_up,outcome,reason,implant\n")
	for i := range 140 {
		side, outcome := "left", "unrevised,"
		if i >= 100 {
			side = "right"
		}
		if i < 12 || i >= 138 {
			outcome = "revised,infection"
		}
		fmt.Fprintf(&table, "p%d,%s,,%d,%s,A\n", i%100, side, 100+i, outcome)
	}
	doc, err := readyReport(t, table.String(), ratesPlan+"  - {id: all, kind: implant survival, endpoint: revision, times: [0.1], sensitivity: [first shoulder only]}\n")
	if err != nil {
		t.Fatal(err)
	}
	got := clearedAt(t, doc, 5)
	all, first := got["all.ended-revised.all"], got["all.first-shoulder-only.ended-revised.all"]
	if all.ID == "" || first.ID == "" || all.Status != report.Masked && first.Status != report.Masked {
		t.Errorf("%+v less %+v gives the second shoulders away", all.Value, first.Value)
	}
}

// 40 shoulders were followed for a year, 2 of them revised later; 30 were not, and of these 12 were revised early. A minimum
// that was achieved keeps the revised; so all but those 18 are the main analysis, and the 18 are what the repetition adds.
func TestWithoutMinimumFollowUpIsWhatThePlanWouldGiveWithoutIt(t *testing.T) {
	var table strings.Builder
	table.WriteString("patient,follow_up,outcome,implant\n")
	for i := range 70 {
		days, outcome := 400+i, "unrevised"
		switch {
		case i < 2:
			outcome = "revised"
		case i >= 58:
			days, outcome = 20+i, "revised"
		case i >= 40:
			days = 20 + i
		}
		fmt.Fprintf(&table, "p%d,%d,%s,A\n", i, days, outcome)
	}
	const asked = "  - {id: all, kind: implant survival, endpoint: revision, times: [0.5]%s}\n"
	withMinimum := strings.Replace(ratesPlan, "endpoints:", "cohort: {minimum_follow_up: {length: 1, unit: years, counted: achieved}}\nendpoints:", 1)
	main, err := readyReport(t, table.String(), withMinimum+fmt.Sprintf(asked, ", sensitivity: [without minimum follow-up]"))
	if err != nil {
		t.Fatal(err)
	}
	plain, err := readyReport(t, table.String(), ratesPlan+fmt.Sprintf(asked, ""))
	if err != nil {
		t.Fatal(err)
	}
	for varied, same := range map[string]string{"all.without-minimum-follow-up.shoulders.all": "all.shoulders.all",
		"all.without-minimum-follow-up.incidence.all.0.5y": "all.incidence.all.0.5y"} {
		got, ok := find(main, varied)
		want, there := find(plain, same)
		if !ok || !there || got.Value != want.Value || got.Lower != want.Lower {
			t.Errorf("%s is %+v, want %+v", varied, got.Value, want.Value)
		}
	}
	if n, _ := find(main, "all.shoulders.all"); n.Value.X != 52 {
		t.Errorf("the main analysis is of %v shoulders", n.Value.X)
	}
	got := clearedAt(t, main, 5)
	if n := got["all.without-minimum-follow-up.outside.all-shoulders"]; n.Value.X != 18 {
		t.Errorf("the repetition adds %+v", n)
	}
}
