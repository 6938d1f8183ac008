package references

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
)

// Frame is a data file: columns of text by name, all of one length.
type Frame map[string][]string

// Data reads a file of the references by its name, such as "lung.csv".
func Data(t testing.TB, name string) Frame {
	t.Helper()
	return Read(t, filepath.Join(Folder, "data", name))
}

// Read reads a CSV file with a header.
func Read(t testing.TB, path string) Frame {
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
	f := Frame{}
	for i, name := range rows[0] {
		f[name] = make([]string, len(rows)-1)
		for j, row := range rows[1:] {
			f[name][j] = row[i]
		}
	}
	return f
}

// Where returns the rows for which keep is true.
func (f Frame) Where(keep func(row int) bool) Frame {
	out := Frame{}
	for name, values := range f {
		out[name] = []string{}
		for i, v := range values {
			if keep(i) {
				out[name] = append(out[name], v)
			}
		}
	}
	return out
}

// Numbers returns a column as numbers, and ends the test at a text that is none.
func (f Frame) Numbers(t testing.TB, name string) []float64 {
	t.Helper()
	texts, ok := f[name]
	if !ok {
		t.Fatalf("the file has no column %s", name)
	}
	out := make([]float64, len(texts))
	for i, s := range texts {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatalf("%s, row %d: %v", name, i, err)
		}
		out[i] = x
	}
	return out
}

// Codes numbers the texts of a column in alphabetical order, from 0.
func (f Frame) Codes(name string) (codes []int32, labels []string) {
	labels = slices.Compact(slices.Sorted(slices.Values(f[name])))
	codes = make([]int32, len(f[name]))
	for i, s := range f[name] {
		at, _ := slices.BinarySearch(labels, s)
		codes[i] = int32(at)
	}
	return codes, labels
}
