package disclose

import (
	"fmt"
	"testing"
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
