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
