package change_test

import (
	"math"
	"testing"

	"deltoid/stats/change"
	"deltoid/stats/references"
)

const published = "../../testdata/published/data"

// near asks for a relative error of at most tolerance.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*max(1e-12, math.Abs(want))) {
		t.Errorf("%s = %.17g, want %.17g", what, got, want)
	}
}

// printed asks for the printed digits: half is half a unit of the last one.
func printed(t *testing.T, what string, got, want, half float64) {
	t.Helper()
	if !(math.Abs(got-want) <= half) {
		t.Errorf("%s = %.10g, printed %v", what, got, want)
	}
}

func fine(t *testing.T, what string, s change.State) {
	t.Helper()
	if !s.OK() {
		t.Errorf("%s: %v (%s)", what, s.Status, s.Reason)
	}
}

// answers returns a column of whole numbers, NoAnswer where the file has nothing.
func answers(t *testing.T, f references.Frame, name string) []int32 {
	t.Helper()
	out := make([]int32, len(f[name]))
	for i, x := range numbers(t, f, name) {
		out[i] = change.NoAnswer
		if x == x {
			out[i] = int32(x)
		}
	}
	return out
}

// numbers returns a column, NaN where the file has nothing.
func numbers(t *testing.T, f references.Frame, name string) []float64 {
	t.Helper()
	texts := append([]string(nil), f[name]...)
	for i, s := range texts {
		if s == "" || s == "NA" {
			texts[i] = "NaN"
		}
	}
	return references.Frame{name: texts}.Numbers(t, name)
}
