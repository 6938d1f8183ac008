package disclose

import (
	"fmt"
	"testing"

	"deltoid/pipeline/report"
)

// BenchmarkClear clears a report on many hospitals, of which one in ten has a small count, followed at two times and
// added up to the whole cohort.
func BenchmarkClear(b *testing.B) {
	for _, hospitals := range []int{10, 300} {
		b.Run(fmt.Sprint(hospitals), func(b *testing.B) {
			var groups []group
			for i := range hospitals {
				n := 100 + i
				groups = append(groups, group{fmt.Sprintf("h%03d", i), n, []int{1 + i%10, 20 + i%50}, []int{70, 30 + i%7}})
			}
			doc := followed(append(groups, together(groups...))...)
			for b.Loop() {
				if _, err := Clear(doc, Policy{MaskBelow: DefaultMaskBelow}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkClearSmallRegistry clears reports of some 1,100 and 4,200 numbers in which a count is rarely above 12: cross
// tables, and small groups followed up. Here almost everything hangs together and much must be hidden.
func BenchmarkClearSmallRegistry(b *testing.B) {
	for _, tables := range []int{3, 12} {
		b.Run(fmt.Sprint(tables), func(b *testing.B) {
			doc := smallRegistry(tables)
			for b.Loop() {
				if _, err := Clear(doc, Policy{MaskBelow: DefaultMaskBelow}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(doc.Estimates)), "numbers")
		})
	}
}

func smallRegistry(tables int) report.Document {
	var groups []group
	for i := range 16 * tables {
		n := 8 + 5*i%23
		groups = append(groups, group{fmt.Sprintf("g%03d", i), n, []int{i % 3, i%3 + i%4}, []int{n - 1 - i%5, (n - i%5) / 2}})
	}
	doc := followed(append(groups, together(groups...))...)
	for k := range tables {
		cells := make([]int, 15*15)
		for i := range cells {
			cells[i] = (7*i + i*i/(k+3)) % 13
		}
		t, _ := table(15, 15, cells)
		rename := func(id string) string { return fmt.Sprintf("t%d.%s", k, id) }
		for _, e := range t.Estimates {
			e.ID = rename(e.ID)
			doc.Estimates = append(doc.Estimates, e)
		}
		for _, sum := range t.Totals {
			parts := make([]string, len(sum.Parts))
			for i, p := range sum.Parts {
				parts[i] = rename(p)
			}
			doc.Totals = append(doc.Totals, report.Total{Whole: rename(sum.Whole), Parts: parts})
		}
	}
	return doc
}
