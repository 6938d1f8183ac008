package analyses_test

import (
	"fmt"
	"strings"
	"testing"
)

// BenchmarkRegression is a report with one regression of 200,000 shoulders, two of each patient, from the ready table on: reading,
// the model, those of each characteristic alone, one with stretches of follow-up, and the tests.
func BenchmarkRegression(b *testing.B) {
	var rows strings.Builder
	rows.WriteString("patient,side,follow_up,outcome,age,group,twin,one,rare,empty,blank\n")
	x := uint32(1)
	draw := func(n uint32) uint32 { x = x*1664525 + 1013904223; return (x >> 8) % n }
	for i := range 200_000 {
		side := []string{"left", "right"}[i%2]
		outcome := []string{"revised", "died", "unrevised", "unrevised", "unrevised"}[draw(5)]
		fmt.Fprintf(&rows, "p%d,%s,%d,%s,%d,%c,%d,%d,%d,,\n", i/2, side, draw(4000), outcome, 50+draw(40), 'a'+rune(draw(5)), draw(100), draw(9), draw(1000))
	}
	for b.Loop() {
		_, err := readyReport(b, rows.String(), modelPlan+"  - {kind: regression, endpoint: revision, by: group, adjust_for: [age, twin, one, rare], times: [2]}\n")
		if err != nil {
			b.Fatal(err)
		}
	}
}
