package plan

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"deltoid/schemas"
)

// brokenPlans holds plans that break every rule of the reader, each named after its fault, and one text with what is said
// about each.
const brokenPlans = "../../testdata/broken/plans"

var renew = flag.Bool("renew", false, "write the messages about broken plans anew; read the difference before committing it")

// Every message is reviewed as text. A plan that is wrong must be refused with a place, and a remedy, in every problem.
func TestMessagesAboutBrokenPlans(t *testing.T) { reviewMessages(t, brokenPlans, 50, Read) }

// reviewMessages holds what is said about the plans of a folder, of which there are so many at least, against its text.
func reviewMessages[P any](t *testing.T, folder string, fewest int, read func(name string) (*P, error)) {
	t.Helper()
	t.Chdir(folder)
	names, err := filepath.Glob("*.yaml")
	if err != nil || len(names) < fewest {
		t.Fatalf("%d broken plans, %v", len(names), err)
	}
	var said strings.Builder
	for _, name := range names {
		p, err := read(name)
		var ps schemas.Problems
		if p != nil || !errors.As(err, &ps) || len(ps) == 0 {
			t.Errorf("%s: a plan and %v, want problems and no plan", name, err)
			continue
		}
		for _, problem := range ps {
			if problem.Kind != schemas.PlanProblem || !strings.HasPrefix(problem.Where, name+":") || problem.Remedy == "" {
				t.Errorf("%s: a problem without kind, place or remedy: %+v", name, problem)
			}
		}
		said.WriteString("== " + name + "\n" + err.Error() + "\n\n")
	}
	const golden = "messages.golden"
	if *renew {
		if err := os.WriteFile(golden, []byte(said.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(said.String(), "\n")); diff != "" {
		t.Errorf("messages (-reviewed +now); renew with go test -run BrokenPlans ./pipeline/plan -renew:\n%s", diff)
	}
}
