package references

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// Folder is where the references lie, seen from the folder of a package in stats.
const Folder = "../../testdata/references"

// Column is a column of a result: numbers, NaN where the file has null. A column of one number may
// stand without brackets.
type Column []float64

// UnmarshalJSON reads an array of numbers and nulls, or one number.
func (c *Column) UnmarshalJSON(b []byte) error {
	var many []*float64
	if len(b) > 0 && b[0] != '[' {
		b = slices.Concat([]byte("["), b, []byte("]"))
	}
	if err := json.Unmarshal(b, &many); err != nil {
		return err
	}
	*c = make(Column, len(many))
	for i, x := range many {
		(*c)[i] = math.NaN()
		if x != nil {
			(*c)[i] = *x
		}
	}
	return nil
}

// Expected fills into with the results of the case id, and ends the test when there are none.
func Expected(t testing.TB, id string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(Folder, "expected", id+".json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatalf("%s: %v", id, err)
	}
}
