package analyses_test

import (
	"fmt"
	"strings"
	"testing"

	"deltoid/pipeline/disclose"
	"deltoid/pipeline/report"
)

// clearedAt clears a report at a threshold and returns its estimates by id.
func clearedAt(t *testing.T, doc report.Document, below int) map[string]report.Estimate {
	t.Helper()
	cleared, err := disclose.Clear(doc, disclose.Policy{MaskBelow: below, Reason: "The data are invented."})
	if err != nil {
		t.Fatal(err)
	}
	byID := map[string]report.Estimate{}
	for _, e := range cleared.Document().Estimates {
		byID[e.ID] = e
	}
	return byID
}

// The numbers at risk at a masked time would say when it was.
func TestNumbersAtRiskGoWithTheirMaskedTime(t *testing.T) {
	var table strings.Builder
	table.WriteString("patient,side,follow_up,outcome\n")
	for i := range 12 {
		fmt.Fprintf(&table, "p%d,left,%d,%s\n", i, 100+i, []string{"revised", "unrevised"}[min(1, i/4)])
	}
	plan := strings.Replace(ratesPlan, "    extra: {implant: {type: code, title: Implant}}\n", "", 1)
	doc, err := readyReport(t, table.String(), plan+"  - {id: all, kind: implant survival, endpoint: revision, times: [0.1], shares: [0.25]}\n")
	if err != nil {
		t.Fatal(err)
	}
	got := clearedAt(t, doc, 5)
	for _, id := range []string{"all.time-to-share.all.0.25", "all.at-risk-then.all.0.25"} {
		if e, ok := got[id]; !ok || e.Status != report.Masked {
			t.Errorf("%s is shown: %+v", id, e)
		}
	}
}
