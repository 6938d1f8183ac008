package plan

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"deltoid/schemas"
)

// Whatever the bytes are, reading ends in a plan that can tell its settings, or in problems that each have a place and a
// remedy and fit on one line; and it does so twice.
func FuzzParse(f *testing.F) {
	for _, name := range planFiles(f) {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	path := filepath.Join(goodPlans, "fuzz.yaml")
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Parse(path, data)
		_, again := Parse(path, data)
		if err == nil {
			if again != nil || len(p.Settings()) < 10 || len(p.Sources) == 0 || len(p.Analyses) == 0 {
				t.Fatalf("%v: %+v", again, p)
			}
			return
		}
		var ps schemas.Problems
		if p != nil || !errors.As(err, &ps) || again == nil || again.Error() != err.Error() {
			t.Fatalf("%v\n%v\n%v", p, err, again)
		}
		for _, problem := range ps {
			if !strings.HasPrefix(problem.Where, path) || problem.Remedy == "" || strings.ContainsAny(problem.Error(), "\n\r\x00\x1b") {
				t.Errorf("%q", problem.Error())
			}
		}
	})
}
