package schemas

import (
	"fmt"
	"testing"
)

// One wrong layout makes every row of an export a finding; the goroutines that read hand them over block by block.
func BenchmarkFindings(b *testing.B) {
	const n, block = 1_000_000, 10_000
	for b.Loop() {
		b.StopTimer()
		fs := &Findings{}
		for at := n - block; at >= 0; at -= block {
			found := make([]Finding, block)
			for i := range found {
				found[i] = Finding{Rule: RuleBadDate, Table: "procedures", File: "procedures.csv", Line: at + i + 2, Column: 3, Value: fmt.Sprint(i)}
			}
			fs.Add(found...)
		}
		b.StartTimer()
		fs.Summary()
	}
}
