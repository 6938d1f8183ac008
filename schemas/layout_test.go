package schemas

import "testing"

func TestLayoutsThatCanReadOneValueAreConfused(t *testing.T) {
	for _, test := range []struct {
		layouts []Layout
		want    bool
	}{
		{[]Layout{"DD/MM/YYYY", "YYYY-MM-DD"}, false},
		{[]Layout{"DD.MM.YYYY", "DD/MM/YYYY", "YYYYMMDD", SheetDate}, false},
		{[]Layout{"YYYY-MM-DD", "DD-MM-YYYY"}, false}, // the hyphens stand elsewhere
		{[]Layout{"DD/MM/YYYY", "YYYY-MM-DD", "MM/DD/YYYY"}, true},
		{[]Layout{"YYYYMMDD", "DDMMYYYY"}, true},
		{[]Layout{"YYYY-MM-DD", "YYYY-DD-MM"}, true},
		{[]Layout{"YYYY-MM-DD", "YYYY-MM-DD"}, true},
		{[]Layout{DayNumber, "YYYYMMDD"}, true},
		{[]Layout{DayNumber}, false},
	} {
		if a, b, got := Confused(test.layouts); got != test.want {
			t.Errorf("%v: %v (%q, %q)", test.layouts, got, a, b)
		}
	}
}
