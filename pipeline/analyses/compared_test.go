package analyses_test

import (
	"fmt"
	"strings"
	"testing"

	"deltoid/pipeline/report"
)

// threeImplants is shoulders of three implants, and of none on record where there are unknown ones. Every third patient has two.
func threeImplants(unknown bool) string {
	var b strings.Builder
	b.WriteString("patient,side,follow_up,outcome,reason,implant,sex\n")
	for i := range 90 {
		implant := []string{"A", "B", "C", ""}[i%4]
		if implant == "" && !unknown {
			continue
		}
		outcome, reason := "unrevised", ""
		if i%5 == 0 || i%7 == 3 {
			outcome, reason = "revised", "infection"
		}
		fmt.Fprintf(&b, "p%d,%s,%d,%s,%s,%s,%s\n", i-i%2*(i%3/2), []string{"left", "right"}[i%2], 30+(i*37)%900, outcome, reason, implant, []string{"female", "male"}[i/3%2])
	}
	return b.String()
}

// Shoulders of which the group is not recorded are no group: every result over groups is the one of a table without them. The
// curves show them still.
func TestShouldersWithoutAGroupAreLeftOutOfComparisons(t *testing.T) {
	for _, more := range []string{"variance: independent", "variance: clustered, strata: sex"} {
		text := ratesPlan + "  - {id: c, kind: comparison of groups, endpoint: revision, by: implant, times: [1], horizon: 1, trend: true, tests: [log-rank, Gray], " + more + "}\n"
		with, err := readyReport(t, threeImplants(true), text)
		if err != nil {
			t.Fatal(err)
		}
		without, err := readyReport(t, threeImplants(false), text)
		if err != nil {
			t.Fatal(err)
		}
		got, compared := map[string]report.Estimate{}, 0
		for _, e := range with.Estimates {
			got[e.ID] = e
			if strings.Contains(e.ID, "difference.not-recorded") || strings.HasPrefix(e.ID, "c.pair.not-recorded") {
				t.Errorf("%s compares shoulders without a group", e.ID)
			}
		}
		for _, want := range without.Estimates {
			for _, part := range []string{"c.test.", "c.pair.", "c.difference.", "c.mean"} {
				if !strings.HasPrefix(want.ID, part) {
					continue
				}
				compared++
				if e := got[want.ID]; e.Value != want.Value || e.N != want.N || e.Events != want.Events {
					t.Errorf("%s, %s: %v of %v shoulders and %v events, without them %v of %v and %v", more, want.ID, e.Value, e.N, e.Events, want.Value, want.N, want.Events)
				}
			}
		}
		if compared < 20 || got["c.shoulders.not-recorded"].Value.X != 22 {
			t.Errorf("%d results were compared, %v shoulders have no group", compared, got["c.shoulders.not-recorded"].Value)
		}
		clearedAt(t, with, 5) // the totals hold
	}
}

// A test statistic beside the counts of all other groups narrows a masked one, so it goes with it.
func TestTestsGoWithAMaskedGroup(t *testing.T) {
	doc, err := readyReport(t, strings.ReplaceAll(threeImplants(false), "revised,infection,B", "unrevised,,B")+"q,left,50,revised,infection,B,male\n",
		ratesPlan+"  - {id: c, kind: comparison of groups, endpoint: revision, by: implant, times: [1]}\n")
	if err != nil {
		t.Fatal(err)
	}
	got := clearedAt(t, doc, 5)
	for _, id := range []string{"c.ended-revised.b", "c.test.log-rank.chi-square", "c.test.log-rank.p"} {
		if e, ok := got[id]; !ok || e.Status != report.Masked {
			t.Errorf("%s is shown: %+v (there: %v)", id, e.Value, ok)
		}
	}
}
