package hazards_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/references"
)

// See testdata/references/README.md for the programs, versions and scripts behind these numbers.

func numbers(t testing.TB, f references.Frame, name string) []float64 {
	t.Helper()
	log := strings.HasPrefix(name, "log(")
	if log {
		name = strings.TrimSuffix(name[4:], ")")
	}
	out := make([]float64, len(f[name]))
	for i, s := range f[name] {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatalf("%s, row %d: %v", name, i, err)
		}
		if out[i] = x; log {
			out[i] = math.Log(x)
		}
	}
	return out
}

func isEvent(events []float64) []uint8 {
	out := make([]uint8, len(events))
	for i, x := range events {
		out[i] = uint8(x)
	}
	return out
}

// columns makes the columns of a term: a level other than the first, or a number, or a product.
func columnsOf(t testing.TB, f references.Frame, term string, factors map[string][]string) (out []covariates.Column) {
	if a, b, product := strings.Cut(term, "*"); product {
		x, y := columnsOf(t, f, a, factors), columnsOf(t, f, b, factors)
		out = append(append(out, x...), y...)
		for _, p := range x {
			for _, q := range y {
				values := make([]float64, len(p.Values))
				for i := range values {
					values[i] = p.Values[i] * q.Values[i]
				}
				out = append(out, covariates.Column{Name: p.Name + ":" + q.Name, Term: a + ":" + b, Values: values})
			}
		}
		return out
	}
	levels, isFactor := factors[term]
	if !isFactor {
		return []covariates.Column{{Name: term, Values: numbers(t, f, term)}}
	}
	for _, level := range levels[1:] {
		values := make([]float64, len(f[term]))
		for i, s := range f[term] {
			if s == level {
				values[i] = 1
			}
		}
		out = append(out, covariates.Column{Name: term + level, Term: term, Values: values})
	}
	return out
}

func ranked(t testing.TB, entry, exit []float64) hazards.Data {
	t.Helper()
	e, x, times, err := hazards.Rank(entry, exit)
	if err != nil {
		t.Fatal(err)
	}
	return hazards.Data{Entry: e, Exit: x, Times: times}
}

func mustCox(t testing.TB, d hazards.Data, columns []covariates.Column, o hazards.Options) *hazards.Fit {
	t.Helper()
	f, err := hazards.Cox(d, 1, columns, o)
	if err != nil {
		t.Fatal(err)
	}
	if f.Status != covariates.Converged {
		t.Fatalf("%v: %s", f.Status, f.Reason)
	}
	return f
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Max(math.Abs(want), 1e-3)) {
		t.Errorf("%s = %.17g, want %.17g", what, got, want)
	}
}

func nearAll(t testing.TB, what string, got, want []float64, tolerance float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d numbers, want %d", what, len(got), len(want))
	}
	for i := range want {
		near(t, what+" "+strconv.Itoa(i), got[i], want[i], tolerance)
	}
}
