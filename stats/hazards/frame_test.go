package hazards_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
)

// See testdata/references/README.md for the programs, versions and scripts behind these numbers.
const references = "../../testdata/references"

// numbersOrOne is a column of a reference result; one number stands for a column of one.
type numbersOrOne []float64

func (c *numbersOrOne) UnmarshalJSON(b []byte) error {
	var many []*float64
	if b[0] != '[' {
		b = slices.Concat([]byte("["), b, []byte("]"))
	}
	if err := json.Unmarshal(b, &many); err != nil {
		return err
	}
	for _, x := range many {
		if x == nil {
			*c = append(*c, math.NaN())
		} else {
			*c = append(*c, *x)
		}
	}
	return nil
}

func readReference(t testing.TB, id string, into any) {
	t.Helper()
	b, err := os.ReadFile(references + "/expected/" + id + ".json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatal(id, err)
	}
}

// frame is a table of texts by column.
type frame map[string][]string

func readFrame(t testing.TB, path string) frame {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	f := frame{}
	for i, name := range rows[0] {
		for _, row := range rows[1:] {
			f[name] = append(f[name], row[i])
		}
	}
	return f
}

// keep returns the rows for which ok is true.
func (f frame) keep(ok func(i int) bool) frame {
	out := frame{}
	for name, column := range f {
		for i, x := range column {
			if ok(i) {
				out[name] = append(out[name], x)
			}
		}
	}
	return out
}

func (f frame) numbers(t testing.TB, name string) []float64 {
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

// codes numbers the texts of a column in alphabetical order.
func (f frame) codes(name string) (codes []int32, labels []string) {
	labels = slices.Compact(slices.Sorted(slices.Values(f[name])))
	for _, s := range f[name] {
		at, _ := slices.BinarySearch(labels, s)
		codes = append(codes, int32(at))
	}
	return codes, labels
}

func isEvent(events []float64) []uint8 {
	out := make([]uint8, len(events))
	for i, x := range events {
		out[i] = uint8(x)
	}
	return out
}

// columns makes the columns of a term: a level other than the first, or a number, or a product.
func (f frame) columns(t testing.TB, term string, factors map[string][]string) (out []covariates.Column) {
	if a, b, product := strings.Cut(term, "*"); product {
		x, y := f.columns(t, a, factors), f.columns(t, b, factors)
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
		return []covariates.Column{{Name: term, Values: f.numbers(t, term)}}
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
