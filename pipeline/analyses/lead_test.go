package analyses

import (
	"testing"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// One answer to each question comes before a second one to any, and analyses that serve others come last.
func TestTheLeadAnswersEachQuestionOnce(t *testing.T) {
	b := newBook(&report.Document{})
	p := &plan.Plan{}
	sections := []report.Section{{ID: "participants"}}
	b.short["participants"] = report.Words("participants")
	for id, kind := range []plan.Kind{plan.ThresholdsKind, plan.ImplantSurvival, plan.Comparison, plan.Recovery} {
		name := string(rune('a' + id))
		p.Analyses = append(p.Analyses, plan.Analysis{ID: name, Kind: kind})
		sections = append(sections, report.Section{ID: name})
		b.short[name] = report.Words(name)
	}
	for n, want := range map[int]string{5: "participants b d", 4: "participants b a", 3: "participants b a", 2: "participants a"} {
		got := ""
		for i, text := range lead(b, p, sections[:n]) {
			if i > 0 {
				got += " "
			}
			got += text[0].Words
		}
		if got != want {
			t.Errorf("of %d sections the lead is %q, want %q", n, got, want)
		}
	}
}
