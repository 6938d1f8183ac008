package survival_test

import (
	"math"
	"slices"
	"strconv"
	"testing"

	"deltoid/stats/references"
	"deltoid/stats/survival"
)

// The reference results were made by other programs; testdata/references/README.md says which,
// in which version and by which scripts. Their tolerance is 1e-9 for closed forms; ours is
// tighter where theirs allow it.

func numbers(f references.Frame, name string) []float64 {
	if name == "" {
		return nil
	}
	out := make([]float64, len(f[name]))
	for i, s := range f[name] {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			x = math.NaN()
		}
		out[i] = x
	}
	return out
}

// groups returns the place of each row's label in labels. Rows of other labels fail.
func groups(t testing.TB, f references.Frame, name string, labels []string) []int32 {
	t.Helper()
	if name == "" {
		return nil
	}
	out := make([]int32, len(f[name]))
	for i, s := range f[name] {
		g := slices.Index(labels, s)
		if g < 0 {
			t.Fatalf("row %d: group %q is not among %q", i, s, labels)
		}
		out[i] = int32(g)
	}
	return out
}

// whole returns the columns as whole numbers, or false if any has a fraction.
func whole(d survival.RealData) (survival.Data, bool) {
	toInt := func(xs []float64) (out []int32, ok bool) {
		for _, x := range xs {
			if x != math.Trunc(x) {
				return nil, false
			}
			out = append(out, int32(x))
		}
		return out, true
	}
	exit, ok := toInt(d.Exit)
	entry, ok2 := toInt(d.Entry)
	return survival.Data{Entry: entry, Exit: exit, Cause: d.Cause, Group: d.Group, Groups: d.Groups, Causes: d.Causes}, ok && ok2
}

// countBoth counts through both doors and requires them to agree.
func countBoth(t testing.TB, d survival.RealData) *survival.Counts {
	t.Helper()
	c, err := survival.CountReal(d)
	if err != nil {
		t.Fatal(err)
	}
	if w, ok := whole(d); ok {
		days, err := survival.Count(w)
		if err != nil {
			t.Fatal(err)
		}
		if !c.Equal(days) {
			t.Fatal("whole days and real-valued times count differently")
		}
	}
	return c
}

// near fails unless got is want within a relative tolerance. NaN in want means "not defined".
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.IsNaN(want) || math.Abs(got-want) > tolerance*math.Max(math.Abs(want), 1e-3) {
		t.Errorf("%s = %.17g, want %.17g", what, got, want)
	}
}
