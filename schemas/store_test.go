package schemas

import (
	"cmp"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// slowOrder sorts a plain list of findings, as the doc comment of Findings.Each has it.
func slowOrder(list []Finding) []Finding {
	slices.SortStableFunc(list, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.Table, b.Table), cmp.Compare(a.order, b.order), cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line),
			cmp.Compare(a.Column, b.Column), cmp.Compare(a.Rule.ID, b.Rule.ID), cmp.Compare(a.Value, b.Value), cmp.Compare(a.Detail, b.Detail))
	})
	return list
}

// What is kept compactly comes back whole and in order, against a plain sorted list.
func TestFindingsComeBackWhole(t *testing.T) {
	long := strings.Repeat("x", 700_000) // two of these do not fit into one block
	rapid.Check(t, func(t *rapid.T) {
		fs := &Findings{}
		fs.store.limit = rapid.SampledFrom([]int{0, 1, 3, 10}).Draw(t, "kept in memory")
		var want []Finding
		for range rapid.IntRange(0, 40).Draw(t, "findings") {
			column := rapid.IntRange(0, 3).Draw(t, "column")
			f := Finding{Rule: Rules()[rapid.IntRange(0, 4).Draw(t, "rule")], Table: rapid.SampledFrom(names).Draw(t, "table"),
				Line: rapid.IntRange(0, 6).Draw(t, "line"), Column: column, Field: fmt.Sprint("field", column),
				Value: rapid.SampledFrom([]string{"", "a", "b", "ä", long}).Draw(t, "value"), order: rapid.IntRange(0, 2).Draw(t, "order"),
				Detail: rapid.StringN(0, 5, -1).Draw(t, "detail"), Masked: column == 2}
			f.File = fmt.Sprint("file", 3-f.order)
			fs.Add(f)
			want = append(want, f)
		}
		if diff := gocmp.Diff(slowOrder(want), fs.All(), cmpopts.EquateEmpty(), gocmp.AllowUnexported(Finding{})); diff != "" {
			t.Fatal(diff)
		}
		if err := fs.Err(); err != nil {
			t.Fatal(err)
		}
		whole := &Findings{}
		whole.Add(want...)
		if diff := gocmp.Diff(whole.Counts(), fs.Counts(), gocmp.AllowUnexported(Finding{})); diff != "" {
			t.Fatal(diff)
		}
		if fs.Len() != len(want) {
			t.Fatalf("%d findings, want %d", fs.Len(), len(want))
		}
	})
}

// Findings with as many different values stay within a small multiple of their letters. The bound is on
// what is live after a collection, so it does not depend on the machine.
func TestFindingsAreCompact(t *testing.T) {
	const n = 200_000
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	fs := &Findings{}
	for i := range n {
		fs.Add(Finding{Rule: RuleBadDate, Table: "procedures", File: "procedures.csv", Line: i + 2, Column: 3, Field: "day", Header: "OP_DATE",
			Value: fmt.Sprintf("%010d", i), Detail: "a date written DD.MM.YYYY"})
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	if each := float64(after.HeapAlloc-before.HeapAlloc) / n; each > 24*1.25+10+16 {
		t.Errorf("a finding takes %.0f bytes; its record has 24, its value 10", each)
	}
	if c := fs.Counts(); len(c) != 1 || c[0].N != n || c[0].First[2].Value != "0000000002" {
		t.Errorf("%+v", c)
	}
}
